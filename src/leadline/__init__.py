"""Leadline reckons every quantity of a closed seawater system between tests."""

__version__ = "0.1.0"
