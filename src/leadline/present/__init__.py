"""Numbers, sentences and charts for people."""
