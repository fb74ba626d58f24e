"""Objects measured: sizes against plane geometry with errors drawn, pictures of the simulator, published formulas."""
from statistics import NormalDist

import athwart.survey as core
import numpy as np
import objects
import pytest
from athwart.sample_project.simulate.floors import Floor, flat
from athwart.sample_project.simulate.plan import Thing
from athwart.sample_project.simulate.waterfall import Display, Noise, draw
from athwart.sample_project.simulate.ways import Steered
from athwart.survey.record.measure import MeasureSettings, measure_objects
from athwart.survey.record.object_readings import ObjectLines, ObjectReadings, read_object_lines
from athwart.survey.record.picture import Record
from athwart.survey.record.size_intervals import interval
from waterfalls import EAST, LOCAL, NORTH, picture_of, track_of

STILL = dict.fromkeys(("sigma_bias", "sigma_pass", "sigma_jitter", "sigma_heading", "sigma_range", "sigma_depth",
                       "sigma_height", "sigma_time", "sigma_mount", "sigma_sound_speed"), 0.0)
FINE = {"jitter": 0.1, "position": 0.3317, "heading": 0.5, "mount": 0.5, "depth": 0.1, "sound": 2.0}


def lines_of(*rows):
    """ObjectLines of (column, row, end column, end row, kind)."""
    numbers = np.array([row[:4] for row in rows], float).T
    kinds, count = np.array([row[4] for row in rows], object), len(rows)
    return ObjectLines(*numbers, kinds, np.full(count, "", object), np.arange(1, count + 1).astype(str).astype(object),
                       np.full(count, "", object))


def held(found, truth, name):
    """Share of objects whose interval holds the truth, and how many have one."""
    low, high = found.columns[f"{name}_lo_m"], found.columns[f"{name}_hi_m"]
    ok = np.isfinite(low) & np.isfinite(high)
    true = truth[name][found.source]
    return np.mean((true >= low)[ok] & (true <= high)[ok]), ok.sum()


@pytest.mark.parametrize("speed, preset, errors", [(0.5, "ordinary", {}), (4.0, "survey", FINE)])
def test_intervals_of_95_percent_hold_the_truth(speed, preset, errors):
    """250 objects: 95 % give or take 1.4 %, one sigma. Large, at four speeds, in tests/proof."""
    track, readings, truth = objects.drawn(250, speed, 5, **errors)
    found = measure_objects(track, readings, MeasureSettings(False, preset, {"beam_width": 1.5}))
    for name in ("length", "width", "height"):
        share, count = held(found, truth, name)
        assert count > 200 and 0.91 < share < 0.99, name
    at_most = found.columns["width_at_most"]
    assert np.mean(truth["width"][found.source][at_most] <= found.columns["width_hi_m"][at_most]) >= 0.9
    assert np.isnan(found.columns["width_lo_m"][at_most]).all()


