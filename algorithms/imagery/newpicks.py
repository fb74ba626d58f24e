"""Make a layer for picks: empty, ready to draw in, with a form that asks for what the other tools need."""
from __future__ import annotations

from dataclasses import replace

from qgis.core import QgsCoordinateReferenceSystem, QgsDefaultValue, QgsEditorWidgetSetup, QgsProject
from qgis.PyQt.QtCore import QTimer

from ...survey.model import schemas
from ...survey.model.messages import Message
from ..common import parameters as make
from ..common import values
from ..common.base import AthwartAlgorithm, stepper
from ..common.styles import then
from ..common.write import write_layer

__all__ = ["NewPicks"]

_IMAGE, _SHADOWS, _SIZES, _BOAT, _OBJECT = _PLACES = (
    "record image", "record image with shadows", "record image with sizes", "boat", "object")

_ON_IMAGE, _LINES = (_IMAGE, _SHADOWS, _SIZES), (_SHADOWS, _SIZES)

_ASKED = {_IMAGE: ("label", "kind", "remarks"), _SHADOWS: ("label", "kind", "remarks"),
          _SIZES: ("label", "kind", "remarks"), _BOAT: ("label", "side", "range", "depth", "remarks"),
          _OBJECT: ("label", "remarks")}
"""What the form of each kind of layer shows."""

_WORDS = {"kind": ("object", "bottom"), "side": ("port", "starboard")}
_SIZE_WORDS = ("along", "across", "shadow")


class NewPicks(AthwartAlgorithm):
    """See the module."""

    ID, TITLE, GROUP = "newpicks", "Make a layer for picks", "imagery"
    FUNCTION = "new_picks"
    SECTIONS = (("Where you will mark", ("PLACE", "TARGET_CRS")),)
    STEP, GUIDE = 9, ("record",)
    LAYERS = {"OUTPUT": schemas.MARKS}
    ICON = "picksfromimage"
    SUMMARY = "Make an empty layer to mark objects in, on the record's picture or on the map."
    TAGS = "pick,mark,draw,digitize,new,empty,record,image,waypoint,form"
    HELP = """Makes an empty layer with the fields that the other tools read, and a form that asks for them. QGIS opens
    it for editing with the tool to add features at hand: click on the object, fill in the form and press OK. Save the
    edits when you are done.

    On a record image, load the picture without a georeference first, and click on the start of each echo; with shadows,
    draw a line from there to the end of the shadow, and end it with a right click. Mark the bottom here and there, too,
    with the kind 'bottom': each such mark gives the depth there. The layer goes into 'Read picks from record image'.
    With sizes, draw lines along and across each object and along its shadow, with one label; the layer goes into
    'Measure objects', the field label as the field of objects.

    On the map, mark the boat's place at the moment an object passed by, and give the side and the range (boat); or mark
    where an object itself lies (object). The layer goes into 'Locate targets', tied by boat point or object point."""
    OUTPUT_HELP = {"OUTPUT": "The empty layer. Give it a file: a temporary layer is gone when QGIS is closed."}

    def initAlgorithm(self, config=None):
        self.add(
            make.choice("PLACE", "What you will mark", "Echoes on a record image, as points or as lines to the "
                        "shadow's end; the boat's place on the map as objects passed by; or the objects' own places.",
                        list(_PLACES), _IMAGE),
            make.crs("TARGET_CRS", "Coordinate system on the map", "Blank: that of the project. A record image has "
                     "none: its marks are counted in pixels."),
            make.sink("OUTPUT", "Marks", self.OUTPUT_HELP["OUTPUT"], "point"))

    def packages(self, parameters):
        return ("numpy",)

    def refusal(self, parameters, context):
        place = values.option(self, parameters, "PLACE", context)
        if values.given(parameters, "TARGET_CRS") and not self._crs(parameters, context, place).isValid() \
                and place not in _ON_IMAGE:
            return Message("{TARGET_CRS} '{given}' is not a coordinate system that QGIS knows.",
                           given=parameters["TARGET_CRS"])
        return ""

    def _crs(self, parameters, context, place):
        if place in _ON_IMAGE:
            return QgsCoordinateReferenceSystem()
        if values.given(parameters, "TARGET_CRS"):
            return self.parameterAsCrs(parameters, "TARGET_CRS", context)
        project = context.project() or QgsProject.instance()
        return project.crs() if project.crs().isValid() else QgsCoordinateReferenceSystem("EPSG:4326")

    def run_tool(self, parameters, context, feedback):
        place = values.option(self, parameters, "PLACE", context)
        crs = self._crs(parameters, context, place)
        empty = {field.name: [] for field in schemas.MARKS}
        step = stepper(feedback)
        step(0.3)
        lines = place in _LINES
        layer = replace(schemas.MARKS, geometry="line", style="") if lines else schemas.MARKS
        dest = write_layer(self, parameters, "OUTPUT", context, feedback, fields=layer, columns=empty, crs=crs,
                           places=[] if lines else ((), ()))
        step(0.8)
        then(context, dest, lambda made: _open_for_marking(made, place))
        feedback.pushInfo("The layer is open for editing: click on the object, fill in the form, press OK; save at the "
                          "end.")
        return {"OUTPUT": dest}


def _open_for_marking(layer, place):
    """Give the layer its form and open it for editing."""
    asked = _ASKED[place]
    for index, name in enumerate(layer.fields().names()):
        if name in _WORDS:
            words = [{word: word} for word in (_SIZE_WORDS if name == "kind" and place == _SIZES else _WORDS[name])]
            layer.setEditorWidgetSetup(index, QgsEditorWidgetSetup("ValueMap", {"map": words}))
        elif name in ("range", "depth"):
            layer.setEditorWidgetSetup(index, QgsEditorWidgetSetup("Range", {
                "Min": 0.0, "Max": 10000.0, "Step": 1.0, "Precision": 2, "AllowNull": True, "Style": "SpinBox"}))
        if name not in asked:
            layer.setEditorWidgetSetup(index, QgsEditorWidgetSetup("Hidden", {}))
    if "kind" in asked:
        usual = "'along'" if place == _SIZES else "'object'"
        layer.setDefaultValueDefinition(layer.fields().indexOf("kind"), QgsDefaultValue(usual))
    if place in _ON_IMAGE:
        layer.setCrs(QgsCoordinateReferenceSystem())  # memory layers and files bring one, which would move the clicks
    layer.startEditing()
    key = layer.id()
    QTimer.singleShot(0, lambda: _begin(key))  # once the layer stands in the tree


def _begin(key):
    """On the desktop: the layer is the active one and the next click on the map makes a mark."""
    from qgis.utils import iface

    layer = QgsProject.instance().mapLayer(key)
    if iface is not None and layer is not None:
        iface.setActiveLayer(layer)
        iface.actionAddFeature().trigger()
