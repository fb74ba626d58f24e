"""Runs inside the QGIS desktop (qgis --code), started by tools/desk.sh: plays a scene and photographs it.

A scene is a generator: it does something and yields the seconds to wait, or a condition to wait for.
"""
from __future__ import annotations

import os
import pathlib
import shutil
import sys
import time
import traceback

from qgis.core import QgsApplication, QgsProject, QgsRectangle, QgsSettings
from qgis.gui import QgsCollapsibleGroupBoxBasic
from qgis.PyQt import sip
from qgis.PyQt.QtCore import Qt, QTimer
from qgis.PyQt.QtWidgets import QAbstractButton, QApplication, QDockWidget, QLabel, QScrollArea, QWidget
from qgis.utils import iface, plugins

OUT = pathlib.Path(os.environ["DESK_OUT"])
ROOT = pathlib.Path(sys.modules["athwart"].__file__).resolve().parent
PATIENCE = 90  # seconds that a step may take
HORIZONTAL = Qt.Orientation.Horizontal
AROUND = QgsRectangle(304640, 4480440, 305460, 4480900)  # the south bay
SHOWN = {
    "preparetrack": ("search areas", "Track - south", "Passes - south"),
    "swathfootprint": ("search areas", "Passes - south", "Swaths - south"),
    "coveragegaps": ("Areas", "Gaps", "Swaths - south"),
    "unscannedshoreline": ("Shore", "Swaths - south"),
    "locatetargets": ("Passes - south", "Targets", "Error ellipses", "Swaths - south"),
}
"""Layers ticked for the picture after a step."""


def say(text):
    print(f"desk: {text}", flush=True)


def shot(name, widget=None, height=None):
    """A PNG of a widget, or of the upper part of it, or of the whole screen."""
    QApplication.processEvents()
    picture = widget.grab() if widget is not None else QApplication.primaryScreen().grabWindow(0)
    if height is not None:
        picture = picture.copy(0, 0, picture.width(), height)
    picture.save(str(OUT / f"{name}.png"))


def toolbox(words):
    """The Processing Toolbox, unfolded, with a search in its box."""
    dock = iface.mainWindow().findChild(QDockWidget, "ProcessingToolbox")
    dock.show()
    dock.raise_()
    dock.searchBox.setText(words)
    dock.algorithmTree.expandAll()
    return dock


def prepare():
    """A window of a known size without messages."""
    assert "athwart" in plugins, "the plugin did not load"
    window = iface.mainWindow()
    window.showNormal()
    window.setGeometry(0, 0, 1400, 900)  # there is no window manager under Xvfb
    iface.messageBar().clearWidgets()
    if os.environ.get("DESK_FEET"):
        for kept, unit in (("length", "ft"), ("speed", "mph")):
            QgsSettings().setValue(f"athwart/units/{kept}", unit)


def dialog(tool, values, width=688, height=523):
    """A tool's dialog with values in its form."""
    from processing import createAlgorithmDialog
    made = createAlgorithmDialog(f"athwart:{tool}", values)
    made.show()
    made.resize(width, height)  # after show, which brings back the size that the last dialog had
    made.move(250, 90)
    made.raise_()
    return made


def unfold(made):
    """Open 'Advanced' in a dialog."""
    for box in made.findChildren(QWidget, "grpAdvanced"):
        sip.cast(box, QgsCollapsibleGroupBoxBasic).setCollapsed(False)


def dialogs():
    """Every tool: its dialog as it opens, its whole form, and its help."""
    prepare()
    yield 1
    toolbox("athwart")
    yield 1
    shot("toolbox")
    provider = QgsApplication.processingRegistry().providerById("athwart")
    only = os.environ.get("DESK_TOOLS", "").split()
    for tool in only or [a.name() for a in provider.algorithms()]:
        made = dialog(tool, {})
        yield 1
        shot(tool, made)
        unfold(made)
        made.resize(900, 2600)
        yield 0.7
        form = made.findChild(QScrollArea).widget()
        last = max(box.mapTo(form, box.rect().bottomLeft()).y()
                   for kind in (QLabel, QAbstractButton) for box in form.findChildren(kind) if box.isVisible())
        shot(f"{tool}-form", form, last + 10)
        made.close()
        yield 0.2


def open_sample():
    """The menu's own 'Open sample project...', with the question for a folder answered beforehand."""
    from athwart.plugin import menu
    menu.QFileDialog.getExistingDirectory = staticmethod(lambda *_: os.environ["DESK_WORK"])
    plugins["athwart"].menu.open_sample()


