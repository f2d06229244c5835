"""How the water moves."""
