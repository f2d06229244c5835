"""What deserves attention."""
