"""Athwart: side-scan outings turned into map layers that can be trusted."""


def classFactory(iface):
    """Called by QGIS."""
    from .plugin.plugin import AthwartPlugin
    return AthwartPlugin(iface)
