"""Open a lake of a district: its layers out of a district's GeoPackage, styled and ready for the other tools."""
from __future__ import annotations

import numpy as np
from qgis.core import (
    QgsExpression,
    QgsFeatureRequest,
    QgsProcessingOutputNumber,
    QgsProcessingOutputString,
    QgsVectorLayer,
)

from ...survey.model import patience, schemas
from ...survey.model.errors import InputError
from ..common import parameters as make
from ..common import read, values
from ..common.base import AthwartAlgorithm
from ..common.columns import Columns
from ..common.write import write_layer

__all__ = ["OpenDistrict"]

_TABLES = {"AREAS": "areas", "GAPS": "gaps", "SHORE": "shore", "TARGETS": "combined", "ELLIPSES": "combined_ellipses",
           "PASSES": "passes", "SWATHS": "swaths", "TRACK": "track"}
"""Table of the GeoPackage that each output is read from."""

_KINDS = {"AREAS": "polygon", "GAPS": "polygon", "SHORE": "line", "TARGETS": "point", "ELLIPSES": "polygon",
          "PASSES": "line", "SWATHS": "polygon", "TRACK": "point"}


class OpenDistrict(AthwartAlgorithm):
    """See the module."""

    ID, TITLE, GROUP = "opendistrict", "Open a lake of a district", "coverage"
    STEP, GUIDE, ICON = 6, ("district",), "coveragereport"
    FUNCTION = "survey_district"
    SECTIONS = (("The district, and the lake in it", ("INPUT", "LAKE")),)
    LAYERS = {"AREAS": schemas.AREAS, "GAPS": schemas.GAPS, "SHORE": schemas.SHORE, "TARGETS": schemas.COMBINED,
              "ELLIPSES": schemas.ELLIPSES, "PASSES": schemas.PASSES, "SWATHS": schemas.SWATHS,
              "TRACK": schemas.TRACK}
    CAUTIOUS = True
    SUMMARY = "Take one lake out of the GeoPackage of a district: share, gaps, shore, objects, passes, swaths, track."
    TAGS = "district,lake,season,outings,many,batch,coverage,open,load"
    HELP = """Takes the layers of one lake out of the GeoPackage that the command 'athwart district' makes of a season
    of outings. They come with their styles, and every other tool takes them as its own: plan fill-in lines from the
    gaps, cast at the objects, write the report again with a title of yours.

    The figures are those of the district. Nothing is worked out again, and the district's file is left as it is. To
    look at all lakes at once open the project that lies beside it."""
    OUTPUT_HELP = {
        "AREAS": "The water that was to be seen, with the share seen and its interval.",
        "GAPS": "The gaps of the lake, over all its outings.",
        "SHORE": "Shore that was scanned and shore that was not.",
        "TARGETS": "One point for each object, all looks at it combined.",
        "ELLIPSES": "The ellipse of each object.",
        "PASSES": "Passes of all outings on the lake.",
        "SWATHS": "Bottom seen, of all outings on the lake.",
        "TRACK": "Samples of all outings on the lake.",
        "STATE": "surveyed, or incomplete where an outing failed.",
        "COVERED_PERCENT": "Share of the lake seen, in percent.",
        "LOW_PERCENT": "Low end of the 95 % interval of the share seen.",
        "HIGH_PERCENT": "High end of the 95 % interval of the share seen.",
        "UNSCANNED_PERCENT": "Share of the shore that was not scanned, in percent.",
    }

    def initAlgorithm(self, config=None):
        self.add(make.file("INPUT", "District", "The file district.gpkg that the command 'athwart district' made.",
                           optional=False),
                 make.text("LAKE", "Lake", "Its name, as in the table of lakes. Blank: the only one there is."))
        for name, label in (("AREAS", "Areas"), ("GAPS", "Gaps"), ("SHORE", "Shore"), ("TARGETS", "Combined targets"),
                            ("ELLIPSES", "Combined ellipses"), ("PASSES", "Passes"), ("SWATHS", "Swaths"),
                            ("TRACK", "Track")):
            self.add(make.sink(name, label, self.OUTPUT_HELP[name], _KINDS[name], optional=name != "AREAS",
                               by_default=name != "TRACK"))
        self.addOutput(QgsProcessingOutputString("STATE", "State"))
        for name, label in (("COVERED_PERCENT", "Seen (%)"), ("LOW_PERCENT", "Seen, low end of 95 % (%)"),
                            ("HIGH_PERCENT", "Seen, high end of 95 % (%)"),
                            ("UNSCANNED_PERCENT", "Shore not scanned (%)")):
            self.addOutput(QgsProcessingOutputNumber(name, label))

    def refusal(self, parameters, context):
        path = self.parameterAsFile(parameters, "INPUT", context)
        if not _layer(path, "lakes").isValid():
            return (f"{path} is no result of a district (INPUT): it has no layer lakes. Give the file district.gpkg "
                    "that the command 'athwart district' made.")
        return ""

    def run_tool(self, parameters, context, feedback):
        path = self.parameterAsFile(parameters, "INPUT", context)
        facts = self._lake(path, values.text(self, parameters, "LAKE", context))
        if facts["covered_pct"] is None:
            raise InputError(f"The lake '{facts['lake']}' has no result: {facts['state']}. Look at the layer failures "
                             "of the district, and at what it says to do.")
        results, layers = {}, {name: self._rows(path, table, facts["lake"]) for name, table in _TABLES.items()}
        for name, schema in self.LAYERS.items():
            tab = layers[name]
            columns = {field.name: self._column(tab, field) for field in schema if tab.has(field.name)}
            points = _KINDS[name] == "point"
            places = (tab.x, tab.y) if points else [_alone(one, schema.geometry) for one in read.shapes(tab)]
            results[name] = write_layer(
                self, parameters, name, context, feedback, fields=schema, columns=columns, crs=tab.crs,
                places=places)
        if facts["state"] != "surveyed":
            feedback.pushWarning(f"The lake is {facts['state']}: {facts['failed']} of its outings failed, and the "
                                 "figures are those of the others. Look at the layer failures of the district.")
        feedback.pushInfo(f"{facts['lake']}: {facts['covered_pct']:.1f} % seen, 95 % interval "
                          f"{facts['low_pct']:.1f} to {facts['high_pct']:.1f} %.")
        return {**results, "STATE": facts["state"], "COVERED_PERCENT": facts["covered_pct"],
                "LOW_PERCENT": facts["low_pct"], "HIGH_PERCENT": facts["high_pct"],
                "UNSCANNED_PERCENT": facts["unscanned_pct"]}

    def _lake(self, path, wanted):
        """Attributes of the lake, None where null."""
        rows = [{name: None if str(value) == "NULL" else value for name, value in feature.attributeMap().items()}
                for feature in _layer(path, "lakes").getFeatures()]
        found = [row for row in rows if row["lake"] == wanted or (not wanted and len(rows) == 1)]
        if not found:
            shown = ", ".join(str(row["lake"]) for row in rows[:8]) + (" ..." if len(rows) > 8 else "")
            raise InputError(f"The district has no lake '{wanted}' (LAKE). Choose one of its {len(rows)}: {shown}.")
        return found[0]

    def _rows(self, path, table, lake):
        """Rows of a lake as a ``read.Table``."""
        layer = _layer(path, table)
        if not layer.isValid():
            raise InputError(f"{path} lacks the layer {table} (INPUT). Run the command 'athwart district' again.")
        request = QgsFeatureRequest().setFilterExpression(f'"lake" = {QgsExpression.quotedString(lake)}')
        columns, ids, places = Columns(layer.fields(), None), [], []
        for feature in layer.getFeatures(request):
            columns.add(feature.attributes())
            ids.append(feature.id())
            places.append(None if feature.geometry().isNull() else feature.geometry())
            patience.look()
        tab = read.Table(table, layer.crs(), layer.fields(), np.array(ids, np.int64), columns.by_name(),
                         geometries=places)
        vertices = [None if place is None else place.vertexAt(0) for place in places]
        tab.x, tab.y = (np.array([np.nan if one is None else getattr(one, axis)() for one in vertices], float)
                        for axis in "xy")
        return tab

    def _column(self, tab, field):
        reader = {"string": read.texts, "bool": read.flags, "datetime": read.times}.get(field.kind, read.numbers)
        return reader(tab, field.name)


def _alone(shape, geometry):
    """The one line or polygon of many of one, where the layer is not of many: a district's file has only these."""
    parts = getattr(shape, "geoms", None)
    return shape if geometry.startswith("multi") or parts is None or len(parts) != 1 else parts[0]


def _layer(path, table):
    return QgsVectorLayer(f"{path}|layername={table}", table, "ogr")
