"""A QGIS project over the GeoPackage: a file of XML that names layers, their styles, aliases and order."""
from __future__ import annotations

import re
import xml.etree.ElementTree as ET
from typing import Any

from ..geometry import shapes
from ..geometry.frame import carried
from .geopackage import style_text
from .layers import LAYERS
from .store import write_whole

__all__ = ["write_project"]

_VERSION = "3.22.0-Bialowieza"
"""The oldest that is to open it; newer ones read it, too."""

_ORDER = ("lakes", "combined", "combined_ellipses", "targets", "ellipses", "shore", "gaps", "passes", "track", "areas",
          "swaths", "outings", "failures", "rejected")
"""Topmost first."""

_HIDDEN = ("track", "targets", "ellipses", "rejected", "areas")
_DEGREES = "EPSG:4326"
_MARGIN = 0.05


def write_project(path: Any, database: Any, crs: Any, lakes: Any, title: str) -> None:
    """Write the project.

    Parameters
    ----------
    path : path
        ``.qgs``, in the folder of the GeoPackage.
    database : str
        Name of the GeoPackage.
    crs : pyproj.CRS
        Of its layers and of the map.
    lakes : list of dict
        Rows with ``_shape`` and ``_crs``, for what is to be in view.
    title : str
    """
    root = ET.Element("qgis", projectname=title, version=_VERSION)
    ET.SubElement(root, "title").text = title
    ET.SubElement(root, "projectCrs").append(_srs(crs))
    tree = ET.SubElement(root, "layer-tree-group")
    layers = ET.Element("projectlayers")
    for name in _ORDER:
        schema = LAYERS[name]
        ET.SubElement(tree, "layer-tree-layer", id=f"district_{name}", name=schema.title, providerKey="ogr",
                      checked="Qt::Unchecked" if name in _HIDDEN else "Qt::Checked", expanded="0",
                      source=f"./{database}|layername={name}")
        layers.append(_layer(name, schema, database, crs))
    canvas = ET.SubElement(root, "mapcanvas", name="theMapCanvas")
    ET.SubElement(canvas, "units").text = "degrees" if crs.is_geographic else "meters"
    extent = ET.SubElement(canvas, "extent")
    for name, value in zip(("xmin", "ymin", "xmax", "ymax"), _view(lakes, crs)):
        ET.SubElement(extent, name).text = f"{value:.9g}" if crs.is_geographic else f"{value:.2f}"
    canvas.append(_srs(crs, "destinationsrs"))
    root.append(layers)
    properties = ET.SubElement(root, "properties")
    ET.SubElement(ET.SubElement(properties, "Paths"), "Absolute", type="bool").text = "false"
    ET.SubElement(ET.SubElement(properties, "SpatialRefSys"), "ProjectionsEnabled", type="int").text = "1"
    text = ET.tostring(root, encoding="unicode")
    write_whole(path, f"<!DOCTYPE qgis PUBLIC 'http://mrcc.com/qgis.dtd' 'SYSTEM'>\n{text}\n".encode())


def _srs(crs: Any, tag: Any = "") -> Any:
    """What tells QGIS a system: its authority's code where it has one, else its definition."""
    made = ET.Element("spatialrefsys")
    authority = crs.to_authority()
    ET.SubElement(made, "wkt").text = crs.to_wkt()
    if authority:
        ET.SubElement(made, "authid").text = ":".join(authority)
        if authority[0] == "EPSG":
            ET.SubElement(made, "srid").text = authority[1]
    if not tag:
        return made
    outer = ET.Element(tag)
    outer.append(made)
    return outer


def _layer(name: str, schema: Any, database: Any, crs: Any) -> Any:
    spatial = schema.geometry != "table"
    style = style_text(schema.style)
    # a style's file holds what a layer in a project holds, below another root
    made = ET.fromstring(re.sub(r"<!DOCTYPE[^>]*>", "", style)) if style else ET.Element("qgis")
    made.tag = "maplayer"
    made.attrib.pop("version", None)
    made.set("type", "vector")
    if spatial:
        made.set("geometry", {"point": "Point", "polygon": "Polygon", "multipolygon": "Polygon"}.get(
            schema.geometry, "Line"))
    for tag, text in (("id", f"district_{name}"), ("datasource", f"./{database}|layername={name}"),
                      ("layername", schema.title)):
        ET.SubElement(made, tag).text = text
    if spatial:
        made.append(_srs(crs, "srs"))
    ET.SubElement(made, "provider", encoding="UTF-8").text = "ogr"
    aliases = ET.SubElement(made, "aliases")
    for index, field in enumerate(schema, 1):  # the key of the table comes first
        ET.SubElement(aliases, "alias", index=str(index), field=field.name, name=field.alias)
    return made


def _view(lakes: Any, crs: Any) -> Any:
    """West, south, east and north of all lakes with a margin."""
    corners = []
    for row in lakes:
        if row["_shape"] is not None:
            for line in shapes.lines(row["_shape"]):
                x, y = carried(row["_crs"], crs, *line.T)
                corners.append((min(x), min(y), max(x), max(y)))
    if not corners:
        return (-180.0, -90.0, 180.0, 90.0) if crs.is_geographic else (0.0, 0.0, 1.0, 1.0)
    west, south = (min(one[k] for one in corners) for k in (0, 1))
    east, north = (max(one[k] for one in corners) for k in (2, 3))
    dx, dy = _MARGIN * (east - west), _MARGIN * (north - south)
    return west - dx, south - dy, east + dx, north + dy
