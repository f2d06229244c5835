"""The process that never sleeps."""
