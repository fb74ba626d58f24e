"""Toolbox group Report: what is filed."""
