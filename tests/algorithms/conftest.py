"""QGIS side of the tests: one provider for the session, layers made from arrays, the three doors of a tool."""
import json
import os
import pathlib
import subprocess
import sys

import pytest

ROOT = pathlib.Path(__file__).resolve().parents[2]


@pytest.fixture(scope="session")
def provider(qgis_processing):
    """The registered provider; QGIS deletes an earlier one of the same id, so one serves the whole session."""
    from qgis.core import QgsApplication
    made = sys.modules["athwart"].classFactory(None)
    made.initProcessing()
    yield made.provider
    made.unload()
    assert QgsApplication.processingRegistry().providerById("athwart") is None


@pytest.fixture
def run(provider):
    """run(tool id, {parameters}) -> results, as a script would call it; raises QgsProcessingException."""
    import processing
    from qgis.core import QgsProcessingFeedback

    def call(tool, parameters, feedback=None):
        return processing.run(f"athwart:{tool}", parameters, feedback=feedback or QgsProcessingFeedback(False))
    return call


@pytest.fixture
def run_as_child(provider):
    """run_as_child(tool id, {parameters}): the tool as the only child of a model, which skips the parameter check.

    On 3.22 a model's exception only says that a child failed; the child's own words are in the log and are added.
    """
    from qgis.core import (
        QgsProcessingContext,
        QgsProcessingException,
        QgsProcessingFeedback,
        QgsProcessingModelAlgorithm,
        QgsProcessingModelChildAlgorithm,
        QgsProcessingModelChildParameterSource,
        QgsProcessingModelOutput,
        QgsProject,
    )

    def call(tool, parameters, output="OUTPUT"):
        model = QgsProcessingModelAlgorithm("child", "test")
        child = QgsProcessingModelChildAlgorithm(f"athwart:{tool}")
        child.setChildId("child")
        for name, value in parameters.items():
            child.addParameterSources(name, [QgsProcessingModelChildParameterSource.fromStaticValue(value)])
        if output:
            made = QgsProcessingModelOutput("out", "out")
            made.setChildId("child")
            made.setChildOutputName(output)
            child.setModelOutputs({"out": made})
        model.addChildAlgorithm(child)
        model.updateDestinationParameters()
        context = QgsProcessingContext()
        context.setProject(QgsProject.instance())
        names = [definition.name() for definition in model.destinationParameterDefinitions()]  # 3.22: "child:out"
        destination = {names[0]: "TEMPORARY_OUTPUT"} if output else {}
        feedback = QgsProcessingFeedback(False)
        try:
            results, ok = model.run(destination, context, feedback, {}, False)
        except QgsProcessingException as error:
            raise QgsProcessingException(f"{error}\n{feedback.textLog()}") from error
        layer = context.takeResultLayer(results.get(names[0], "")) if output else None
        return results, layer
    return call


@pytest.fixture(scope="session")
def profile(tmp_path_factory):
    """A throwaway QGIS profile shared by the command-line tests."""
    return tmp_path_factory.mktemp("profile")


@pytest.fixture
def qgis_process(profile):
    """qgis_process(tool id, {parameters}) -> (exit code, results, stderr), in the throwaway profile."""
    def call(tool, parameters):
        values = [f"{name}={value}" for name, value in _flat(parameters)]
        done = subprocess.run(
            ["bash", str(ROOT / "tools" / "qp.sh"), "--json", "run", f"athwart:{tool}", "--", *values],
            capture_output=True, text=True, env={**os.environ, "QP_CONFIG": str(profile)}, timeout=120, check=False)
        results = json.loads(done.stdout)["results"] if done.stdout.strip().startswith("{") else {}
        return done.returncode, results, done.stderr
    return call


def _flat(parameters):
    for name, value in parameters.items():
        for one in value if isinstance(value, (list, tuple)) else [value]:
            yield name, one


@pytest.fixture
def make_layer():
    """make_layer(kind, crs, {field: type}, [(wkt or None, [values])]) -> memory layer."""
    from qgis.core import QgsFeature, QgsGeometry, QgsVectorLayer

    def call(kind, crs, fields, rows, name="layer"):
        parts = "&".join(f"field={field}:{type_}" for field, type_ in fields.items())
        layer = QgsVectorLayer(f"{kind}?{'crs=' + crs if crs else ''}&{parts}", name, "memory")
        assert layer.isValid(), parts
        features = []
        for wkt, values in rows:
            feature = QgsFeature(layer.fields())
            if wkt:
                feature.setGeometry(QgsGeometry.fromWkt(wkt))
            feature.setAttributes(list(values))
            features.append(feature)
        ok, _ = layer.dataProvider().addFeatures(features)
        assert ok
        return layer
    return call
