"""Soundings: lost bottoms and spikes go, shoals and slopes stay; references; infill; a real log against its chart."""
import numpy as np
import pytest
from athwart.survey.depths import soundings
from athwart.survey.model.errors import InputError
from athwart.survey.motion.infill import infill


def sounded(depth, interval=1.0, stretch=None):
    depth = np.asarray(depth, float)
    stretch = np.zeros(len(depth), int) if stretch is None else stretch
    return soundings.Soundings(1.7e9 + interval * np.arange(len(depth)), stretch, depth)


def good(depth, **more):
    return soundings.good_soundings(sounded(depth, **more))


def slope(n=200, start=6.0, end=9.0, seed=1):
    return np.linspace(start, end, n) + np.random.default_rng(seed).normal(0, 0.1, n)


def test_a_clean_slope_is_kept_whole():
    assert good(slope()).all()


@pytest.mark.parametrize("value", [0.0, 0.3, 0.5, -1.0, np.nan])
def test_lost_bottoms_go_though_they_are_most_of_a_minute(value):
    depth = slope()
    lost = np.zeros(200, bool)
    lost[60:110] = True
    lost[[5, 70, 199]] = True
    depth[lost] = value
    assert np.array_equal(good(depth), ~lost)


@pytest.mark.parametrize("value", [62.7, 1.2, 3.0])
def test_single_spikes_go(value):
    depth = slope()
    depth[[30, 31, 90, 198]] = value
    assert np.array_equal(np.flatnonzero(~good(depth)), [30, 31, 90, 198])


def test_a_dozen_echoes_from_far_too_deep_go():
    depth = slope()
    depth[100:113] = 32.0
    assert np.array_equal(np.flatnonzero(~good(depth)), np.arange(100, 113))


def test_a_shoal_is_no_lost_bottom():
    depth = np.concatenate([np.linspace(3, 0.7, 60), np.full(20, 0.45), np.linspace(0.7, 3, 60)])
    assert good(depth).all()


def test_lake_of_half_a_metre():
    depth = 0.75 + 0.05 * np.sin(np.arange(100))
    depth[40:45] = 0.48
    depth[70] = 0.0
    assert np.array_equal(np.flatnonzero(~good(depth)), [70])


@pytest.mark.parametrize("seconds", [1, 5, 20])
def test_a_drop_off_is_kept(seconds):
    depth = np.concatenate([np.full(80, 3.0), np.linspace(3.0, 14.0, seconds + 1), np.full(80, 14.0)])
    assert good(depth).all()


def test_a_steep_slope_is_kept_to_its_ends():
    # one metre in five seconds: 10 % of slope at 2 m/s
    depth = np.linspace(2.0, 42.0, 200)
    assert good(depth).all()
    depth[[0, 50, 150]] = [0.3, 40.0, 1.0]
    assert np.array_equal(np.flatnonzero(~good(depth)), [0, 50, 150])


def test_a_short_stretch_is_not_judged_by_its_neighbours():
    depth = np.concatenate([np.full(50, 12.0), np.full(9, 3.0), np.full(50, 12.0)])
    assert good(depth, stretch=np.repeat([0, 1, 2], [50, 9, 50])).all()


@pytest.mark.parametrize("interval", [0.1, 1.0, 10.0, 100.0])
def test_any_rate_of_sounding(interval):
    depth = slope(300)
    depth[[100, 200]] = [40.0, 0.2]
    assert np.array_equal(np.flatnonzero(~good(depth, interval=interval)), [100, 200])


@pytest.mark.parametrize("depth", [[], [5.0], [0.2], [np.nan], [5.0, 0.3]])
def test_hardly_any_soundings(depth):
    assert np.array_equal(good(depth), np.nan_to_num(np.asarray(depth, float)) > 0.5)


def test_scaling_all_depths_of_deep_water_changes_nothing():
    depth = slope(start=20, end=40)
    depth[[20, 80, 81]] = [60.0, 5.0, 5.0]
    assert np.array_equal(good(depth), good(depth * 3))


def test_a_real_log_against_the_chart_of_its_bay(fixtures):
    """2,408 soundings of a bay, three in ten of them a lost bottom, against the 50 m depth model of the same survey (US
    Geological Survey; tide taken off, so one constant apart), the residuals of which are within 0.2 m by its makers'
    own cleaning."""
    gdal = pytest.importorskip("osgeo.gdal")
    pyproj = pytest.importorskip("pyproj")
    clock, depth, lon, lat = read_soundings(fixtures / "nmea" / "survey_dpt_rmc_mtw.nmea")
    x, y = pyproj.Transformer.from_crs(4326, 32718, always_xy=True).transform(lon, lat)
    model = gdal.Open(str(fixtures / "raster" / "bay_depth_50m_utm18s.tif"))
    x0, size, _, y0, _, down = model.GetGeoTransform()
    grid = model.ReadAsArray()
    column, row = (x - x0) / size - 0.5, (y - y0) / down - 0.5
    c, r = np.floor(column).astype(int), np.floor(row).astype(int)
    fc, fr = column - c, row - r
    chart = ((grid[r, c] * (1 - fc) + grid[r, c + 1] * fc) * (1 - fr)
             + (grid[r + 1, c] * (1 - fc) + grid[r + 1, c + 1] * fc) * fr)
    kept = soundings.good_soundings(soundings.Soundings(clock, np.zeros(len(clock), int), depth))
    off = depth - chart - np.median((depth - chart)[kept])
    assert len(depth) == 2408 and 1400 < kept.sum() < 1600
    assert not (~kept & (np.abs(off) < 0.8)).any()  # nothing that was right is lost
    assert (np.abs(off[kept]) > 2).mean() < 0.02  # and of what was wrong hardly anything stays
    assert (np.abs(off[~kept]) > 2).mean() > 0.98