def test_a_known_object_at_three_speeds_has_one_length():
    """What the eye marks is what is brighter than half of the object: the picture of it is twice as long at half the
    speed, its length the same."""
    box = Thing("box", 14.0, 30.0, 6.0, 1.5, 1.2, 0.0, "")
    shown, found = [], []
    for speed in (0.75, 1.5, 3.0):
        way = Steered(((60, speed, 0),))
        made = draw(way, Floor(flat(6.0), things=(box,), shine=6.0, crown=0.0), Display(((0.0, 25.0),), 250, rate=0.2),
                    Noise(beam_deg=1.2))
        bright = made.grey[:, made.centre:].astype(float)
        cols = np.flatnonzero((bright > 2.5 * np.median(bright[bright > 0])).sum(axis=0) >= 3)
        cols = cols[(cols > 120) & (cols < 165)]
        rows = np.flatnonzero((bright[:, cols] > 2.0 * np.median(bright[bright > 0])).any(axis=1))
        middle = made.centre + cols.mean()
        dark = np.flatnonzero(bright[int(rows.mean()), cols.max() + 3:] > 0)[0] + cols.max() + 3
        centre_row = rows.mean() + 0.5
        read, warnings = read_object_lines(Record(**picture_of(made)), lines_of(
            (middle, rows.min(), middle, rows.max() + 1, "along"),
            (made.centre + cols.min(), centre_row, made.centre + cols.max() + 1, centre_row, "across"),
            (made.centre + cols.max() + 1, centre_row, made.centre + dark, centre_row, "shadow")),
            track_of(made, way), 0.5)
        assert not warnings and len(read) == 1
        shown.append(len(rows))
        one = measure_objects(track_of(made, way), read, MeasureSettings(False, "survey", {"beam_width": 1.2}))
        found.append(one.columns)
    assert shown[0] > 3.5 * shown[2]
    length = np.array([one["length_m"][0] for one in found])
    assert np.ptp(length) < 0.6 and np.abs(length - 6.0).max() < 0.5
    for one in found:
        for name, true in (("length", 6.0), ("width", 1.5), ("height", 1.2)):
            assert one[f"{name}_lo_m"][0] - 0.05 < true < one[f"{name}_hi_m"][0] + 0.05, name
        assert min(one["azimuth_deg"][0], 180 - one["azimuth_deg"][0]) < 2
        assert one["least_depth_m"][0] == pytest.approx(4.8, abs=0.15) and one["depth_from"][0] == "transducer"
    # the stretch is what a square of the ground is drawn as: rows a metre over columns a metre
    stretch = [one["stretch"][0] for one in found]
    assert stretch[0] / stretch[2] == pytest.approx(4.0, rel=0.02)
    rows_a_metre = 1 / (2 * 25 / (1500 * 0.2) * 1.5)
    columns_a_metre = 250 / 25 * 14 / np.hypot(14, 5.4)
    assert stretch[1] == pytest.approx(rows_a_metre / columns_a_metre, rel=0.03)


def straight(speed=1.5, heading=40.0, depth=6.0, count=61, **given):
    import tracks
    t = np.arange(count, dtype=float)
    a = np.radians(heading)
    return tracks.made(LOCAL, EAST + speed * t * np.sin(a), NORTH + speed * t * np.cos(a), heading, t_s=1.7e9 + t,
                       record_ping=10 * t, speed_mps=speed, depth_m=depth, range_m=40.0, sigma_heading_deg=0.0, **given)


def exactly(track, settings=None, **columns):
    count = len(next(iter(columns.values())))
    settings = settings or MeasureSettings(True, "survey", {**STILL, "beam_width": 0.0})
    return measure_objects(track, ObjectReadings.of(count, **columns), settings)


def test_height_is_as_published():
    """NOAA OCS Field Procedures Manual and IHO C-13 (both from memory): height of a target = length of its shadow times
    height of the sonar over the slant range to the shadow's end."""
    found = exactly(straight(depth=15.0), side=[1, -1], begin=[1.7e9 + 20, 1.7e9 + 30], end=[1.7e9 + 21, 1.7e9 + 33],
                    near_m=[29.0, 19.0], far_m=[30.0, 20.0], shadow_start_m=[30.0, 20.0], shadow_end_m=[36.0, 24.0])
    assert found.columns["height_m"] == pytest.approx([6 * 15 / 36, 4 * 15 / 24])


def test_beam_is_taken_off_once_and_small_things_are_told_at_most():
    """Blondel 2009 (from memory): footprint along the track = range times beam width in radians."""
    settings = MeasureSettings(True, "survey", {**STILL, "beam_width": 2.0})
    said = {"side": [1, 1], "near_m": [20.0, 20.0], "far_m": [20.0, 20.0]}
    found = exactly(straight(speed=1.0), settings, begin=[1.7e9 + 20, 1.7e9 + 30], end=[1.7e9 + 25, 1.7e9 + 31], **said)
    foot = 20 * np.radians(2.0)
    assert found.columns["footprint_m"] == pytest.approx([foot, foot], rel=1e-3)
    assert found.columns["length_m"] == pytest.approx([5 - foot, 1.0], abs=1e-3)
    assert found.columns["length_at_most"].tolist() == [False, True]
    assert np.isnan(found.columns["length_lo_m"][1]) and found.columns["length_hi_m"][1] >= 1 - foot / 2 - 1e-2
    assert np.isnan(found.columns["azimuth_deg"][1]) and "hardly larger than the beam" in found.warnings[0]
    # drawn ends between half and one and a half footprints beyond the true ones: 95 % of an even spread
    assert found.columns["length_hi_m"][0] - found.columns["length_lo_m"][0] == pytest.approx(0.95 * foot, rel=0.03)


