"""What stands there."""
