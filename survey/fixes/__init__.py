"""Fixes put in order; those that cannot be true refused and counted."""
