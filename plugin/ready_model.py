"""The ready-made models of plugin/models, each a whole job in one form."""
from __future__ import annotations

import pathlib

from qgis.core import QgsProcessingModelAlgorithm

from ..algorithms.common.packages import missing_packages_text
from ..algorithms.common.ready_form import ReadyForm

__all__ = ["MODELS", "ReadyModel", "ready_models"]

MODELS = pathlib.Path(__file__).resolve().parent / "models"


class ReadyModel(ReadyForm, QgsProcessingModelAlgorithm):
    """A model that comes with the plugin: its id is the name of its file, its title the name inside.

    QGIS itself would make the title the id, blanks and all, and the id must not change when a title is improved.
    """

    def name(self):
        return pathlib.Path(self.sourceFilePath()).stem

    def groupId(self):
        return "models"

    def tags(self):
        return ["model", "workflow", "whole job", "one click", "beginner"]

    def canExecute(self):
        missing = missing_packages_text()
        return (False, missing) if missing else super().canExecute()

    def createInstance(self):
        made = ReadyModel()
        made.loadVariant(self.toVariant())
        made.setProvider(self.provider())
        made.setSourceFilePath(self.sourceFilePath())
        return made


def ready_models():
    """A fresh instance of every model: QGIS takes ownership, so none may be kept."""
    made = []
    for path in sorted(MODELS.glob("*.model3")):
        model = ReadyModel()
        if model.fromFile(str(path)):
            model.setSourceFilePath(str(path))
            made.append(model)
    return made
