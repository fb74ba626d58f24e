"""Strips of beams as exact polygons."""
