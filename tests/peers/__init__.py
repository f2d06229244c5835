"""Real servers of other makes, started on loopback for the tests."""
