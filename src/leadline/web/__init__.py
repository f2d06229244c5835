"""A person at a page: server-drawn, whole without script, quicker with it."""
