"""A person at a prompt."""
