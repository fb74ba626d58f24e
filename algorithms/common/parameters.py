"""Short makers for Processing parameters, each with its help text, so that a tool's list reads like a form."""
from __future__ import annotations

from typing import TYPE_CHECKING

from qgis.core import (
    QgsProcessing,
    QgsProcessingParameterBoolean,
    QgsProcessingParameterCrs,
    QgsProcessingParameterDefinition,
    QgsProcessingParameterDistance,
    QgsProcessingParameterEnum,
    QgsProcessingParameterFeatureSink,
    QgsProcessingParameterFeatureSource,
    QgsProcessingParameterField,
    QgsProcessingParameterFile,
    QgsProcessingParameterFileDestination,
    QgsProcessingParameterMultipleLayers,
    QgsProcessingParameterNumber,
    QgsProcessingParameterPoint,
    QgsProcessingParameterRasterDestination,
    QgsProcessingParameterRasterLayer,
    QgsProcessingParameterString,
    QgsUnitTypes,
)

from .compat import NEEDS_OPTIONAL

if TYPE_CHECKING:
    from collections.abc import Sequence
    from typing import Any

__all__ = [
    "ANY", "DATE_ORDERS", "LINES", "POINTS", "POLYGONS", "RANGE_UNITS", "SHORES", "SPEED_UNITS", "TABLES",
    "TEMPERATURE_UNITS",
    "advanced", "choice", "crs", "destination_file", "destination_raster", "distance", "field", "file", "files",
    "number", "optional", "point", "raster", "rasters", "sink", "source", "switch", "text",
]

POINTS = [QgsProcessing.SourceType.TypeVectorPoint]
LINES = [QgsProcessing.SourceType.TypeVectorLine]
POLYGONS = [QgsProcessing.SourceType.TypeVectorPolygon]
SHORES = LINES + POLYGONS
TABLES = [QgsProcessing.SourceType.TypeVector]
ANY = [QgsProcessing.SourceType.TypeVectorAnyGeometry]

RANGE_UNITS = ["m", "ft", "yd", "fathom"]
SPEED_UNITS = ["m/s", "km/h", "mph", "kn"]
TEMPERATURE_UNITS = ["C", "F"]
DATE_ORDERS = ["day month year", "month day year"]

_FIELD_KINDS = {"any": QgsProcessingParameterField.DataType.Any,
                "numeric": QgsProcessingParameterField.DataType.Numeric,
                "string": QgsProcessingParameterField.DataType.String}
_SINKS = {"point": QgsProcessing.SourceType.TypeVectorPoint, "line": QgsProcessing.SourceType.TypeVectorLine,
          "polygon": QgsProcessing.SourceType.TypeVectorPolygon, "table": QgsProcessing.SourceType.TypeVector}


def _with(definition: QgsProcessingParameterDefinition, help_text: str) -> QgsProcessingParameterDefinition:
    definition.setHelp(help_text)
    return definition


def advanced(*definitions: QgsProcessingParameterDefinition) -> tuple[QgsProcessingParameterDefinition, ...]:
    """The same parameters folded under 'Advanced'."""
    for definition in definitions:
        definition.setFlags(definition.flags() | QgsProcessingParameterDefinition.Flag.FlagAdvanced)
    return definitions


def optional(*definitions: QgsProcessingParameterDefinition) -> tuple[QgsProcessingParameterDefinition, ...]:
    """The same parameters, which models that were saved before they came need not name; their default holds."""
    for definition in definitions:
        definition.setFlags(definition.flags() | QgsProcessingParameterDefinition.Flag.FlagOptional)
    return definitions


def source(name: str, label: str, help_text: str, kinds: Sequence[int],
           optional: bool = False) -> QgsProcessingParameterDefinition:
    """A vector layer; ``kinds`` is POINTS, LINES, POLYGONS, SHORES, TABLES (rows with or without a geometry) or ANY."""
    return _with(QgsProcessingParameterFeatureSource(name, label, kinds, None, optional), help_text)


def field(name: str, label: str, help_text: str, parent: str, kind: str = "any", many: bool = False,
          optional: bool = True) -> QgsProcessingParameterDefinition:
    """A field of the layer ``parent``; 'any' also takes numbers and times that a CSV holds as text."""
    return _with(QgsProcessingParameterField(name, label, None, parent, _FIELD_KINDS[kind], many, optional), help_text)


