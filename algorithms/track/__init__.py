"""Toolbox group Track: from logs to a prepared track, and the depth grid under it."""