def run(made):
    """Press Run and wait for the end; yields seconds."""
    made.runButton().click()
    began = time.monotonic()
    while made.cancelButton().isEnabled() or time.monotonic() < began + 2:
        if time.monotonic() > began + PATIENCE:
            raise RuntimeError(f"{made.windowTitle()} takes too long")
        yield 0.5


def drawn():
    """Wait until the map is drawn with all its labels; yields seconds."""
    began = time.monotonic()
    yield 1.5
    while iface.mapCanvas().isDrawing() and time.monotonic() < began + PATIENCE:
        yield 0.5
    yield 0.5


def show_only(names):
    """Tick these layers and the base map, untick the others and the sample's own outing; fold every legend."""
    root = QgsProject.instance().layerTreeRoot()
    root.findGroup("South outing as recorded").setItemVisibilityChecked(False)
    for node in root.findLayers():
        if node.parent() is root or node.parent().name() == "south":
            node.setItemVisibilityChecked(node.name() in names)
            node.setExpanded(False)


def tutorial():
    """The first hour, as docs/first-hour.md tells it."""
    from tools.docs import first_hour
    prepare()
    window = iface.mainWindow()
    window.findChild(QDockWidget, "Browser").close()
    window.resizeDocks([window.findChild(QDockWidget, "Layers"), toolbox("athwart")], [330, 270], HORIZONTAL)
    yield 1
    open_sample()
    yield 4
    iface.messageBar().clearWidgets()
    toolbox("athwart")
    yield from drawn()
    shot("sample")
    project = QgsProject.instance()
    sample = pathlib.Path(project.fileName()).parent
    for number, (tool, parameters, outputs) in enumerate(first_hour.STEPS, 1):
        layers = {layer.name(): layer for layer in project.mapLayers().values()}
        made = dialog(tool, first_hour.filled(parameters, layers, sample))
        yield 1.5
        shot(f"{number}-{tool}", made)
        known = set(project.mapLayers())
        yield from run(made)
        shot(f"{number}-{tool}-log", made)
        if tool == "coveragereport":
            shutil.copy(made.results()["OUTPUT_HTML"], OUT / "report.html")
        made.close()
        for layer in layers.values():
            if hasattr(layer, "removeSelection"):
                layer.removeSelection()
        got = {layer.name() for key, layer in project.mapLayers().items() if key not in known}
        say(f"{tool}: {sorted(got)}")
        missing = {name for key, name in outputs.items() if key != "OUTPUT_HTML"} - got
        if missing:
            raise RuntimeError(f"{tool} gave no layer named {missing}")
        if tool in SHOWN:
            show_only(SHOWN[tool])
            iface.mapCanvas().setExtent(AROUND)
            iface.mapCanvas().refresh()
        yield from drawn()
        iface.messageBar().clearWidgets()
        yield 0.3
        shot(f"{number}-{tool}-map")


def picks():
    """A layer for picks over a record image: run, click on the picture, and the form that opens."""
    prepare()
    from qgis.core import QgsRasterLayer
    from qgis.PyQt.QtCore import QPoint
    from qgis.PyQt.QtTest import QTest
    image = QgsRasterLayer(str(ROOT / "sample_project" / "north_record.png"), "north record")
    QgsProject.instance().addMapLayer(image)
    iface.mapCanvas().setExtent(image.extent())
    yield 1
    made = dialog("newpicks", {"PLACE": "record image"})
    yield 1
    yield from run(made)
    made.close()
    yield 1
    canvas = iface.mapCanvas().viewport()
    middle = canvas.rect().center()
    place = QPoint(middle.x(), middle.y())
    QTimer.singleShot(0, lambda: QTest.mouseClick(canvas, Qt.MouseButton.LeftButton, pos=place))
    yield 2
    shot("picks")
    layer = iface.activeLayer()
    say(f"{layer.name()}: editable {layer.isEditable()}, has a coordinate system {layer.crs().isValid()}")


def play(scene):
    """Run a scene to its end, then leave; an exception ends it with 1."""
    def on():
        try:
            QTimer.singleShot(int(1000 * next(scene)), on)
        except StopIteration:
            os._exit(0)
        except Exception:
            traceback.print_exc()
            sys.stdout.flush()
            os._exit(1)
    on()


SCENES = {"dialogs": dialogs, "tutorial": tutorial, "picks": picks}
QTimer.singleShot(5000, lambda: play(SCENES[os.environ["DESK_SCENE"]]()))
