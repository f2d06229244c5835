"""Numbers, units, doubt, time, errors: what every other room stands on."""
