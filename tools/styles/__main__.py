"""tools/run.sh tools.styles: every style again, with the oldest QGIS supported: newer ones read its files."""
from .. import inside

kept = inside.qgis(window=True)  # from here on the clone is the package athwart

from . import layers, rasters  # noqa: E402

layers.draw()
rasters.draw()
inside.leave()
