"""The tools' dialog on the desktop: QGIS's own, with the parameters by subject and the right layers offered.

Imported only where a dialog is opened: scripts and the command line need no window. Nothing here changes what a run
with given values does, or the defaults of a tool; all of it is what a form shows before somebody types.
"""
from __future__ import annotations

from typing import TYPE_CHECKING

from processing.gui.AlgorithmDialog import AlgorithmDialog
from processing.gui.ParametersPanel import ParametersPanel
from qgis.core import (
    QgsProcessing,
    QgsProcessingParameterDefinition,
    QgsProcessingParameters,
    QgsUnitTypes,
    QgsVectorLayer,
)
from qgis.PyQt.QtCore import Qt
from qgis.PyQt.QtWidgets import QCheckBox, QComboBox, QLabel, QScrollArea, QSizePolicy, QVBoxLayout

from ...survey.model.units import LENGTHS
from . import offers
from .compat import is_null
from .hints import fitting_ranges
from .remembered import MEANT_IN, defaults_in, display_unit, remember, remembered

if TYPE_CHECKING:
    from collections.abc import Sequence
    from typing import Any

__all__ = ["ToolDialog"]

_SHORTEST = 8
"""Letters that a list of choices always shows; the form would not fit without scrolling sideways else."""


class ToolDialog(AlgorithmDialog):
    """QGIS's dialog of an algorithm with our panel in it."""

    def getParametersPanel(self, alg: Any, parent: Any) -> Any:
        """Called by QGIS's dialog while it is made."""
        return ToolPanel(parent, alg, self.in_place, self.active_layer)

    def setParameters(self, parameters: dict[str, Any]) -> None:
        """Values from the history or a script: what they leave out is left at the tool's defaults, not offered."""
        panel = self.mainWidget()
        if parameters:
            panel.forget_offers()
        panel.follows = not parameters
        super().setParameters(parameters)
        panel.follows = True

    def finish(self, successful: bool, result: Any, *rest: Any, **more: Any) -> None:
        """Called when a run has come to its end; the units chosen are offered the next time."""
        if successful:
            panel = self.mainWidget()
            remember({name: panel.wrappers[name].parameterValue() for name in panel.wrappers})
        super().finish(successful, result, *rest, **more)