def read_soundings(path):
    """Time of day, depth and last place before each DPT sentence, by string splitting alone."""
    rows, now = [], None
    at = {"RMC": (1, 3, 5), "GGA": (1, 2, 4), "GLL": (5, 1, 3)}
    for line in path.read_text(encoding="latin-1").splitlines():
        fields = line.split("*")[0].split(",")
        kind = fields[0][3:]
        if kind in at:
            stamp, lat, lon = (fields[k] for k in at[kind])
            now = (int(stamp[:2]) * 3600 + int(stamp[2:4]) * 60 + float(stamp[4:]),
                   -int(lon[:3]) - float(lon[3:]) / 60, -int(lat[:2]) - float(lat[2:]) / 60)
        elif kind == "DPT" and now:
            rows.append((now[0], float(fields[1]), now[1], now[2]))
    return np.array(rows).T


def below(depth, kind, offset=np.nan, draft=None, keel=None):
    return float(soundings.below_transducer([depth], [kind], [offset], draft, keel)[0])


# depth 10 below the surface, transducer 0.5 m down: 9.5 m of water under it
@pytest.mark.parametrize("kind, offset, draft, keel, water", [
    ("transducer", 0.4, 0.7, 0.9, 10.0),  # a DPT depth is below the transducer whatever its offset says
    ("", np.nan, None, None, 10.0),
    ("surface", np.nan, 0.5, None, 9.5),
    ("surface", 0.4, None, None, 9.6),  # logged: transducer to waterline, positive
    ("surface", 0.4, 0.5, None, 9.5),  # what is stated beats what is logged
    ("surface", -0.4, None, None, 10.0),  # an offset to the keel says nothing of the surface
    ("keel", np.nan, None, 0.3, 10.3),
    ("keel", -0.6, None, None, 10.6),  # logged: transducer to keel, negative
    ("keel", -0.6, None, 0.3, 10.3),
])
def test_references(kind, offset, draft, keel, water):
    assert below(10.0, kind, offset, draft, keel) == pytest.approx(water)


@pytest.mark.parametrize("kind, offset, words", [("keel", np.nan, "keel_m"), ("keel", 0.6, "keel_m"),
                                                 ("waterline", np.nan, "waterline.*transducer, surface, keel")])
def test_references_that_cannot_be_followed(kind, offset, words):
    with pytest.raises(InputError, match=words):
        below(10.0, kind, offset)


def test_infill_bridges_short_gaps_only_and_no_break():
    known = np.array([0.0, 10.0, 40.0, 50.0])
    values = np.array([5.0, 7.0, 20.0, 22.0])
    group = np.array([0, 0, 0, 1])
    clock = np.array([-3.0, -8.0, 0.0, 2.5, 10.0, 14.0, 25.0, 36.0, 43.0, 48.0, 50.0])
    own = np.array([0, 0, 0, 0, 0, 0, 0, 0, 0, 1, 1])
    found = infill(clock, own, known, group, values, 10.0)
    expected = [5.0, np.nan, 5.0, 5.5, 7.0, 7.0, np.nan, 20.0, 20.0, 22.0, 22.0]
    assert np.allclose(found, expected, equal_nan=True)


def test_infill_with_nothing_known():
    assert np.isnan(infill(np.arange(3.0), np.zeros(3, int), np.empty(0), np.empty(0, int), np.empty(0), 9.0)).all()


@pytest.mark.parametrize("interval, gap", [(1, 10), (8, 24), (20, 30)])
def test_gap_bridged_between_soundings(interval, gap):
    clock = np.arange(20.0) * interval
    assert soundings.default_depth_gap(clock, np.zeros(20, int), 10.0) == gap
    assert soundings.default_depth_gap(clock[:1], np.zeros(1, int), 12.0) == 12.0


def test_order_of_the_sources():
    clock = np.arange(0.0, 200.0, 10.0)
    known = soundings.Soundings(np.array([0.0, 20.0, 30.0]), np.zeros(3, int), np.array([4.0, 8.0, 0.3]))
    fine = np.array([True, True, False])
    asked = []

    def grid(wanted):
        asked.append(wanted)
        return np.where(np.arange(20)[wanted] < 10, 9.0, np.where(np.arange(20)[wanted] < 12, 0.2, np.nan))

    depth, source = soundings.water_under(clock, np.zeros(20, int), known, fine, 20.0, ratio=0.9, grid_m=grid,
                                          draft_m=0.5,
                                          constant_m=6.0)
    assert source.tolist() == ["sounder", "interpolated", "sounder", "interpolated"] + ["grid"] * 6 + ["constant"] * 10
    assert depth[:4].tolist() == pytest.approx([3.6, 5.4, 7.2, 7.2])  # displayed depths take the ratio
    assert (depth[4:10] == 8.5).all()  # the grid takes the draft, not the ratio
    assert depth[10:] == pytest.approx(5.4)  # 0.2 m of water over a transducer 0.5 m down is none
    assert asked[0].tolist() == list(range(4, 20))


def test_unknown_depth_stays_unknown():
    depth, source = soundings.water_under(np.arange(3.0), np.zeros(3, int), None, None, 10.0, ratio=1.0)
    assert np.isnan(depth).all() and source.tolist() == ["", "", ""]
