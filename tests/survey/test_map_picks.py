"""Picks on a mapped record come to the targets of the picks on the picture; truth is the simulator's."""
from dataclasses import replace

import athwart.survey as core
import numpy as np
import pytest
from athwart.sample_project.simulate.floors import Floor, flat, rolling
from athwart.sample_project.simulate.waterfall import Display, draw
from athwart.sample_project.simulate.ways import Steered
from athwart.survey.record.map_picks import MapSource, picks_from_map
from athwart.survey.record.record_image import RecordImage
from athwart.survey.record.record_map import MapSettings, RecordMap
from waterfalls import EAST, LOCAL, NORTH, picture_of, track_of

CELL = 0.5


def source_at(job, x, y):
    """MapSource at points, read off the source raster of a RecordMap: of the cell that holds the point."""
    raster = job.raster
    bands = {}
    for row, col, tile in job.tiles():
        here = (slice(row, row + tile.shape[0]), slice(col, col + tile.shape[1]))
        for name, band in tile.source(job.track, job.outings).items():
            bands.setdefault(name, np.full((raster.rows, raster.cols), np.nan, np.float32))[here] = band
    col = ((x - raster.left) // raster.cell).astype(int)
    row = ((raster.top - y) // raster.cell).astype(int)
    names = {number: name for name, number in job.outings.items()}
    outing = np.array([names.get(int(n)) if np.isfinite(n) else "" for n in bands["outing"][row, col]], object)
    return MapSource(raster.left + (col + 0.5) * raster.cell, raster.top - (row + 0.5) * raster.cell, outing,
                     *(bands[name][row, col].astype(float) for name in ("pass_id", "sample_id", "slant")))


@pytest.mark.parametrize("way, floor, bottom", [
    (Steered(((40, 1.5, 0), (20, 1.5, 30), (20, 2.5, 0)), azimuth_deg=70.0), flat(5.0), "track"),
    (Steered(((80, 1.5, 0),), azimuth_deg=200.0), rolling(6.0, 0.6, 50.0, 200.0), "track")])
def test_a_pick_on_the_map_is_the_pick_on_the_picture(way, floor, bottom):
    made = draw(way, Floor(floor), Display(((0.0, 25.0),), half=200, rate=0.2, sound_mps=1460.0))
    track = track_of(made, way)
    record = core.Record(**picture_of(made))
    rng = np.random.default_rng(3)
    ping = rng.uniform(0.1 * len(made.t), 0.9 * len(made.t), 24)
    side, ground = rng.choice([-1, 1], 24), rng.uniform(4.0, 20.0, 24)
    at = [np.interp(ping, np.arange(len(made.t)), values) for values in (made.u, made.v, made.azimuth, made.depth)]
    u, v = at[0] + side * ground * np.cos(at[2]), at[1] - side * ground * np.sin(at[2])
    pixels = [(float(made.column(p, s, np.hypot(g, h))), float(made.row(p)))
              for p, s, g, h in zip(ping, side, ground, at[3])]
    column, row = np.array(pixels).T
    words = [np.full(24, text, object) for text in ("object", "")]
    on_picture = core.read_picture(record, core.Marks(column, row, np.full(24, np.nan), *words), track).columns
    settings = core.LocateSettings(errors="careful")
    picture = core.locate(track, core.Picks.of(24, ping=on_picture["ping"], slant_m=on_picture["slant_m"], side=side),
                          settings)
    job = RecordMap([RecordImage("one", record, made.grey)], track, MapSettings(cell_m=CELL, bottom=bottom))
    drawn = core.Picks.of(24, x=u + EAST, y=v + NORTH)
    picks = picks_from_map(track, drawn, source_at(job, drawn.x, drawn.y))
    kept = np.flatnonzero(picks.reason == "")
    assert len(kept) >= 23 and (picks.side[kept] == side[kept]).all()
    np.testing.assert_allclose(picks.ping[kept], ping[kept] + made.display.first_ping, atol=0.3)
    mapped = core.locate(track, picks.take(kept), settings)
    assert len(mapped.x) == len(kept) and len(picture.x) == 24
    off = np.hypot(mapped.x - picture.x[kept], mapped.y - picture.y[kept])
    assert off.max() < 0.1
    for name in ("semi_major_m", "semi_minor_m", "sigma_east_m", "sigma_north_m"):
        np.testing.assert_allclose(mapped.columns[name], picture.columns[name][kept], rtol=0.01)
    turned = (mapped.columns["azimuth_deg"] - picture.columns["azimuth_deg"][kept] + 90) % 180 - 90
    assert np.abs(turned).max() < 1.5


def test_a_pick_on_a_map_over_a_depth_grid_is_the_pick_on_the_picture():
    """Over swells as high as a man and a slope: the map was laid on the grid, and the targets are located on it."""
    way, floor = Steered(((50, 1.5, 0), (30, 1.5, 30)), azimuth_deg=110.0), Floor(rolling(6.0, 0.9, 40.0, 150.0, 0.01))
    made = draw(way, floor, Display(((0.0, 25.0),), half=200, rate=0.2, sound_mps=1460.0))
    track, record, count = track_of(made, way), core.Record(**picture_of(made)), 24
    at = (np.arange(400) + 0.5) * 0.5 - 100
    grid = core.DepthGrid.from_array(LOCAL, (EAST - 100, 0.5, 0, NORTH + 100, 0, -0.5),
                                     floor.depth(at[None, :], -at[:, None]).astype(np.float32))
    job = RecordMap([RecordImage("one", record, made.grey)], track, MapSettings(cell_m=CELL), grid)
    rng = np.random.default_rng(8)
    ping = rng.uniform(0.1 * len(made.t), 0.9 * len(made.t), count)
    side, ground = rng.choice([-1, 1], count), rng.uniform(4.0, 20.0, count)
    boat = [np.interp(ping, np.arange(len(made.t)), values) for values in (made.u, made.v, made.azimuth)]
    u, v = boat[0] + side * ground * np.cos(boat[2]), boat[1] - side * ground * np.sin(boat[2])
    drawn = core.Picks.of(count, x=u + EAST, y=v + NORTH)
    picks = picks_from_map(track, drawn, source_at(job, drawn.x, drawn.y))
    kept = np.flatnonzero(picks.reason == "")
    assert len(kept) >= count - 2, "a swell may hide a place or two"
    slant = np.hypot(ground, floor.depth(u, v))
    assert (picks.side[kept] == side[kept]).all()
    np.testing.assert_allclose(picks.ping[kept], ping[kept] + made.display.first_ping, atol=0.3)
    np.testing.assert_allclose(picks.slant_m[kept], slant[kept] * made.display.displayed, atol=0.05)
    settings = core.LocateSettings(errors="careful", range_model="terrain")
    mapped = core.locate(track, picks.take(kept), settings, grid=grid)
    picture = core.locate(track, core.Picks.of(count, ping=ping + made.display.first_ping, side=side,
                                               slant_m=slant * made.display.displayed).take(kept), settings, grid=grid)
    assert len(mapped.x) == len(picture.x) == len(kept)
    assert np.hypot(mapped.x - picture.x, mapped.y - picture.y).max() < 0.25 * CELL
    for name in ("semi_major_m", "semi_minor_m", "ground_m"):
        np.testing.assert_allclose(mapped.columns[name], picture.columns[name], rtol=0.02)
    assert (mapped.columns["range_model"] == "terrain").all()


def line():
    away = np.arange(0.0, 122.0, 2.0)
    fixes = core.Fixes("EPSG:32619", 500000 + 0 * away, 4500000 + away, t_s=away / 2)
    return core.prepare(fixes, core.TrackSettings(range_m=30.0, depth_m=5.0)).track


def cells(track, sample, slant, x, y, **other):
    count = len(slant)
    return replace(MapSource(np.array(x, float), np.array(y, float), np.full(count, track.outing[0], object),
                             np.full(count, 1.0), np.full(count, float(track.sample_id[sample])),
                             np.array(slant, float)), **other)


def test_what_the_map_does_not_show_has_a_reason():
    track = line()
    x, y = [500012.0, 500012.0, 500012.0], [4500050.0, 4500050.0, 4500100.0]
    found = picks_from_map(track, core.Picks.of(3, x=x, y=y), cells(track, 25, [13.0, np.nan, 13.0], x, y))
    assert found.reason[0] == "" and "shows nothing" in found.reason[1] and "nowhere near" in found.reason[2]
    assert np.isnan(found.x).all() and np.isnan(found.slant_m[1:]).all()
    other = cells(track, 25, [13.0], x[:1], y[:1], pass_id=np.array([9.0]))
    with pytest.raises(core.InputError, match="pass 9"):
        picks_from_map(track, core.Picks.of(1, x=x[:1], y=y[:1]), other)


def test_depths_off_the_record_go_along():
    """A map made with a traced bottom of 4 m over a track that says 5: 12.649 m out, the record shows it at
    13.27 m."""
    track = line()
    x, y, scale = [500000 - 12.649 * 0.9996], [4500050.3], 0.9996
    there = cells(track, 25, [-np.hypot(12.5, 4.0)], [500000 - 12.5 * scale], y)
    found = picks_from_map(track, core.Picks.of(1, x=x, y=y), there, own_depth=True)
    assert found.depth_m[0] == pytest.approx(4.0, abs=1e-3) and found.side[0] == -1
    assert found.slant_m[0] == pytest.approx(np.hypot(12.649, 4.0), abs=1e-3)
