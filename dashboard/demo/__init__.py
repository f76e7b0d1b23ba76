"""An invented cellar, filled and kept alive by simulated devices."""
