"""Runs the outings and writes every file of the sample."""
from __future__ import annotations

import csv
from dataclasses import dataclass

import numpy as np

from . import log, maps, picks, plan, record, truth
from .boat import Motion, sail
from .looks import looks
from .noise import Gnss


@dataclass(frozen=True)
class Day:
    """One simulated outing: the plan, how the boat went, what the receiver got wrong, what the fan swept."""

    outing: plan.Outing
    motion: Motion
    gnss: Gnss
    looks: list

    def rng(self, purpose):
        """A stream of random numbers of its own for each purpose, so that none disturbs another."""
        return np.random.default_rng([self.outing.seed, purpose])


def day(outing):
    """Simulate an outing."""
    motion = sail(outing.legs, outing.start_s, outing.drift, np.random.default_rng([outing.seed, 0]))
    gnss = Gnss.draw(np.arange(motion.t[0] - 5, motion.t[-1] + 5), np.random.default_rng([outing.seed, 1]))
    return Day(outing, motion, gnss, looks(outing, motion, plan.THINGS))


def _table(path, rows):
    with open(path, "w", encoding="utf-8", newline="") as file:
        csv.writer(file, lineterminator="\n").writerows(rows)


def _text(path, text):
    path.write_bytes(text.encode("utf-8"))


def make(folder):
    """Write the sample into ``folder`` (pathlib.Path); files of these names are replaced."""
    (folder / "truth").mkdir(parents=True, exist_ok=True)
    for name in ("lake.gpkg", "depth_grid.tif"):
        (folder / name).unlink(missing_ok=True)
    maps.write_depth_grid(folder / "depth_grid.tif")
    maps.write_lake(folder / "lake.gpkg", plan.AREAS, plan.PLACES)
    north, south = day(plan.NORTH), day(plan.SOUTH)
    _write_north(folder, north)
    _write_south(folder, south)
    _table(folder / "truth" / "objects.csv", truth.objects(plan.THINGS))
    _table(folder / "truth" / "offsets.csv", truth.offsets([(d.outing, d.gnss) for d in (north, south)]))
    _table(folder / "truth" / "noise.csv", truth.noise())
    _table(folder / "truth" / "looks.csv",
           [truth.LOOK_HEADER] + [row for d in (north, south) for row in truth.look_rows(d.outing, d.looks)])
    _table(folder / "truth" / "coverage.csv",
           truth.coverage(plan.AREAS, [(d.outing, d.motion, placed(d.motion)) for d, placed in (
               (north, log.placed_by_nmea), (south, log.placed_by_gpx))]))


def _write_north(folder, north):
    _text(folder / "outing_north.nmea", log.nmea(north.outing, north.motion, north.gnss, north.rng(2)))
    _table(folder / "north_picks.csv", [picks.PICK_FIELDS, *picks.picks(north.outing, north.looks, north.rng(3))])
    _table(folder / "north_settings.csv", [("from_time", "range")] + [
        (picks.clock(t), f"{value:g}")
        for t, value in picks.range_times(north.outing, north.motion)])
    picture = record.draw(north.outing, north.motion, plan.THINGS, north.rng(4))
    maps.write_picture(folder / "north_record.png", picture.grey)
    points, lines = picks.pixel_picks(north.outing, north.looks, picture, north.rng(5))
    _table(folder / "north_record_points.csv", [("WKT", "kind", "label"), *points])
    _table(folder / "north_record_shadows.csv", [("WKT", "kind", "label"), *lines])
    _table(folder / "north_record_frame.csv", [("name", "value", "meaning"), *picks.frame(picture)])


def _write_south(folder, south):
    _text(folder / "outing_south.gpx", log.gpx_track(south.outing, south.motion, south.gnss))
    marks = picks.marks(south.outing, south.motion, south.looks, south.rng(3))
    _text(folder / "south_marks.gpx", log.gpx_marks(south.outing, south.motion, south.gnss, marks))
    _table(folder / "south_settings.csv", [("from_waypoint", "range")] + [
        (f"RANGE {value:.0f}", f"{value:g}") for _, value in picks.range_times(south.outing, south.motion)[1:]])
