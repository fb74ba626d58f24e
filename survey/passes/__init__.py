"""Runs of the boat, numbered; what each was like."""
