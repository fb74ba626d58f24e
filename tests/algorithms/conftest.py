"""QGIS side of the tests: a tool as the child of a model, layers made from arrays."""
import pytest


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
