"""The simulator of records: its pictures against closed forms, so that it can be trusted as a truth."""
import numpy as np
import pytest
from athwart.sample_project.simulate.floors import Floor, flat, marked, ramp, rolling, texture
from athwart.sample_project.simulate.plan import Thing
from athwart.sample_project.simulate.waterfall import Display, Noise, draw
from athwart.sample_project.simulate.ways import Steered

STRAIGHT = Steered(((30, 1.5, 0),))
CLEAN = Noise(painted=True)


def test_ways_are_straight_and_round():
    way = Steered(((10, 2.0, 0), (np.pi * 5, 1.0, 180), (10, 2.0, 0)), (3.0, 4.0), 90.0)
    u, v, azimuth, speed = way.at(np.array([0, 5, 5 + 5 * np.pi / 2, 5 + 5 * np.pi, way.end]))
    # east 10 m, then half a circle of 5 m to starboard about (13, -1), then back west
    np.testing.assert_allclose(u, [3, 13, 18, 13, 3], atol=1e-9)
    np.testing.assert_allclose(v, [4, 4, -1, -6, -6], atol=1e-9)
    np.testing.assert_allclose(np.degrees(azimuth), [90, 90, 180, 270, 270], atol=1e-9)
    assert speed[0] == speed[-1] == 2.0 and speed[2] == 1.0


def test_a_box_on_a_flat_floor_throws_its_shadow_where_similar_triangles_say():
    box = Thing("box", 12.0, 15.0, 4.0, 1.0, 1.2, 0.0, "")  # long side along the way
    display = Display(((0.0, 25.0),), half=500, rate=0.4)
    made = draw(STRAIGHT, Floor(flat(6.0), things=(box,), shine=3.0, crown=0.0), display)
    ping, side, _ = made.looks(12.0, 15.0)[0]
    row = int(made.row(ping))
    line = made.grey[row, made.centre:]
    pixel = 25.0 / 500
    assert side == 1 and abs(made.t[int(round(ping))] - 10) < 0.2
    assert np.flatnonzero(line)[0] * pixel == pytest.approx(6.0, abs=pixel)  # first bottom echo
    near, far = np.hypot(11.5, 4.8), 12.5 * 6 / 4.8  # top of the front; ground range of the shadow's end
    dark = np.flatnonzero(line[int((near + 0.2) / pixel):] == 0) + int((near + 0.2) / pixel)
    assert dark[0] * pixel == pytest.approx(np.hypot(12.5, 4.8), abs=3 * pixel)
    inside = dark[dark * pixel < 18]
    assert inside[-1] * pixel == pytest.approx(np.hypot(far, 6), abs=2 * pixel)
    rows = np.flatnonzero(made.grey[:, made.centre + inside[len(inside) // 2]] == 0)
    assert abs(np.ptp(made.t[made.shown[rows]]) * 1.5 - 4.0) < 0.26  # as long as the box, to two pings
    assert not (made.grey[:, :made.centre - 150] == 0).any()  # nothing on the other side


def test_painted_pixels_show_the_floor_at_their_middle():
    display = Display(((0.0, 20.0), (10.0, 30.0)), half=200, rate=0.05, bits=16, sound_mps=1450.0, newest="bottom")
    made = draw(Steered(((30, 1.5, 0),), azimuth_deg=90.0), Floor(flat(5.0), ramp(0.0, -40.0, 80.0)), display, CLEAN)
    assert set(made.range_m) == {20.0, 30.0}
    for row in (3, len(made.shown) - 3):
        edge = made.range_m[made.shown[row]] * 1450 / 1500
        slant = (np.arange(200) + 0.5) * edge / 200
        ground = np.sqrt(np.maximum(slant ** 2 - 25, 0))
        seen = slant > 5.2
        wanted = (-ground + 40) / 80 * 65535  # starboard is south of a boat going east
        assert np.abs(made.grey[row, 200:] - wanted)[seen].max() < 12  # about 1.5 cm
        assert not made.grey[row, 200:][slant < 4.9].any()


def test_rows_know_their_pings():
    display = Display(((0.0, 20.0),), half=40, rate=0.1, dropped=((5, 3), (20, 1)), squeeze=2)
    made = draw(STRAIGHT, Floor(flat(5.0)), display)
    assert (np.diff(made.shown) < 0).all()  # the newest at the top
    rows = len(made.shown)
    assert made.missing() == ((rows - 17, 1), (rows - 5, 3))
    assert np.isnan(made.row(2 * 6 + 1)) and made.row(1) == rows - 0.5
    assert made.row(made.shown[0]) == 0.5


def test_noise_comes_again_from_its_seed_and_each_kind_does_what_it_says():
    floor = Floor(rolling(6.0, 0.5), texture(3))
    display = Display(half=120, rate=0.2)
    first, again, other = (draw(STRAIGHT, floor, display, Noise.ordinary(), seed) for seed in (1, 1, 2))
    assert np.array_equal(first.grey, again.grey) and not np.array_equal(first.grey, other.grey)
    plain = draw(STRAIGHT, floor, display).grey.astype(float)
    dark = draw(STRAIGHT, floor, display, Noise(fall_off=1.0)).grey.astype(float)
    assert np.median(dark[:, -5:] / plain[:, -5:]) == pytest.approx(np.exp(-1), abs=0.05)
    lost = draw(STRAIGHT, floor, display, Noise(lost=0.2), 5)
    assert 0.05 < lost.lost.mean() < 0.4
    assert lost.grey[lost.lost[lost.shown]].max() < 0.2 * lost.grey.max()
    fishy = draw(STRAIGHT, floor, display, Noise(fish=20.0), 5)
    column = (np.arange(display.half) + 0.5) * 30 / 120
    water = column[None, :] < 0.95 * fishy.first[1][fishy.shown][:, None]
    assert (fishy.grey[:, 120:] > 0)[water].any() and not (plain[:, 120:] > 0)[water].any()


def test_lines_and_circles_are_painted_where_they_are():
    paint = marked([((0, 0), (1, 1))], [(5, -5, 3.0)], width_m=0.2)
    assert paint(np.array([2.0, 2.0, 8.0, 5.0]), np.array([2.0, 2.3, -5.0, -5.0])).tolist() == [1.0, 0.15, 1.0, 0.15]
