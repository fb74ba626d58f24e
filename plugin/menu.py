"""The desktop's menu: the sample project, map sheets for print, the guide. The tools are in the Processing Toolbox."""
from __future__ import annotations

import pathlib
import shutil

from qgis.core import QgsProject
from qgis.PyQt.QtCore import QCoreApplication, QDir, QUrl
from qgis.PyQt.QtGui import QDesktopServices, QIcon
from qgis.PyQt.QtWidgets import QAction, QFileDialog

__all__ = ["Menu", "copy_sample"]

ROOT = pathlib.Path(__file__).resolve().parents[1]
SAMPLE = ROOT / "sample_project"
PROJECT = "athwart_sample.qgz"
GUIDE = ROOT / "docs" / "index.html"
TITLE = "Athwart"


def tr(text):
    """Translated text of the plugin."""
    return QCoreApplication.translate("Athwart", text)


def copy_sample(folder):
    """Copy the sample into a new folder below ``folder`` and give the path of its project.

    Nothing that is there already is touched: a second copy is called athwart_sample_2, and so on.

    Raises
    ------
    OSError
        Where nothing can be written.
    """
    target, number = pathlib.Path(folder) / "athwart_sample", 2
    while target.exists():
        target, number = target.with_name(f"athwart_sample_{number}"), number + 1
    shutil.copytree(SAMPLE, target, ignore=shutil.ignore_patterns("simulate", "__pycache__", ".*"),
                    copy_function=shutil.copyfile)
    return target / PROJECT


class Menu:
    """'Athwart' in the Plugins menu; ``remove`` takes it away again."""

    def __init__(self, iface):
        self._iface = iface
        icon = QIcon(str(ROOT / "plugin" / "icons" / "athwart.svg"))
        self._actions = []
        for text, slot in ((tr("Open sample project..."), self.open_sample),
                           (tr("Add map sheets of the areas"), self.add_sheets), (tr("Open guide"), self.open_guide)):
            action = QAction(icon, text, iface.mainWindow())
            action.triggered.connect(slot)
            iface.addPluginToMenu(TITLE, action)
            self._actions.append(action)

    def remove(self):
        """Leave nothing behind."""
        for action in self._actions:
            self._iface.removePluginMenu(TITLE, action)
            action.deleteLater()
        self._actions = []

    def open_sample(self):
        """Ask for a folder, copy the sample there and open its project; QGIS asks about unsaved work by itself."""
        folder = QFileDialog.getExistingDirectory(
            self._iface.mainWindow(), tr("Choose a folder that the sample is copied to"), QDir.homePath())
        if not folder:
            return
        try:
            project = copy_sample(folder)
        except OSError as error:
            self._say(tr("The sample could not be copied to {}: {}. Choose a folder that you may write to.").format(
                folder, error.strerror or error))
            return
        self._iface.addProject(str(project))

    def add_sheets(self):
        """A print layout with a page for each area of the chosen layer, else of the areas that are there, opened."""
        from . import sheets

        project = QgsProject.instance()
        areas = sheets.areas_of(project, self._iface.activeLayer())
        if areas is None:
            self._say(tr("Choose the layer of areas in the layer panel first: polygons, a sheet each."))
            return
        layout = sheets.add_sheets(project, areas, sheets.lake_of(project), sheets.own_paper())
        self._iface.openLayoutDesigner(layout).setAtlasPreviewEnabled(True)  # else the first page seen is an empty one

    def open_guide(self):
        """The bundled guide in the system's browser; no network is needed."""
        if not QDesktopServices.openUrl(QUrl.fromLocalFile(str(GUIDE))):
            self._say(tr("No browser answered. Open this file in one: {}").format(GUIDE))

    def _say(self, text):
        self._iface.messageBar().pushWarning(TITLE, text)
