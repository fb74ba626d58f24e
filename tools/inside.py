"""QGIS for the scripts of this folder, with the clone as package `athwart` in it. Start them by tools/run.sh."""
from __future__ import annotations

import os
import sys

import clone

__all__ = ["leave", "processing", "qgis"]


def qgis(window=False):
    """The application, to be kept alive; ``window``: with what drawing needs."""
    from qgis.core import QgsApplication

    os.environ.setdefault("QT_QPA_PLATFORM", "offscreen")
    application = QgsApplication([], window)
    application.initQgis()
    clone.load()
    return application


def processing():
    """Register QGIS's own tools and ours; what must be kept alive."""
    from qgis.core import QgsApplication

    sys.path.append(os.path.join(QgsApplication.pkgDataPath(), "python", "plugins"))  # where QGIS keeps its own
    from processing.core.Processing import Processing
    Processing.initialize()
    plugin = sys.modules["athwart"].classFactory(None)
    plugin.initProcessing()
    return plugin


def leave():
    """End the process: QGIS may crash while it is torn down."""
    sys.stdout.flush()
    os._exit(0)
