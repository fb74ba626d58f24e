"""The styles of all layers and rasters, drawn and saved as plugin/styles/*.qml."""
