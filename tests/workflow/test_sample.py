"""The sample project: made again from its seed, small, honest, inside its own lake, and independent of the core."""
import ast
import csv
import functools
import math
import operator
import re
import zipfile

import numpy as np
import pytest
from athwart.sample_project.simulate import make, plan
from athwart.sample_project.simulate.noise import BLOCKS
from osgeo import gdal, ogr
from pyproj import Geod, Transformer
from qgis.core import QgsProject

gdal.UseExceptions()
ogr.UseExceptions()


@pytest.fixture(scope="module")
def anew(tmp_path_factory):
    """The sample made again."""
    folder = tmp_path_factory.mktemp("sample")
    make.make(folder)
    return folder


@pytest.fixture
def sample(root):
    return root / "sample_project"


def rows(path):
    with open(path, encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


def figures(text):
    return np.array([float(x) for x in re.findall(r"-?\d+\.?\d*", text)])


def test_every_file_comes_again_from_the_seed(anew, sample):
    made = sorted(path.relative_to(anew) for path in anew.rglob("*") if path.is_file())
    assert len(made) > 12
    for path in made:
        assert (sample / path).is_file(), f"{path} is not in sample_project/"
        if path.suffix in (".gpx", ".csv", ".nmea"):
            # another numpy or PROJ may differ in the last digit written, not more
            old, new = (figures((folder / path).read_text("utf-8")) for folder in (sample, anew))
            assert len(old) == len(new), path
            if path.suffix != ".nmea":
                assert np.abs(old - new).max() < 0.11, path


def test_log_comes_again_line_by_line(anew, sample):
    old, new = ((folder / "outing_north.nmea").read_bytes().split(b"\r\n") for folder in (sample, anew))
    same = sum(a == b for a, b in zip(old, new))
    assert len(old) == len(new)
    assert same > 0.98 * len(old)


def test_grid_comes_again(anew, sample):
    old, new = (gdal.Open(str(folder / "depth_grid.tif")).ReadAsArray() for folder in (sample, anew))
    assert np.abs(old - new).max() < 0.05
    assert 12 < new.max() < 15


def test_it_is_small(sample):
    size = sum(path.stat().st_size for path in sample.rglob("*") if path.is_file() and "__pycache__" not in path.parts)
    assert size < 3_000_000


def test_simulator_shares_no_code_with_the_core(sample):
    allowed = {"numpy", "pyproj", "osgeo", "shapely", "xml", "datetime", "dataclasses", "csv", "math", "pathlib",
               "sys", "functools", "__future__"}
    files = list((sample / "simulate").glob("*.py"))
    assert files
    for path in files:
        for node in ast.walk(ast.parse(path.read_text("utf-8"))):
            if isinstance(node, ast.Import):
                assert {name.name.split(".")[0] for name in node.names} <= allowed, path
            elif isinstance(node, ast.ImportFrom):
                assert node.level == 1 or node.module.split(".")[0] in allowed, path


def test_objects_lie_in_the_water_where_the_table_says(sample):
    store = ogr.Open(str(sample / "lake.gpkg"))
    water = store.GetLayer("lake")
    (lake,) = [feature.GetGeometryRef().Clone() for feature in water]
    assert lake.GetGeometryCount() == 2, "an island is cut out of the water"
    objects = rows(sample / "truth" / "objects.csv")
    assert len(objects) >= 12
    to_map = Transformer.from_crs(4326, 32619, always_xy=True)
    for row in objects:
        x, y = to_map.transform(float(row["lon"]), float(row["lat"]))
        assert math.hypot(x - float(row["easting"]), y - float(row["northing"])) < 0.02, row["label"]
        point = ogr.Geometry(ogr.wkbPoint)
        point.AddPoint_2D(x, y)
        assert lake.Contains(point), row["label"]


def test_true_depths_agree_with_the_grid(sample):
    raster = gdal.Open(str(sample / "depth_grid.tif"))
    x0, cell, _, y0, _, _ = raster.GetGeoTransform()
    grid = raster.ReadAsArray()
    for row in rows(sample / "truth" / "objects.csv"):
        column, line = int((float(row["easting"]) - x0) / cell), int((y0 - float(row["northing"])) / cell)
        assert grid[line, column] == pytest.approx(float(row["depth_m"]), abs=0.3), row["label"]


def test_contours_agree_with_the_grid(sample):
    raster = gdal.Open(str(sample / "depth_grid.tif"))
    x0, cell, _, y0, _, _ = raster.GetGeoTransform()
    grid = raster.ReadAsArray()
    off, store = [], ogr.Open(str(sample / "lake.gpkg"))
    for feature in store.GetLayer("contours"):
        for x, y in np.array(feature.GetGeometryRef().GetPoints())[:, :2]:
            depth = grid[int((y0 - y) / cell), int((x - x0) / cell)]
            if depth > -1000:
                off.append(abs(depth - feature["depth_m"]))
    assert len(off) > 5000
    assert np.percentile(off, [50, 95]) == pytest.approx([0.1, 0.3], abs=0.1)


def test_noise_is_there_in_all_three_blocks(sample):
    told = {(row["block"], row["name"]): float(row["value"]) for row in rows(sample / "truth" / "noise.csv")}
    assert {block for block, _ in told} == {"own", "pass", "outing"} == set(BLOCKS)
    assert all(value > 0 for value in told.values())
    offsets = {(row["outing"], row["name"]): float(row["value"]) for row in rows(sample / "truth" / "offsets.csv")}
    for name in ("latency_s", "lever_forward_m", "lever_starboard_m", "mount_deg", "gnss_bias_east_m"):
        assert offsets["north", name] != 0 and offsets["south", name] != 0


def test_picks_scatter_round_the_truth_by_the_noise(sample):
    """Read slants over true slants: their mean is the sounder's assumed over the real sound speed."""
    looks = [row for row in rows(sample / "truth" / "looks.csv") if row["outing"] == "north" and row["hidden"] == "0"]
    picks = rows(sample / "north_picks.csv")
    assert [row["label"] for row in looks] == [row["label"] for row in picks]
    ratio = {row["name"]: float(row["value"]) for row in rows(sample / "truth" / "offsets.csv")
             if row["outing"] == "north"}["range_ratio"]
    errors = np.array([float(p["slant_m"]) * ratio - float(t["slant_m"]) for p, t in zip(picks, looks)])
    assert 0.1 < errors.std() < 0.5
    assert abs(errors.mean()) < 4 * errors.std() / math.sqrt(len(errors))


def test_ledge_hides_an_object_from_one_side_only(sample):
    looks = [row for row in rows(sample / "truth" / "looks.csv") if row["label"] == "rowboat"]
    assert {row["hidden"] for row in looks} == {"0", "1"}


def test_objects_are_seen_again_from_the_other_side_and_the_other_way(sample):
    looks = [row for row in rows(sample / "truth" / "looks.csv") if row["outing"] == "north" and row["hidden"] == "0"]
    times = {}
    for row in looks:
        times.setdefault(row["label"], []).append(row)
    again = {label: seen for label, seen in times.items() if len(seen) > 1}
    assert len(again) >= 6
    assert sum(len(seen) - 1 for seen in again.values()) >= 10
    assert any({row["side"] for row in seen} == {"port", "starboard"} for seen in again.values())


def test_nmea_checksums(sample):
    """Recomputed here: nearly all right, the damaged ones wrong."""
    right = wrong = other = 0
    for line in (sample / "outing_north.nmea").read_bytes().split(b"\r\n"):
        body = re.fullmatch(rb"\$([^*]*)\*([0-9A-F]{2})", line)
        if body is None:
            other += 1
        elif functools.reduce(operator.xor, body[1], 0) == int(body[2], 16):
            right += 1
        else:
            wrong += 1
    assert right > 10_000
    assert 2 <= wrong <= 10
    assert 5 <= other <= 15


def test_boats_keep_to_the_speeds_of_the_plan(sample):
    """From the GPX alone, by geodesics: nobody flew."""
    text = (sample / "outing_south.gpx").read_text("utf-8")
    points = np.array(re.findall(r'lat="([\d.-]+)" lon="([\d.-]+)"', text), float)
    lon, lat = points[:, 1], points[:, 0]
    _, _, steps = Geod(ellps="WGS84").inv(lon[:-1], lat[:-1], lon[1:], lat[1:])
    assert 1.2 < np.median(steps) / 8 < 2.0
    assert (steps / 8 > 2.6).sum() <= 1, "only the gap between the two segments is longer"
    assert text.count("<trkseg>") == 2
    assert plan.SOUTH.unit_m == 0.3048


def test_project_opens_by_relative_paths(sample):
    project = QgsProject()
    assert project.read(str(sample / "athwart_sample.qgz"))
    layers = project.mapLayers().values()
    assert len(layers) >= 10
    assert all(layer.isValid() for layer in layers)
    assert not project.viewSettings().defaultViewExtent().isEmpty()
    with zipfile.ZipFile(sample / "athwart_sample.qgz") as archive:
        text = archive.read("athwart_sample.qgs").decode("utf-8")
    sources = re.findall(r"<datasource>(.*?)</datasource>", text)
    assert sum(map(bool, sources)) >= 10
    assert all(re.match(r"(file:)?\./|$", source) for source in sources), sources
