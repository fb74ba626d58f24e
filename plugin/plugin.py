"""What QGIS loads: registers the provider, on the desktop and on the command line alike."""
from __future__ import annotations

from qgis.core import QgsApplication

from .provider import AthwartProvider

__all__ = ["AthwartPlugin"]


class AthwartPlugin:
    """The plugin object; ``iface`` is None on the command line."""

    def __init__(self, iface):
        self.iface = iface
        self.provider = None
        self.menu = None

    def initProcessing(self):
        """All that qgis_process calls."""
        self.provider = AthwartProvider()
        QgsApplication.processingRegistry().addProvider(self.provider)
        self.provider.refreshAlgorithms()  # models find their tools, and so their outputs, only once these are known

    def initGui(self):
        """The desktop's entry point."""
        from .menu import Menu
        self.initProcessing()
        self.menu = Menu(self.iface)

    def unload(self):
        """Leave nothing behind."""
        if self.menu is not None:
            self.menu.remove()
            self.menu = None
        if self.provider is not None:
            QgsApplication.processingRegistry().removeProvider(self.provider)
            self.provider = None
