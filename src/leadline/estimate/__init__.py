"""What the water is now, and how sure we are."""
