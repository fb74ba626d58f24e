"""tools/run.sh tools.styles: every style again, with the oldest QGIS supported: newer ones read its files."""
from .. import inside
from . import layers, rasters

kept = inside.qgis(window=True)
layers.draw()
rasters.draw()
inside.leave()
