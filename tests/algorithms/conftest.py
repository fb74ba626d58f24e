"""QGIS side of the tests: a tool as the child of a model, layers made from arrays."""
import pytest

BANDS = ("looks", "directions", "grazing", "hits", "smallest_object", "hidden",
         "detecting_looks", "detecting_directions")


@pytest.fixture(scope="session")
def sample_jobs(provider, tmp_path_factory):
    """The job of every tool on the sample, run once: a ``samplejobs.SampleJobs``."""
    from samplejobs import SampleJobs

    return SampleJobs(tmp_path_factory.mktemp("jobs"))


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


@pytest.fixture
def seen(tmp_path):
    """A raster of looks of 100 by 60 cells of 1 m: rows 0 to 19 hidden, 20 to 39 seen once, 40 to 59 twice, once well.

    Its lower left corner is 500000, 4983000; only the western half of the unseen rows is hidden.
    """
    import numpy as np
    from osgeo import gdal, osr

    def call(object_size="1.0", bands=BANDS, crs=32632):
        path = str(tmp_path / "looks.tif")
        made = gdal.GetDriverByName("GTiff").Create(path, 100, 60, len(bands), gdal.GDT_Float32)
        made.SetGeoTransform((500_000, 1, 0, 4_983_060, 0, -1))
        reference = osr.SpatialReference()
        reference.ImportFromEPSG(crs)
        made.SetProjection(reference.ExportToWkt())
        looks = np.repeat([0, 1, 2], 20)[:, None] * np.ones((1, 100))
        values = {"looks": looks, "smallest_object": np.where(looks == 2, 0.8, np.where(looks == 1, 1.5, np.nan)),
                  "detecting_looks": looks == 2, "detecting_directions": looks == 2,
                  "hidden": (looks == 0) & (np.arange(100) < 50)[None, :]}
        for i, band in enumerate(bands):
            target = made.GetRasterBand(i + 1)
            target.SetDescription(band)
            target.SetNoDataValue(float("nan"))
            target.WriteArray(np.asarray(values.get(band, looks), np.float32))
        if object_size:
            made.SetMetadataItem("OBJECT_SIZE_M", object_size)
        del made, target
        return path
    return call
