"""What a message says: quantities, units, times, devices."""
