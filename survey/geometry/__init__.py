"""The survey on a plane: local frame, polygons and their overlays, cells inside them, the shape of the Earth below."""
