"""Everything a keeper can ask for, and the ports it needs."""
