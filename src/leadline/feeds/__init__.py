"""Points in: an MQTT broker, a CSV file that grows, an address that answers JSON."""
