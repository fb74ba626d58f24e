"""Lines drawn on the objects of the sample's picture of the record, as a user would draw them, and the truth."""
import csv
import pathlib

from qgis.core import QgsFeature, QgsGeometry, QgsVectorLayer

SAMPLE = pathlib.Path(__file__).resolve().parents[2] / "sample_project"
LINES = {"rowboat": ((80.0, 511.3, 80.0, 519.7), (83.8, 515.5, 75.6, 515.5), (75.0, 515.5, 61.0, 515.5)),
         "crib": ((412.0, 135.0, 412.0, 143.0), (402.0, 139.0, 418.0, 139.0), (418.0, 139.0, 441.0, 139.0))}
"""(column, row) of both ends along, across and along the shadow, as seen on the picture."""


def layer():
    """The lines as a layer without a coordinate system."""
    made = QgsVectorLayer("LineString?field=kind:string&field=object:string", "lines", "memory")
    for name, lines in LINES.items():
        for kind, (x0, y0, x1, y1) in zip(("along", "across", "shadow"), lines):
            feature = QgsFeature(made.fields())
            feature.setAttributes([kind, name])
            feature.setGeometry(QgsGeometry.fromWkt(f"LINESTRING({x0} {-y0}, {x1} {-y1})"))
            made.dataProvider().addFeature(feature)
    return made


def table(name, key):
    """{key: row} of a table of the truth, or of the picture's frame."""
    folder = SAMPLE if name.startswith("north") else SAMPLE / "truth"
    with open(folder / f"{name}.csv", encoding="utf-8") as file:
        return {row[key]: row for row in csv.DictReader(file)}
