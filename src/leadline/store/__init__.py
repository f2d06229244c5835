"""One file on disk."""
