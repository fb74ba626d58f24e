"""The pure core: side-scan geometry, uncertainty and coverage on numpy, shapely and pyproj. Never imports qgis."""
