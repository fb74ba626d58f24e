"""A pytest plugin for a PyQGIS that is no more than ``qgis.core``: pytest-qgis's fixtures and ``processing.run``.

The Qt 6 build of tools/matrix.sh has neither windows nor the Processing plugin; tests that need a window are skipped.
"""
import sys
import types

import pytest
from qgis.core import (
    QgsApplication,
    QgsFeatureRequest,
    QgsProcessingContext,
    QgsProcessingException,
    QgsProcessingFeedback,
    QgsProject,
)

APP = QgsApplication([], True)  # offscreen: icons need it
APP.initQgis()


def run(algorithm, parameters, context=None, feedback=None, **_):
    """As ``processing.run``: checked parameters, exceptions let out, memory layers handed over as layers."""
    tool = QgsApplication.processingRegistry().createAlgorithmById(algorithm)
    if context is None:
        context = QgsProcessingContext()
        context.setProject(QgsProject.instance())
        context.setInvalidGeometryCheck(QgsFeatureRequest.InvalidGeometryCheck.GeometryAbortOnInvalid)
    fits, said = tool.checkParameterValues(parameters, context)
    if not fits:
        raise QgsProcessingException(f"Unable to execute algorithm\n{said}")
    results, _ = tool.run(parameters, context, feedback or QgsProcessingFeedback(), {}, False)
    for name, value in results.items():
        if isinstance(value, str) and context.temporaryLayerStore().mapLayer(value):
            results[name] = context.takeResultLayer(value)
    return results


sys.modules["processing"] = types.ModuleType("processing")
sys.modules["processing"].run = run


@pytest.fixture(scope="session")
def qgis_app():
    """The application."""
    return APP


@pytest.fixture(scope="session")
def qgis_processing():
    """Nothing to start: QGIS's core brings its registry of algorithms."""


@pytest.fixture
def qgis_new_project():
    """An empty project."""
    QgsProject.instance().clear()


@pytest.fixture
def qgis_iface():
    """The desktop's interface, which this build has not."""
    pytest.skip("no window in this build of QGIS")


def pytest_addoption(parser):
    parser.addini("qgis_gui_enabled", "An option of pytest-qgis, in whose place this stands.")
