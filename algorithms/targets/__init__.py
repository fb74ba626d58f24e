"""Toolbox group Targets: from picks to places with error ellipses, and to casts that land."""
