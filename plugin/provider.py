"""The Processing provider."""
from __future__ import annotations

import pathlib

from qgis.core import QgsProcessingProvider
from qgis.PyQt.QtGui import QIcon

from ..algorithms import all_tools
from ..algorithms.common.packages import missing_packages_text
from .ready_model import ready_models

__all__ = ["AthwartProvider"]

HERE = pathlib.Path(__file__).resolve().parent


class AthwartProvider(QgsProcessingProvider):
    """Tools and ready-made models of Athwart."""

    def id(self):
        return "athwart"

    def name(self):
        return "Athwart"

    def longName(self):
        return "Athwart: side-scan outings as map layers"

    def icon(self):
        return QIcon(self.svgIconPath())

    def svgIconPath(self):
        return str(HERE / "icons" / "athwart.svg")

    def warningMessage(self):
        return missing_packages_text()

    def loadAlgorithms(self):
        for tool in all_tools():
            self.addAlgorithm(tool)
        for model in ready_models():
            self.addAlgorithm(model)
