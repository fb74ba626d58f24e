"""The sample outing audited from a contour map alone, beside the same audit with the sounder and the true grid.

Contours every metre and the shoreline are all that people have of most lakes: the depth under the boat, the ground
ranges and the shadows all come from them. The difference is printed; what is asserted is that it is small where such a
map can know, and that it says nothing it cannot.
"""
import pathlib

import inprocess
import numpy as np
import onfile
import pytest

from tools.demo import qp

ROOT = pathlib.Path(__file__).resolve().parents[2]


@pytest.fixture(scope="module")
def audits(provider, tmp_path_factory):
    """Bands of the map of bottom seen, and the depth grid, 'by contours' and 'by the true grid'."""
    folder, sample = tmp_path_factory.mktemp("contours"), ROOT / "sample_project"
    steps = folder / "steps.gpkg"
    lake = qp.layer(sample / "lake.gpkg", "lake")
    inprocess.run("athwart:readlogs", INPUT=sample / "outing_north.nmea", OUTPUT=qp.table(steps, "fixes"))
    inprocess.run("native:extractbyexpression", INPUT=qp.layer(sample / "lake.gpkg", "contours"),
                  EXPRESSION='abs("depth_m" - round("depth_m")) < 0.01', OUTPUT=qp.table(steps, "contours"))
    contoured = folder / "contoured.tif"
    inprocess.run("athwart:preparebathymetry", CONTOURS=qp.layer(steps, "contours"), CONTOUR_DEPTH_FIELD="depth_m",
                  SHORELINE=lake, KIND="depth", UNIT="m", CELL_SIZE=2, OUTPUT=contoured)
    usual = {"INPUT": qp.layer(steps, "fixes"), "OUTING": "north", "RANGE_UNIT": "m",
             "SETTINGS": sample / "north_settings.csv", "HEADING_FIELD": "heading_deg", "HEADING_KIND": "true",
             "TRANSDUCER_FORWARD": -1.5, "TRANSDUCER_STARBOARD": 0.3, "LATENCY": 0.5,
             "ASSUMED_SOUND_SPEED": 1500, "WATER_TEMPERATURE": 18.4, "TEMPERATURE_UNIT": "C"}
    found = {}
    for name, grid, depths in (
            ("by contours", contoured, {"DEPTH_GRID": contoured, "TRANSDUCER_DRAFT": 0.35}),
            ("by the true grid", sample / "depth_grid.tif",
             {"DEPTH_FIELD": "depth_m", "DEPTH_UNIT": "m", "DEPTH_REFERENCE": "transducer"})):
        track = name.replace(" ", "_")
        inprocess.run("athwart:preparetrack", **usual, **depths, OUTPUT=qp.table(steps, track),
                      PASSES=qp.table(steps, f"{track}_passes"))
        path = folder / f"{track}.tif"
        numbers = inprocess.run("athwart:ensonify", INPUT=qp.layer(steps, track), DEPTH_GRID=grid, WATER=lake,
                                CELL_SIZE=1, OUTPUT=path)
        found[name] = Audit(path, grid, numbers["SEEN_M2"])
    return found


class Audit:
    """Bands and depth grid with their geotransforms; no dataset is kept, GDAL may be gone before the fixture is."""

    def __init__(self, path, grid, seen_m2):
        self.bands, raster = onfile.bands_of(path)
        self.transform, self.shape = raster.GetGeoTransform(), (raster.RasterYSize, raster.RasterXSize)
        depths, raster = onfile.bands_of(grid)
        self.depth, self.depth_transform, self.seen_m2 = next(iter(depths.values())), raster.GetGeoTransform(), seen_m2


def common(audits):
    """Looks and hidden of both audits on their common cells of a metre."""
    both = list(audits.values())
    left, top = max(a.transform[0] for a in both), min(a.transform[3] for a in both)
    right = min(a.transform[0] + a.shape[1] for a in both)
    bottom = max(a.transform[3] - a.shape[0] for a in both)
    found = []
    for audit in both:
        t = audit.transform
        window = (slice(int(t[3] - top), int(t[3] - bottom)), slice(int(left - t[0]), int(right - t[0])))
        found.append({band: audit.bands[band][window] for band in ("looks", "hidden")})
    return found


def depth_difference(audits):
    """Contour depths less true depths at the cells both grids know."""
    one, two = audits.values()
    t, u = one.depth_transform, two.depth_transform
    rows, cols = np.mgrid[:one.depth.shape[0], :one.depth.shape[1]]
    c = np.floor((t[0] + (cols + 0.5) * t[1] - u[0]) / u[1]).astype(int).clip(0, two.depth.shape[1] - 1)
    r = np.floor((t[3] + (rows + 0.5) * t[5] - u[3]) / u[5]).astype(int).clip(0, two.depth.shape[0] - 1)
    difference = one.depth - two.depth[r, c]
    return difference[np.isfinite(difference)]


def test_the_audit_from_contours_is_close_and_its_difference_is_told(audits):
    difference = depth_difference(audits)
    contours, true = common(audits)
    seen = contours["looks"] > 0, true["looks"] > 0
    dark = contours["hidden"] > 0, true["hidden"] > 0
    either = seen[0] | seen[1]
    areas = [audit.seen_m2 for audit in audits.values()]
    same = np.mean((seen[0] == seen[1])[either])
    looks = np.mean((contours["looks"] == true["looks"])[either])
    print(f"\ndepth by contours less true: rms {np.sqrt(np.mean(difference**2)):.2f} m, 95 % within "
          f"{np.percentile(np.abs(difference), 95):.2f} m, worst {np.abs(difference).max():.2f} m\n"
          f"seen: {areas[0]:.0f} m2 by contours, {areas[1]:.0f} m2 by sounder and true grid "
          f"({100 * (areas[0] / areas[1] - 1):+.1f} %); same verdict on {100 * same:.1f} % of the cells either saw, "
          f"same looks on {100 * looks:.1f} %\nhidden every time: {dark[0].sum()} m2 by contours, {dark[1].sum()} m2 "
          f"by the true grid, {(dark[0] & dark[1]).sum()} m2 by both")
    assert np.sqrt(np.mean(difference**2)) < 0.15
    assert areas[0] == pytest.approx(areas[1], rel=0.05)
    assert same > 0.95


def test_contours_show_part_of_what_the_drop_off_hides(audits):
    """The Step falls 5 m within three: contours know of it, but smooth its brink."""
    contours, true = (audit["hidden"] > 0 for audit in common(audits))
    assert true.sum() > 300
    assert (contours & true).sum() > 0.5 * true.sum()