@pytest.mark.parametrize("side", [-1, 1])
def test_an_oblique_object_lies_where_it_is(side):
    """Ends and edges of a rectangle laid out on the plane, seen from a boat on 40 degrees."""
    track, a = straight(speed=1.5), np.radians(40.0)
    ahead, beam = np.array([np.sin(a), np.cos(a)]), side * np.array([np.cos(a), -np.sin(a)])
    lies = np.radians(75.0)
    unit, normal = np.array([np.sin(lies), np.cos(lies)]), np.array([np.cos(lies), -np.sin(lies)])
    centre, said = 45.0 * ahead + 14.0 * beam, {}
    ends = sorted((centre + s * 3.0 * unit for s in (-1, 1)), key=lambda p: p @ ahead)
    edges = sorted((centre + s * 0.75 * normal for s in (-1, 1)), key=lambda p: p @ beam)
    for name, place in (("begin", ends[0]), ("end", ends[1]), ("near", edges[0]), ("far", edges[1])):
        said[name] = [1.7e9 + place @ ahead / 1.5]
        said[f"{name}_m"] = [np.hypot(place @ beam, 6.0)]
    found = exactly(track, side=[side], **said)
    one = {name: values[0] for name, values in found.columns.items()}
    assert (one["length_m"], one["width_m"]) == pytest.approx((6.0, 1.5), abs=2e-3)
    assert one["azimuth_deg"] == pytest.approx(75.0, abs=0.05)
    x, y = np.array(found.boxes[0].exterior.coords)[:4].mean(axis=0) - [EAST, NORTH]
    assert (x, y) == pytest.approx(tuple(centre), abs=5e-3) and found.boxes[0].area == pytest.approx(9.0, abs=0.02)


def test_cut_ends_are_at_least():
    record = Record(width=400, height=200, newest="bottom", edge_range_m=40.0, first_ping=100.0)
    read, _ = read_object_lines(record, lines_of(
        (260, -5, 260, 40, "along"), (258, 20, 264, 20, "across"), (264, 20, 400, 20, "shadow"),
        (120, 80, 120, 110, "along"), (0.5, 90, 121, 90, "across")), straight())
    assert read.length_cut.tolist() == [True, False] and read.width_cut.tolist() == [False, True]
    assert read.shadow_open.tolist() == [True, False]
    found = measure_objects(straight(), read, MeasureSettings(False))
    c = found.columns
    assert c["length_at_least"].tolist() == [True, False] and np.isnan(c["length_hi_m"][0])
    assert c["width_at_least"].tolist() == [False, True] and np.isnan(c["sigma_width_m"][1])
    assert c["height_at_least"].tolist() == [True, False] and c["least_depth_at_most"].tolist() == [True, False]
    assert "run off the record" in " ".join(found.warnings)


def test_nothing_is_lost_without_a_reason():
    track = straight()
    found = measure_objects(track, ObjectReadings.of(
        5, side=[1, 0, 1, 1, np.nan], begin=[1.7e9 + 10, 1.7e9 + 10, 2e9, 1.7e9 + 12, 1.7e9 + 5],
        end=[1.7e9 + 12, 1.7e9 + 12, 2e9 + 3, 1.7e9 + 14, 1.7e9 + 6], near_m=[12.0] * 5, far_m=[13.0] * 5))
    assert len(found.source) + len(found.rejected["reason"]) == 5 and found.source.tolist() == [0, 3]
    assert "side" in found.rejected["reason"][0] and "stretch" in found.rejected["reason"][1]
    with pytest.raises(core.InputError, match="No pick falls within the time"):
        measure_objects(track, ObjectReadings.of(1, side=[1], begin=[5.0], end=[6.0], near_m=[9.0], far_m=[9.5]))


