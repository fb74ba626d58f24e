"""What every tool shares: base class, parameters, reading, writing, styles, differences between QGIS versions."""
