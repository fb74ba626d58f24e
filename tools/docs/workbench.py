"""The sample worked on for the tools' pictures: every tool's job run, its layers at hand in the product's styles."""
from __future__ import annotations

import pathlib
import re

import jobs
from athwart.algorithms.common.style_files import STYLES
from qgis.core import QgsExpressionContextUtils, QgsFeature, QgsGeometry, QgsRasterLayer, QgsVectorLayer

from .. import basemap
from .mapped_record import BOAT

SAMPLE = jobs.SAMPLE
FRAME = dict(row.split(",")[:2] for row in (SAMPLE / "north_record_frame.csv").read_text("utf-8").splitlines())
PICTURE = {"IMAGE": str(SAMPLE / "north_record.png"), "LAYOUT": "both", "NEWEST": FRAME["newest"],
           "FIRST_TIME": FRAME["first_time"], "LAST_TIME": FRAME["last_time"]}
"""What the sample's record is a picture of."""
AREA = f"{SAMPLE / 'lake.gpkg'}|layername=search_areas|subset=name = 'North basin'"


class Workbench:
    """Jobs of tests/plugins/jobs.py in a folder, with the boat's offsets known, and what the tools made of them.

    Parameters
    ----------
    folder : pathlib.Path
        A folder to work in.
    """

    def __init__(self, folder):
        import processing
        self._run, self.folder = processing.run, folder
        jobs.BOAT.update(BOAT)
        self.jobs = jobs.prepare(folder, self._done)
        self._made = {}

    def _done(self, tool, parameters):
        return self._run(f"athwart:{tool}", parameters)

    def made(self, tool, **changes):
        """{output: path} of a tool's job; ``changes`` are parameters of its own."""
        key = tool, repr(sorted(changes.items()))
        if key not in self._made:
            parameters, endings = self.jobs[tool]
            stem = f"{tool}{len(self._made)}"
            outputs = {name: str(self.folder / f"{stem}_{name}.{ending}") for name, ending in endings.items()}
            self._done(tool, {**parameters, **changes, **outputs})
            self._made[key] = outputs
        return self._made[key]

    def layer(self, tool, output="OUTPUT", style=None, **changes):
        """An output as a layer in its style; ``style`` names another one."""
        from athwart.algorithms import tool_classes
        path = self.made(tool, **changes)[output]
        declared = {each.ID: each for each in tool_classes()}[tool]
        if path.endswith(".tif"):
            return raster(path, style or declared.RASTERS[output].style)
        return vector(path, style or declared.LAYERS[output].style)

    def fields(self, tool, names, output="OUTPUT", count=9, **changes):
        """Rows of a table that a tool made: the named fields, as text."""
        layer = self.layer(tool, output, **changes)
        return [[_text(feature[name]) for name in names] for feature, _ in zip(layer.getFeatures(), range(count))]

    def base(self, *names):
        """Layers of the base map, topmost first; all but names and areas unless named."""
        wanted = names or ("lake", "contours", "depth (m)")
        return [layer for layer in basemap.base_layers(SAMPLE) if layer.name() in wanted]


def vector(path, style=None):
    """A vector layer with one of the plugin's styles."""
    layer = basemap.vector(path, pathlib.Path(str(path).partition("|")[0]).stem)
    return dressed(layer, style)


def raster(path, style=None):
    """A raster with one of the plugin's styles."""
    return dressed(QgsRasterLayer(str(path), pathlib.Path(path).stem), style)


def dressed(layer, style):
    """The layer in one of the plugin's styles, lengths in metres."""
    QgsExpressionContextUtils.setLayerVariable(layer, "athwart_unit", "m")
    if style:
        layer.loadNamedStyle(str(STYLES / f"{style}.qml"))
    return layer


def sketched(kind, shapes, style=None, names=()):
    """A layer in memory of WKT shapes, such as marks on a picture; ``names`` go into its field label."""
    layer = QgsVectorLayer(f"{kind}?field=label:string&field=kind:string", "sketch", "memory")
    features = []
    for number, shape in enumerate(shapes):
        feature = QgsFeature(layer.fields())
        feature.setGeometry(QgsGeometry.fromWkt(shape))
        feature["label"] = names[number] if number < len(names) else None
        feature["kind"] = "object"
        features.append(feature)
    layer.dataProvider().addFeatures(features)
    return dressed(layer, style)


def marks(file):
    """[(WKT, kind, label)] of a file of marks of the sample."""
    text = (SAMPLE / file).read_text("utf-8")
    return re.findall(r'^"?([A-Z]+ \(.+?\))"?,(\w+),(\w*)$', text, re.M)


def _text(value):
    if value is None or repr(value) == "NULL":
        return ""
    return f"{value:.3g}" if isinstance(value, float) else str(value)
