"""The plugin object: provider, menu, icons, styles, models. Nothing else."""