class ToolPanel(ParametersPanel):
    """The form: sections with headings, layers and units offered, ranges that would fit the depth said."""

    def initWidgets(self) -> None:
        """Called by QGIS's panel while it is made."""
        super().initWidgets()
        tool = self.algorithm()
        for title, names in tool.SECTIONS:
            self._head(title, names)
        switches = [name for name in self.wrappers if tool.parameterDefinition(name).type() == "boolean"]
        for name in (*tool.NEEDED, *switches):
            self._unmark(name)
        self._narrow()
        self._offered: dict[str, Any] = {}
        self.follows = True
        for name in MEANT_IN.keys() & self.wrappers.keys():
            self.wrappers[name].widgetValueHasChanged.connect(lambda *_, box=name: self._follow(box))
        for name, value in remembered(tool).items():
            self._offer(name, value)
        for name, layer in offers.layers(tool).items():
            self._offer(name, layer.id())
        if display_unit() == "ft":
            self._in_feet()
        self._fill()
        for name in {parent for _, parent, _, _ in tool.FILLS} & set(self.wrappers):
            self.wrappers[name].widgetValueHasChanged.connect(self._fill)
        self._watch_depth()

    def setParameters(self, parameters: dict[str, Any]) -> None:
        """Values from the history or a script; files that are no map layers are kept, too.

        QGIS (3.22 to 3.44 at least) reads a list of files as layers and drops what it cannot open, such as an NMEA
        log. It takes a layer's source as it stands, so the paths go in as the sources of layers that are never opened.
        """
        super().setParameters(parameters)
        for name in parameters.keys() & self.wrappers.keys():
            definition = self.algorithm().parameterDefinition(name)
            if definition.type() != "multilayer" or definition.layerType() != QgsProcessing.SourceType.TypeFile:
                continue
            paths = QgsProcessingParameters.parameterAsFileList(definition, parameters[name], self.processing_context)
            if paths and self.wrappers[name].parameterValue() != paths:
                named = [QgsVectorLayer(path, "", "") for path in paths]
                self.wrappers[name].setParameterValue(named, self.processing_context)

    def _follow(self, box: str) -> None:
        """A default goes with the unit chosen: 2 m/s does not become 2 mph. What somebody typed stays."""
        if not self.follows:
            return
        tool = self.algorithm()
        stand = [defaults_in(tool, box, unit) for unit in tool.parameterDefinition(box).options()]
        for name, value in defaults_in(tool, box, self.wrappers[box].parameterValue()).items():
            if self.wrappers[name].parameterValue() in [one[name] for one in stand]:
                self._offer(name, value)

    def _in_feet(self) -> None:
        """Lengths that stand open are shown in feet.

        Folded ones stay in metres, since QGIS reads the unit of such a box only while it is seen; so do cell sizes.
        """
        for name, wrapper in self.wrappers.items():
            definition = self.algorithm().parameterDefinition(name)
            folded = definition.flags() & QgsProcessingParameterDefinition.Flag.FlagAdvanced
            if definition.type() != "distance" or folded or name == "CELL_SIZE":
                continue
            default = definition.defaultValue()
            if self._set_unit(wrapper, QgsUnitTypes.DistanceUnit.DistanceFeet):
                self._offer(name, None if is_null(default) else round(default / LENGTHS["ft"], 2))

    def _set_unit(self, wrapper: Any, unit: Any) -> bool:
        """True where the box of a length has the unit to choose."""
        for box in wrapper.wrappedWidget().findChildren(QComboBox):
            index = box.findData(int(getattr(unit, "value", unit)))
            if index >= 0:
                box.setCurrentIndex(index)
                return True
        return False

    def forget_offers(self) -> None:
        """Back to the declared defaults, and to metres."""
        for name in self._offered:
            if self.algorithm().parameterDefinition(name).type() == "distance":
                self._set_unit(self.wrappers[name], QgsUnitTypes.DistanceUnit.DistanceMeters)
        for name in self._offered:
            definition = self.algorithm().parameterDefinition(name)
            self.wrappers[name].setParameterValue(definition.defaultValueForGui(), self.processing_context)
        self._offered = {}

    def _offer(self, name: str, value: Any) -> None:
        self._offered[name] = value
        self.wrappers[name].setParameterValue(value, self.processing_context)

    def _fill(self, *_: Any) -> None:
        """Fields and units that go with the layer chosen, as long as nobody chose others."""
        for name, value in offers.fields(self.algorithm(), self._layer).items():
            if self.wrappers[name].parameterValue() in (None, "", self._offered.get(name)):
                self._offer(name, value)

    def _layer(self, name: str) -> Any:
        wrapper = self.wrappers.get(name)
        if wrapper is None:
            return None
        return self.algorithm().parameterAsVectorLayer({name: wrapper.parameterValue()}, name, self.processing_context)

    def _first(self, name: str) -> tuple[Any, int]:
        """(layout, index) of a parameter's label, or of its widget where that is its own label."""
        wrapper = self.wrappers[name]
        for widget in (wrapper.wrappedLabel(), wrapper.wrappedWidget()):
            around = widget.parentWidget() if widget is not None else None
            for layout in around.findChildren(QVBoxLayout) if around is not None else ():
                if layout.indexOf(widget) >= 0:
                    return layout, layout.indexOf(widget)
        return None, -1

    def _head(self, title: str, names: Sequence[str]) -> None:
        """The title before the first of these parameters, in each part of the form that has some of them."""
        headed = []
        for name in names:
            layout, index = self._first(name) if name in self.wrappers else (None, -1)
            if layout is None or layout in headed:
                continue
            label = QLabel(title, layout.parentWidget())  # else it would go with this name
            label.setObjectName("section")
            font = label.font()
            font.setBold(True)
            label.setFont(font)
            label.setContentsMargins(0, 10 if index else 0, 0, 0)
            layout.insertWidget(index, label)
            headed.append(layout)

    def _unmark(self, name: str) -> None:
        """Take '[optional]' off: a fact that has several boxes is needed, a switch never blank."""
        wrapper = self.wrappers.get(name)
        label = (wrapper.wrappedLabel() or wrapper.wrappedWidget()) if wrapper is not None else None
        if isinstance(label, (QLabel, QCheckBox)):
            label.setText(self.algorithm().parameterDefinition(name).description())

    def _narrow(self) -> None:
        for label in self.findChildren(QLabel):
            if label.text() and label.textFormat() != Qt.TextFormat.RichText:
                label.setWordWrap(True)
        for box in self.findChildren(QComboBox):
            box.setSizeAdjustPolicy(QComboBox.SizeAdjustPolicy.AdjustToMinimumContentsLengthWithIcon)
            box.setMinimumContentsLength(_SHORTEST)
            box.setSizePolicy(QSizePolicy.Policy.Expanding, box.sizePolicy().verticalPolicy())
        for area in self.findChildren(QScrollArea):
            area.setHorizontalScrollBarPolicy(Qt.ScrollBarPolicy.ScrollBarAsNeeded)

    def _watch_depth(self) -> None:
        unit = "DEPTH_UNIT" if "DEPTH_UNIT" in self.wrappers else "RANGE_UNIT"
        watched = self._watched = ("RANGE", "RANGE_UNIT", "DEPTH", unit)
        last = unit if unit == "DEPTH_UNIT" else "DEPTH"
        layout, _ = self._first(last) if set(watched) <= self.wrappers.keys() else (None, -1)
        if layout is None:
            return
        self._hint = QLabel(layout.parentWidget())
        self._hint.setObjectName("hint")
        self._hint.setWordWrap(True)
        layout.insertWidget(layout.indexOf(self.wrappers[last].wrappedWidget()) + 1, self._hint)
        for name in watched:
            self.wrappers[name].widgetValueHasChanged.connect(self._say_ranges)
        self._say_ranges()

    def _say_ranges(self, *_: Any) -> None:
        text = fitting_ranges(*(self.wrappers[name].parameterValue() for name in self._watched))
        self._hint.setText(text)
        self._hint.setVisible(bool(text))
