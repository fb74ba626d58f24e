"""Known targets on a new picture: pixels against the simulator's own, ellipses against drawn errors."""
import athwart.survey as core
import numpy as np
import pytest
from athwart.sample_project.simulate.floors import Floor, flat
from athwart.sample_project.simulate.waterfall import Display, draw
from athwart.sample_project.simulate.ways import Steered
from athwart.survey.record.draw_targets import KnownTargets, draw_on_record
from waterfalls import EAST, NORTH, picture_of, track_of


def known(u, v, sigma=(1.0, 1.0, 0.0)):
    """KnownTargets at places of the simulator's plane; var as standard deviations east, north and covariance."""
    count = len(u)
    east, north, mixed = (np.full(count, value) for value in sigma)
    return KnownTargets(np.arange(1.0, count + 1), np.array([f"t{k}" for k in range(count)], object),
                        np.asarray(u) + EAST, np.asarray(v) + NORTH, east, north, mixed, np.full(count, 95.0))


@pytest.mark.parametrize("newest", ["top", "bottom"])
def test_pixels_are_the_simulators(newest):
    """Bend, two ranges, missing rows: within half a pixel at the log's samples, a row and a half
    between them."""
    way = Steered(((30, 1.5, 0), (30, 1.5, 40), (30, 2.0, 0)), azimuth_deg=65.0)
    made = draw(way, Floor(flat(5.0)), Display(((0.0, 20.0), (20.0, 30.0)), half=150, rate=0.3, newest=newest,
                                               dropped=((40, 7),)))
    track, record = track_of(made, way, every_s=0.5), core.Record(**picture_of(made))
    rng = np.random.default_rng(4)
    u, v = rng.uniform(-10, 70, 60), rng.uniform(-30, 60, 60)
    found = draw_on_record(record, track, known(u, v))
    wanted = [(k, made.pixel(look), look) for k in range(60) for look in made.looks(u[k], v[k])]
    wanted = [(k, pixel) for k, pixel, look in wanted if np.isfinite(pixel[1]) and abs(look[2]) < 29.5]
    assert len(wanted) > 20 and set(found.source.tolist()) >= {k for k, _ in wanted}
    off = []
    for k, pixel in wanted:
        mine = found.source == k
        off.append(np.hypot(found.columns["column"][mine] - pixel[0], found.columns["row"][mine] - pixel[1]).min())
    assert np.median(off) < 0.5 and np.quantile(off, 0.9) < 1.5
    assert len(found.unseen) == 60 - len(set(found.source.tolist())) > 0


def test_ellipses_hold_what_errs_as_the_targets_and_the_record_do():
    """2000 targets that stray by their covariance and by the new record's position and heading: 95 % within."""
    way = Steered(((60, 1.5, 0),))
    made = draw(way, Floor(flat(5.0)), Display(((0.0, 30.0),), half=300, rate=0.3))
    record = core.Record(**picture_of(made))
    track = track_of(made, way, sigma_pos_m=0.8, sigma_heading_deg=2.0)
    sigma = (1.0, 1.6, 0.7)
    found = draw_on_record(record, track, known([16.0], [30.0], sigma))
    outline = found.outlines[0]
    rng = np.random.default_rng(2)
    stray = rng.multivariate_normal([0, 0], [[sigma[0] ** 2, sigma[2]], [sigma[2], sigma[1] ** 2]], 2000)
    stray += rng.normal(0, 0.8, (2000, 2))
    stray[:, 1] += 16 * np.radians(rng.normal(0, 2.0, 2000))
    pixels = [made.pixel(made.looks(16 + a, 30 + b)[0]) for a, b in stray]
    ring = np.array(outline.exterior.coords)
    inside = np.mean([_inside(ring, pixel) for pixel in pixels])
    assert inside == pytest.approx(0.95, abs=0.02)
    rows, columns = np.std([p[1] for p in pixels]), np.std([p[0] for p in pixels])
    assert found.columns["sigma_row"][0] == pytest.approx(rows, rel=0.06)
    assert found.columns["sigma_column"][0] == pytest.approx(columns, rel=0.06)


def _inside(ring, point):
    """Even-odd rule."""
    x, y = ring[:, 0], ring[:, 1]
    crosses = (y[:-1] > point[1]) != (y[1:] > point[1])
    with np.errstate(divide="ignore", invalid="ignore"):
        at = x[:-1] + (point[1] - y[:-1]) / (y[1:] - y[:-1]) * (x[1:] - x[:-1])
    return np.count_nonzero(crosses & (at > point[0])) % 2 == 1