def test_on_a_depth_grid_the_bed_slopes():
    """A plane that falls away from the boat by 1 in 10: ranges and height from the plane's own triangle."""
    slope, depth = 0.1, 6.0
    cells = np.arange(-20, 240) * 1.0
    deeper = depth + slope * np.broadcast_to(cells + 0.5, (260, 260))  # from EAST on
    grid = core.DepthGrid.from_array(LOCAL.to_wkt(), (EAST - 20, 1, 0, NORTH + 240, 0, -1), deeper)
    track = straight(heading=0.0, depth=depth)
    near, far, high = 14.0, 15.5, 1.0
    top, bed = depth + slope * far - high, lambda g: depth + slope * g
    end = depth * far / (top - slope * far)  # where the line over the top meets the plane
    found = measure_objects(track, ObjectReadings.of(
        1, side=[1], begin=[1.7e9 + 20], end=[1.7e9 + 24], begin_m=[np.hypot(near, bed(near))],
        end_m=[np.hypot(near, bed(near))], near_m=[np.hypot(near, bed(near) - 0.5 * high)],
        far_m=[np.hypot(far, bed(far) - 0.75 * high)], shadow_start_m=[np.hypot(far, top)],
        shadow_end_m=[np.hypot(end, bed(end))]), MeasureSettings(True, "survey", {**STILL, "beam_width": 0.0}), grid)
    one = {name: values[0] for name, values in found.columns.items()}
    assert one["height_m"] == pytest.approx(high, abs=0.03) and one["width_m"] == pytest.approx(1.5, abs=0.05)
    assert one["depth_from"] == "water surface" and one["length_m"] == pytest.approx(6.0, abs=0.02)
    assert one["least_depth_m"] == pytest.approx(bed(14.75) - high, abs=0.1)


def test_points_on_the_same_samples_err_together():
    """Ends and edges that are one and the same have no width, however the positions jitter; a span of 0.6 samples
    between two of them errs along the track by 0.6 times the root of two, one of three samples by the root of two."""
    settings = MeasureSettings(True, "survey", {**STILL, "sigma_jitter": 0.5, "beam_width": 0.0})
    begin, end = np.array([20.2, 20.0]), np.array([20.8, 23.0])
    slants = {name: [14.0, 14.0] for name in ("begin_m", "end_m", "near_m", "far_m")}
    found = exactly(straight(), settings, side=[1, 1], begin=1.7e9 + begin, end=1.7e9 + end, near=1.7e9 + begin,
                    far=1.7e9 + end, **slants).columns
    assert np.abs(found["width_hi_m"]).max() < 1e-6 and found["sigma_width_m"].max() < 1e-6
    long = exactly(straight(speed=9.0), settings, side=[1, 1], begin=1.7e9 + begin, end=1.7e9 + end, **slants).columns
    assert long["sigma_length_m"] == pytest.approx(0.5 * np.sqrt(2) * np.array([0.6, 1.0]), rel=0.08)


def test_ends_of_an_interval_are_moved_against_the_bias_of_the_draws():
    """Draws exp(bias + sd z) about exp(0): the estimate lies off by the bias already, the truth is exp(-bias - sd z);
    bias-corrected percentiles are exact for what a monotone function makes normal (Efron 1981)."""
    z = np.array([NormalDist().inv_cdf(p) for p in (np.arange(20_000) + 0.5) / 20_000])[:, None]
    low, high = interval(np.exp(0.3 + 0.5 * z), np.array([1.0]))
    assert (low[0], high[0]) == pytest.approx(tuple(np.exp(-0.3 + 0.5 * np.array([-1.96, 1.96]))), rel=1e-2)
    low, high = interval(np.exp(0.3 + 0.5 * z))
    assert (low[0], high[0]) == pytest.approx(tuple(np.exp(0.3 + 0.5 * np.array([-1.96, 1.96]))), rel=1e-2)
