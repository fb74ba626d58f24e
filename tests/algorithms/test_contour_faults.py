"""Contour maps as people have them: broken, crossed, doubled, loose, outside, dry; islands and ponds. All on one bowl.

The bowl is 12 m deep and 360 m wide; its contours are circles of 30 m steps, so every depth is known.
"""
import re

import numpy as np
import onfile
import pytest
from osgeo import ogr
from qgis.core import QgsProcessingException, QgsProcessingFeedback

EAST, NORTH = 500_000.0, 4_980_000.0


class Heard(QgsProcessingFeedback):
    """Keeps the warnings and the progress."""

    def __init__(self, cancel_at=None):
        super().__init__(False)
        self.warnings, self.steps, self.cancel_at = [], [], cancel_at

    def pushWarning(self, warning):
        self.warnings.append(warning)

    def setProgress(self, value):
        self.steps.append(value)
        super().setProgress(value)
        if self.cancel_at is not None and value >= self.cancel_at:
            self.cancel()

    def about(self, words):
        found = [warning for warning in self.warnings if words in warning]
        assert len(found) == 1, self.warnings
        return found[0]


def ring(radius, east=0.0, north=0.0, start=0.0, end=360.0):
    """(n, 2) of a circle or an arc of it, degrees from north."""
    angle = np.radians(np.linspace(start, end, max(8, int(abs(end - start)) // 2 + 1)))
    return np.column_stack([EAST + east + radius * np.sin(angle), NORTH + north + radius * np.cos(angle)])


def bowl_lines(*leave_out):
    return [(ring((12 - depth) * 30), depth) for depth in range(1, 12) if depth not in leave_out]


def written(path, lines):
    store = ogr.GetDriverByName("GPKG").CreateDataSource(str(path))
    layer = store.CreateLayer("lines", onfile._srs(32615), ogr.wkbLineString)
    layer.CreateField(ogr.FieldDefn("depth", ogr.OFTReal))
    for xy, depth in lines:
        feature, line = ogr.Feature(layer.GetLayerDefn()), ogr.Geometry(ogr.wkbLineString)
        for x, y in xy:
            line.AddPoint_2D(float(x), float(y))
        feature.SetGeometry(line)
        feature.SetField(0, float(depth))
        layer.CreateFeature(feature)
    return str(path)


@pytest.fixture
def gridded(run, tmp_path):
    """A function (lines, rings of the shore) -> (depth, invented, radius, x, y, heard)."""
    def of(lines, shore=None, cell=5.0, heard=None, **given):
        heard = heard or Heard()
        path = run("preparebathymetry", {
            "CONTOURS": written(tmp_path / "lines.gpkg", lines), "CONTOUR_DEPTH_FIELD": "depth",
            "SHORELINE": onfile.polygon_file(tmp_path / "lake.gpkg", shore or [ring(360)[:-1]]), "KIND": "depth",
            "UNIT": "m", "CELL_SIZE": cell, "OUTPUT": str(tmp_path / "out.tif"), **given}, heard)["OUTPUT"]
        bands, raster = onfile.bands_of(path)
        t, shape = raster.GetGeoTransform(), bands["depth_m"].shape
        x, y = np.meshgrid(t[0] + (np.arange(shape[1]) + 0.5) * t[1] - EAST,
                           t[3] + (np.arange(shape[0]) + 0.5) * t[5] - NORTH)
        return bands["depth_m"], bands["invented"], np.hypot(x, y), x, y, heard
    return of


def error(depth, radius, use=True):
    """Largest error against the bowl from 40 m to 350 m out."""
    return np.abs(depth - (12 - radius / 30))[(radius > 40) & (radius < 350) & use].max()


def test_a_clean_map_is_told_of_its_hole_only(gridded):
    depth, invented, radius, *_, heard = gridded(bowl_lines())
    assert error(depth, radius) < 0.05
    assert len(heard.warnings) == 1 and "1 hole(s)" in heard.warnings[0]


def test_broken_lines_make_no_step_and_no_flat(gridded):
    """Every line has gaps for its label, the innermost too: the hole is rounded on all the same, and marked."""
    lines = [(ring((12 - depth) * 30, start=40 * depth, end=40 * depth + 320), depth) for depth in range(1, 12)]
    depth, invented, radius, *_, heard = gridded(lines)
    assert error(depth, radius) < 0.12
    assert 11.2 < depth[radius < 10].max() <= 11.5 and invented[radius < 10].all()
    assert not (invented[(radius > 60) & (radius < 350)] > 0).any()


def test_a_missing_line_is_bridged(gridded):
    depth, _, radius, *_ = gridded(bowl_lines(4, 5))
    assert error(depth, radius) < 0.1


def test_lines_drawn_twice_change_nothing(gridded):
    once = gridded(bowl_lines())[0]
    twice = gridded(bowl_lines() * 2)[0]
    np.testing.assert_allclose(twice, once, atol=0.02)


def test_crossing_lines_are_named_with_their_place(gridded):
    """The 6 m line moved 100 m east crosses those of 3 to 9 m; depths far from there hold."""
    lines = [*bowl_lines(6), (ring(180, east=100), 6)]
    depth, _, radius, x, *_, heard = gridded(lines)
    told = heard.about("cross or touch")
    assert "5 and 6 near" in told and "Correct" in told
    place = np.array([float(v) for v in re.search(r"5 and 6 near (\d+), (\d+)", told).groups()])
    assert abs(np.hypot(*(place - [EAST, NORTH])) - 210) < 1 and abs(np.hypot(*(place - [EAST + 100, NORTH])) - 180) < 1
    assert heard.warnings[0] == told
    assert error(depth, radius, x < -200) < 0.3
    assert np.nanmin(depth) >= 0 and np.nanmax(depth) <= 11.5


def test_lines_that_run_into_the_shore_are_named(gridded):
    """A shoreline that cuts through the lake, half of it left."""
    half = np.vstack([ring(360, start=0, end=180), [[EAST, NORTH + 360]]])[:-1]
    depth, _, radius, x, *_, heard = gridded(bowl_lines(), [half])
    told = heard.about("cross or touch")
    assert "the shore and 1 near" in told and "cut edge counts as shore" in told
    assert error(depth, radius, x > 120) < 0.25


def test_an_island(gridded):
    """An island 120 m wide with its own depths round it, in water whose middle is a ring-shaped hole."""
    lines = [(ring(radius), depth) for radius, depth in ((330, 1), (300, 2), (120, 2), (90, 1))]
    depth, invented, radius, *_ = gridded(lines, [ring(360)[:-1], ring(60)[::-1][:-1]])
    assert np.isnan(depth[radius < 55]).all()
    assert np.abs(depth - np.minimum((360 - radius) / 30, (radius - 60) / 30))[
        ((radius > 65) & (radius < 118)) | ((radius > 302) & (radius < 355))].max() < 0.06
    between = (radius > 125) & (radius < 295)
    assert depth[between].min() >= 2 and 2.4 < depth[between].max() <= 2.5 and invented[between].all()


def test_water_without_a_line_is_unknown_and_named(run, gridded, tmp_path):
    pond = ring(40, east=500)[:-1]
    store = ogr.GetDriverByName("GPKG").CreateDataSource(str(tmp_path / "parts.gpkg"))
    layer = store.CreateLayer("lake", onfile._srs(32615), ogr.wkbPolygon)
    for xy in (ring(360)[:-1], pond):
        outline, shell = ogr.Geometry(ogr.wkbPolygon), ogr.Geometry(ogr.wkbLinearRing)
        for x, y in [*xy, xy[0]]:
            shell.AddPoint_2D(float(x), float(y))
        outline.AddGeometry(shell)
        feature = ogr.Feature(layer.GetLayerDefn())
        feature.SetGeometry(outline)
        layer.CreateFeature(feature)
    layer = store = None
    depth, _, radius, x, y, heard = gridded(bowl_lines(), SHORELINE=str(tmp_path / "parts.gpkg"))
    assert np.isnan(depth[np.hypot(x - 500, y) < 35]).all()
    told = heard.about("no contour line")
    assert f"near {EAST + 500:.0f}, {NORTH:.0f}" in told
    assert float(told.split("empty: ")[1].split(" m2")[0]) == pytest.approx(np.pi * 1600, rel=0.05)
    assert error(depth, radius) < 0.05


def test_lines_outside_and_smaller_than_a_cell_are_counted(gridded):
    lines = [*bowl_lines(), (ring(30, east=600), 3), (ring(0.5, east=201.0, north=1.0), 7)]
    depth, _, radius, *_, heard = gridded(lines)
    assert "1 of 13 contour lines lie outside the water" in heard.about("outside the water")
    assert "1 of 13 contour lines are smaller than the cells" in heard.about("smaller than the cells")
    assert error(depth, radius) < 0.05


def test_a_line_above_the_waters_edge_is_dry_land(gridded):
    """A bank that dries: lines of 0 and -0.5 m off the shore."""
    bank = [(ring(25, east=200), 0), (ring(15, east=200), -0.5)]
    lines = [*((ring((12 - depth) * 30), depth) for depth in (1, 2, 3)), (ring(60, east=200), 3), *bank]
    depth, _, _, x, y, heard = gridded(lines)
    off = np.hypot(x - 200, y)
    assert (depth[off < 20] < 0).all() and depth[off < 10].min() < -0.5
    assert (depth[(off > 30) & (off < 55)] > 0).all()
    told = heard.about("above its edge")
    assert "1 contour line(s)" in told and f"{EAST + 200:.0f}"[:5] in told


def test_a_line_of_depth_0_off_the_shore_is_a_bank(gridded):
    lines = [*bowl_lines(), (ring(8, east=345), 0)]
    depth, _, radius, x, y, heard = gridded(lines, cell=2.0)
    assert (depth[np.hypot(x - 345, y) < 5] <= 0).all()
    assert (depth[(radius < 358) & (x < 300)] > 0).all()


def test_water_is_never_land_unless_its_lines_say_so(gridded):
    """A shallow arm that no line reaches: the plate alone would swing to 0 there."""
    arm = np.vstack([ring(360, start=5, end=355), [[EAST - 31, NORTH + 900], [EAST + 31, NORTH + 900]]])
    depth, _, radius, x, y, _ = gridded(bowl_lines(), [arm])
    inside = (y > 400) & (y < 880) & (np.abs(x) < 25)
    assert (depth[inside] >= 0.009).all() and (depth[inside] < 1).all()


def test_feet_and_elevations_name_their_own_values(gridded):
    lines = [(xy, 1000 - depth / 0.3048) for xy, depth in bowl_lines()]
    depth, _, radius, *_, heard = gridded(lines, KIND="elevation", UNIT="ft", SURFACE_ELEVATION=1000)
    assert error(depth, radius) < 0.05
    assert f"hole inside {1000 - 11 / 0.3048:g} near" in heard.about("invented")


def test_progress_runs_and_a_cancel_stops_it(gridded):
    heard = Heard()
    gridded(bowl_lines(), heard=heard, cell=2.0)
    assert len(heard.steps) > 15 and np.all(np.diff(heard.steps) >= -1e-9)
    stopped = Heard(cancel_at=15)
    with pytest.raises(QgsProcessingException):
        gridded(bowl_lines(), heard=stopped, cell=2.0)
    assert stopped.steps[-1] < 40
