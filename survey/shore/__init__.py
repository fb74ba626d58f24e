"""Shore seen and not seen."""
