"""Turns against a continuous fan that shares no code: ground lost and invented, and the map of looks beside."""
import numpy as np
import pytest
import tracks
import turnsim
from athwart.survey.ensonify.bottom_map import Ensonification
from athwart.survey.fixes.arrange import Fixes
from athwart.survey.geometry import shapes, transfer
from athwart.survey.geometry.frame import Frame
from athwart.survey.swaths.draw import SwathSettings, draw_swaths
from athwart.survey.tracks.prepare import prepare
from athwart.survey.tracks.settings import TrackSettings
from pyproj import Transformer
from shapely.ops import unary_union

FRAME = Frame("EPSG:32615", -93, 45)
RANGE, DEPTH = 30.0, 4.0
NEAR, FAR = DEPTH * np.tan(np.radians(20)), np.sqrt(RANGE**2 - DEPTH**2)
LEAD = 150.0


def sailed(degrees, radius, speed, interval, jitter=0.0, seed=0, phase=0.0):
    """A prepared track of one turn between two lines, and the ground a continuous fan saw between its fixes."""
    legs = [(LEAD, 0.0), turnsim.bend(degrees, radius), (LEAD, 0.0)]
    t, east, north = turnsim.fixes(legs, speed, interval, jitter, seed, phase)
    x, y = FRAME.inverse(east, north)
    made = prepare(Fixes("EPSG:32615", np.asarray(x), np.asarray(y), t_s=1.7e9 + t),
                   TrackSettings(range_m=RANGE, depth_m=DEPTH))
    return made.track, turnsim.seen(legs, NEAR, FAR, t[0] * speed, t[-1] * speed)


def ground(track, **settings):
    return unary_union([transfer.to_frame(FRAME, g)
                        for g in draw_swaths(track, SwathSettings(merge="pass", **settings)).geometries])


TURNS = [(90, 12), (90, 20), (90, 40), (-90, 25), (30, 15), (150, 20), (180, 12), (180, 25), (-180, 60)]


@pytest.mark.parametrize("degrees, radius", TURNS)
@pytest.mark.parametrize("speed, interval, lost, invented", [
    (2.0, 1.0, 40, 8), (0.7, 2.0, 40, 8), (2.0, 2.0, 40, 8), (2.0, 5.0, 90, 20), (2.0, 10.0, 220, 90)])
def test_a_turn_loses_and_invents_next_to_nothing(degrees, radius, speed, interval, lost, invented):
    """A cut left undrawn loses 110 to 340 m2 with fixes every 1 or 2 s, 1,200 to 1,700 m2 with fixes every 10 s."""
    for phase in (0.0, 0.5):
        track, truth = sailed(degrees, radius, speed, interval, phase=phase * interval)
        seen = ground(track)
        assert truth.difference(seen).area < lost
        assert seen.difference(truth).area < invented


@pytest.mark.parametrize("degrees, radius", [(90, 20), (180, 25)])
def test_jitter_costs_edges_only(degrees, radius):
    for seed in (1, 2):
        track, truth = sailed(degrees, radius, 2.0, 10.0, jitter=0.5, seed=seed)
        seen = ground(track)
        # 0.5 m along 2 edges of some 350 m on either side
        assert truth.difference(seen).area < 450 and seen.difference(truth).area < 450
        assert len(set(track.pass_id)) == 2


@pytest.mark.parametrize("interval", [1.0, 5.0])
def test_the_inner_side_of_a_turn_ends_at_its_centre(interval):
    track, _ = sailed(180, 20, 2.0, interval)
    legs = [(LEAD, 0.0), turnsim.bend(180, 20), (LEAD, 0.0)]
    truth = turnsim.seen(legs, NEAR, FAR, 0.0, float(np.ptp(track.t_s)) * 2.0, sides=(1,))
    seen = ground(track, sides=(1,))
    assert seen.difference(truth).area < 10 and truth.difference(seen).area < 60
    reach = {keep: draw_swaths(track, SwathSettings(sides=(1,), keep_turns=keep)).columns["outer_m"].mean()
             for keep in (False, True)}
    assert reach[True] == pytest.approx(FAR) and reach[False] < FAR - 1


@pytest.mark.parametrize("interval", [1.0, 5.0, 10.0])
@pytest.mark.parametrize("degrees, radius", [(90, 20), (180, 15), (180, 40)])
def test_the_map_of_looks_and_the_swaths_are_one(degrees, radius, interval):
    track, _ = sailed(degrees, radius, 2.0, interval)
    work = Ensonification(track, 0.5)
    result = draw_swaths(track, SwathSettings(merge="pass"))
    once = unary_union(result.geometries)
    twice = unary_union([a.intersection(b) for i, a in enumerate(result.geometries) for b in result.geometries[:i]])
    for row, col, bands in work.tiles():
        rows, cols = np.indices(bands["looks"].shape)
        left, cell, _, top, _, _ = work.raster.transform
        x, y = left + (col + cols + 0.5) * cell, top - (row + rows + 0.5) * cell
        x, y = Transformer.from_crs(work.raster.crs, FRAME.crs, always_xy=True).transform(x.ravel(), y.ravel())
        for looks, polygons in ((1, once), (2, twice)):
            drawn, mapped = shapes.contains(polygons, x, y), bands["looks"].ravel() >= looks
            assert np.count_nonzero(drawn != mapped) <= 2e-4 * np.count_nonzero(drawn) + 2


def test_samples_are_counted_once_and_a_beam_at_a_cut_is_in_both_passes():
    track, _ = sailed(180, 20, 2.0, 5.0)
    result = draw_swaths(track, SwathSettings(merge="pass"))
    assert result.columns["samples"].sum() == len(track)
    assert result.columns["end_time"][0] == result.columns["start_time"][1]
    one, two = result.geometries
    assert one.distance(two) < 1e-6 and one.intersection(two).length > 0


def test_nothing_is_bent_without_a_turn():
    rng = np.random.default_rng(1)
    along = np.arange(0, 300, 1.5)
    track = tracks.in_frame(FRAME, 0 * along, along, rng.normal(0, 4, len(along)),
                            turn_dps=rng.normal(0, 0.5, len(along)))
    assert draw_swaths(track, SwathSettings()).report.drawn == 2 * len(track)