def number(name: str, label: str, help_text: str, default: float | None = None, low: float | None = None,
           high: float | None = None, whole: bool = False) -> QgsProcessingParameterDefinition:
    """A plain number; without a default it may stay blank, which the tool reads as 'not given'."""
    kind = QgsProcessingParameterNumber.Type.Integer if whole else QgsProcessingParameterNumber.Type.Double
    limits = {}
    if low is not None:
        limits["minValue"] = low
    if high is not None:
        limits["maxValue"] = high
    definition = QgsProcessingParameterNumber(name, label, kind, default, default is None, **limits)
    if not whole:
        definition.setMetadata({"widget_wrapper": {"decimals": 3}})
    return _with(definition, help_text)


def distance(name: str, label: str, help_text: str, default: float | None = None, low: float | None = None,
             high: float | None = None) -> QgsProcessingParameterDefinition:
    """A length with a unit box; the value always arrives in metres."""
    limits = {}
    if low is not None:
        limits["minValue"] = low
    if high is not None:
        limits["maxValue"] = high
    definition = QgsProcessingParameterDistance(name, label, default, "", default is None, **limits)
    definition.setDefaultUnit(QgsUnitTypes.DistanceUnit.DistanceMeters)
    definition.setMetadata({"widget_wrapper": {"decimals": 2}})
    return _with(definition, help_text)


def choice(name: str, label: str, help_text: str, options: Sequence[str], default: Any = None,
           many: bool = False) -> QgsProcessingParameterDefinition:
    """One of a list of plain words, which are also the values in scripts and models."""
    return _with(QgsProcessingParameterEnum(name, label, options, many, default, default is None, True), help_text)


def switch(name: str, label: str, help_text: str, default: bool = False) -> QgsProcessingParameterDefinition:
    """Yes or no."""
    return _with(QgsProcessingParameterBoolean(name, label, default), help_text)


def text(name: str, label: str, help_text: str, default: str | None = None,
         lines: bool = False) -> QgsProcessingParameterDefinition:
    """A line of text (or several)."""
    return _with(QgsProcessingParameterString(name, label, default, lines, not default), help_text)


def crs(name: str, label: str, help_text: str) -> QgsProcessingParameterDefinition:
    """A coordinate reference system, optional."""
    return _with(QgsProcessingParameterCrs(name, label, None, True), help_text)


def raster(name: str, label: str, help_text: str, optional: bool = True) -> QgsProcessingParameterDefinition:
    """A raster layer."""
    return _with(QgsProcessingParameterRasterLayer(name, label, None, optional), help_text)


def rasters(name: str, label: str, help_text: str) -> QgsProcessingParameterDefinition:
    """One or more raster layers."""
    return _with(QgsProcessingParameterMultipleLayers(name, label, QgsProcessing.SourceType.TypeRaster), help_text)


def point(name: str, label: str, help_text: str) -> QgsProcessingParameterDefinition:
    """A point clicked on the map, optional."""
    return _with(QgsProcessingParameterPoint(name, label, None, True), help_text)


def file(name: str, label: str, help_text: str, optional: bool | None = None) -> QgsProcessingParameterDefinition:
    """A file that exists."""
    optional = NEEDS_OPTIONAL if optional is None else optional
    return _with(QgsProcessingParameterFile(name, label, QgsProcessingParameterFile.Behavior.File, "", None, optional),
                 help_text)


def files(name: str, label: str, help_text: str) -> QgsProcessingParameterDefinition:
    """One or more files that exist."""
    return _with(QgsProcessingParameterMultipleLayers(name, label, QgsProcessing.SourceType.TypeFile), help_text)


def sink(name: str, label: str, help_text: str, kind: str, optional: bool = False,
         by_default: bool = True) -> QgsProcessingParameterDefinition:
    """An output layer; ``kind`` is point, line, polygon or table. It can be appended to, so that outings share one."""
    made = QgsProcessingParameterFeatureSink(name, label, _SINKS[kind], None, optional, by_default)
    made.setSupportsAppend(True)
    return _with(made, help_text)


def destination_raster(name: str, label: str, help_text: str,
                       optional: bool = False) -> QgsProcessingParameterDefinition:
    """An output raster."""
    return _with(QgsProcessingParameterRasterDestination(name, label, None, optional, not optional), help_text)


def destination_file(name: str, label: str, help_text: str, file_filter: str, optional: bool = True,
                     by_default: bool = False) -> QgsProcessingParameterDefinition:
    """An output file such as HTML, GPX or CSV; an optional one is made unasked only ``by_default``, by a form."""
    made = QgsProcessingParameterFileDestination(name, label, file_filter, None, optional, by_default or not optional)
    return _with(made, help_text)
