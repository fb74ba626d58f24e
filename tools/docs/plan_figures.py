"""tools/run.sh tools.docs.plan_figures: pictures of plans, docs/images/plan-*.svg, from the sample and the tools.

What each range shows of the bottom; the lines that close the gaps of the demo's outings; the South bay planned, and
what its simulated run leaves open. The demo's own steps make the layers, in this process. Look at the result.
"""
from __future__ import annotations

import math
import pathlib
import re
import tempfile

from .. import inside

ROOT = pathlib.Path(__file__).resolve().parents[2]
IMAGES = ROOT / "docs" / "images"
DEPTHS, RANGES = (2, 4, 6, 10), (10, 20, 30, 50)


def save(name, svg):
    """A drawing; the letters for a phone are left out, since a picture in a page is not shown closer there."""
    (IMAGES / f"{name}.svg").write_text(re.sub(r'<g class="phone".*?</g>', "", svg) + "\n", encoding="utf-8")


def ranges():
    """What each side of the record shows, by depth and range."""
    from athwart.survey import range_table
    from athwart.survey.planning.range_page import range_plot
    save("plan-range", range_plot(range_table(DEPTHS, RANGES)))


def layers():
    """The demo's database with its plans, made by its own steps up to the gaps."""
    import processing
    from qgis.core import QgsProcessingFeedback

    from ..demo import chain, trip

    def run(tool, **given):
        texts = {name: [str(one) for one in value] if isinstance(value, list) else
                 str(value) if isinstance(value, pathlib.Path) else value for name, value in given.items()}
        return processing.run(tool, texts, feedback=QgsProcessingFeedback(False))
    def floor(files, say):
        say("Depth grid")
        run("athwart:preparebathymetry", INPUT=files.sample / "depth_grid.tif", KIND="depth", UNIT="m",
            OUTPUT=files.folder / "depth_grid.tif")
    chain.run = trip.run = run
    folder = pathlib.Path(tempfile.mkdtemp())
    files = chain.Files(ROOT / "sample_project", folder / "steps.gpkg", folder)
    for part in (chain.north, chain.south, chain.together, floor, *trip.PARTS):
        part(files, print)
    return files


def plans(files):
    """The fill-in of both outings; the South bay as planned, over the gaps of its simulated run."""
    from athwart.algorithms.common.read import wkt
    from athwart.survey import paper_of, plan_sheet
    from qgis.core import NULL, QgsVectorLayer
    from shapely import wkb

    def read(source):
        layer = QgsVectorLayer(source, "layer", "ogr")
        found = list(layer.getFeatures())
        return layer, found, [wkb.loads(bytes(feature.geometry().asWkb())) for feature in found]

    _, _, water = read(files.lake)
    for name, plan, gaps in (("plan-fill", "fill_in", "gaps"), ("plan-lines", "plan", "plan_gaps")):
        layer, found, ways = read(f"{files.database}|layername={plan}")
        columns = {field: [math.nan if feature[field] == NULL else feature[field] for feature in found]
                   for field in layer.fields().names() if field != "fid"}
        under = read(f"{files.database}|layername={gaps}")[2]
        page = plan_sheet(paper_of(wkt(layer.crs()), columns, ways, water=water, gaps=under))
        save(name, re.search(r"<svg.*?</svg>", page, re.DOTALL).group())


def main():
    """Draw all."""
    kept = inside.qgis(), inside.processing()
    ranges()
    plans(layers())
    del kept
    inside.leave()


if __name__ == "__main__":
    main()
