"""Toolbox group Record image: what a picture of the record holds."""
