"""What is true of any seawater: plain functions on plain numbers."""
