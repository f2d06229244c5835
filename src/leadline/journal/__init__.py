"""What happened: added to, never rewritten."""
