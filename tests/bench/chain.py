"""The whole job from file to file, as `processing.run` does it, and the error ellipses."""
from __future__ import annotations

import math
import pathlib
import subprocess
import sys
import tempfile
import time

from athwart.survey.geometry.frame import Frame
from osgeo import ogr, osr

from . import madesurvey, measure

__all__ = ["KIND", "once", "report", "targets"]

KIND = "chain"

SIZES = (3_600, 18_000, 180_000)


def _store(path, name, kind):
    place = osr.SpatialReference()
    place.ImportFromEPSG(4326)
    place.SetAxisMappingStrategy(osr.OAMS_TRADITIONAL_GIS_ORDER)
    store = ogr.GetDriverByName("GPKG").CreateDataSource(str(path))
    return store, store.CreateLayer(name, place, kind)


def write_fixes(survey, path):
    """The survey as a log would give it: longitude, latitude, time, compass heading, depth."""
    frame = Frame(madesurvey.CRS, -93, 45)
    east, north = frame.forward(survey.east, survey.north)
    heading = (survey.azimuth + frame.convergence(east, north)) % 360
    lon, lat = frame.frame_to_lonlat(east, north)
    store, layer = _store(path, "fixes", ogr.wkbPoint)
    for name in ("t_s", "heading_deg", "depth_m"):
        layer.CreateField(ogr.FieldDefn(name, ogr.OFTReal))
    layer.StartTransaction()
    for i, (x, y, azimuth, depth) in enumerate(zip(lon.tolist(), lat.tolist(), heading.tolist(),
                                                   survey.depth.tolist())):
        feature = ogr.Feature(layer.GetLayerDefn())
        for name, value in (("t_s", 1_760_000_000.0 + i), ("heading_deg", azimuth), ("depth_m", depth)):
            feature.SetField(name, value)
        point = ogr.Geometry(ogr.wkbPoint)
        point.AddPoint_2D(x, y)
        feature.SetGeometry(point)
        layer.CreateFeature(feature)
    layer.CommitTransaction()


def write_lake(survey, path):
    """The shore."""
    frame = Frame(madesurvey.CRS, -93, 45)
    ring = ogr.Geometry(ogr.wkbLinearRing)
    for x, y in survey.lake.exterior.coords:
        ring.AddPoint_2D(*(float(v) for v in frame.frame_to_lonlat(*frame.forward(x, y))))
    outline = ogr.Geometry(ogr.wkbPolygon)
    outline.AddGeometry(ring)
    _, layer = _store(path, "lake", ogr.wkbPolygon)
    feature = ogr.Feature(layer.GetLayerDefn())
    feature.SetGeometry(outline)
    layer.CreateFeature(feature)


class Watch:
    """Adds up the time spent in functions of the QGIS side, outermost calls only."""

    def __init__(self):
        self.seconds, self._depth = 0.0, 0

    def over(self, owner, name):
        """Replace a function by a timed one."""
        function = getattr(owner, name)

        def timed(*arguments, **named):
            self._depth += 1
            began = time.process_time()
            try:
                return function(*arguments, **named)
            finally:
                self._depth -= 1
                if not self._depth:
                    self.seconds += time.process_time() - began
        setattr(owner, name, timed)


def once(folder):
    """Prepare the track, draw the swaths, find the gaps; prints a line for each tool."""
    import processing
    from athwart.algorithms.common import read
    watch = Watch()
    for name in ("table", "track", "polygons"):
        watch.over(read, name)
    for module in [m for key, m in sys.modules.items() if key.startswith("athwart.algorithms.")]:
        if hasattr(module, "write_layer"):
            watch.over(module, "write_layer")
    drawing = Watch()
    from athwart.survey.coverage import gaps
    drawing.over(gaps, "_drawn")
    folder = pathlib.Path(folder)

    def run(tool, **parameters):
        began, before = (time.perf_counter(), time.process_time()), watch.seconds
        processing.run(f"athwart:{tool}", parameters)
        print("TOOL", tool, time.perf_counter() - began[0], time.process_time() - began[1], watch.seconds - before,
              flush=True)
    files = {name: str(folder / f"{name}.gpkg") for name in ("track", "passes", "swaths", "gaps", "areas")}
    run("preparetrack", INPUT=str(folder / "fixes.gpkg"), OUTING="bench", RANGE=madesurvey.RANGE,
        RANGE_UNIT="m", DEPTH_FIELD="depth_m", DEPTH_UNIT="m", HEADING_FIELD="heading_deg", HEADING_KIND="true",
        OUTPUT=files["track"], PASSES=files["passes"])
    run("swathfootprint", INPUT=files["track"], WATER=str(folder / "lake.gpkg"), MERGE="pass", OUTPUT=files["swaths"])
    run("coveragegaps", SWATHS=files["swaths"], AREA=str(folder / "lake.gpkg"), PASSES=files["passes"],
        OUTPUT=files["gaps"], AREAS=files["areas"])
    print("PART", drawing.seconds, flush=True)


def report():
    """Print time, memory and the share of reading and writing as the survey grows."""
    survey = madesurvey.make()
    rows, totals = [], []
    for count in SIZES:
        with tempfile.TemporaryDirectory() as folder:
            write_fixes(survey.first(count), pathlib.Path(folder, "fixes.gpkg"))
            write_lake(survey, pathlib.Path(folder, "lake.gpkg"))
            done = subprocess.run([sys.executable, "-m", "bench", "--once", KIND, folder], capture_output=True,
                                  text=True, check=False)
        lines = [line.split() for line in done.stdout.splitlines()]
        tools = [(words[1], *map(float, words[2:])) for words in lines if words[:1] == ["TOOL"]]
        peak = [words[1] for words in lines if words[:1] == ["PEAK"]]
        if not peak:
            raise RuntimeError(f"the chain failed:\n{done.stderr[-2000:]}")
        for tool, wall, busy, files in tools:
            rows.append((f"{count} fixes, {tool}", f"{wall:.2f}", f"{busy:.2f}", f"{100 * files / busy:.0f}", ""))
        interval = [float(words[1]) for words in lines if words[:1] == ["PART"]]
        rows.append((f"{count} fixes, of that the interval of the share", "", f"{interval[-1]:.2f}", "", ""))
        totals.append(sum(busy for _, _, busy, _ in tools))
        wall = sum(wall for _, wall, _, _ in tools)
        rows.append((f"{count} fixes, all three", f"{wall:.2f}", f"{totals[-1]:.2f}", "", peak[-1]))
    print("\nPrepare track, Draw swaths, Find coverage gaps: from GeoPackage to GeoPackage, one process\n")
    measure.print_table(("", "s", "processor s", "reading and writing %", "peak MB"), rows)
    growth = math.log(totals[-1] / totals[0]) / math.log(SIZES[-1] / SIZES[0])
    print(f"\nGrowth from {SIZES[0]} to {SIZES[-1]} fixes: exponent {growth:.2f} (goal: at most 1.1)")


def targets():
    """Print ellipses against unscented runs, the same comparison as `make proof` makes."""
    import containment
    containment.speed()
