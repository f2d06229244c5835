"""What deserves the keeper's minutes today."""
