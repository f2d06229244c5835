"""A series becomes SVG with title and table."""
