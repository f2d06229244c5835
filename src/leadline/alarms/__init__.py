"""Being heard, and proving it."""
