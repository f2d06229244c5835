"""A person at a page."""
