"""The map of bottom seen, tile by tile."""
