"""An invented house with three systems, for the demo."""
