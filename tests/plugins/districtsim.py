"""A made district: the sample's lake and boats, over and over along its parallel, every outing with a plan of its own.

Lakes are the sample lake carried east: a shift of longitude alone changes no distance and no bearing on the ellipsoid.
Logs, picks and errors are those of ``sample_project/simulate``, which shares no code with the core.
"""
from __future__ import annotations

import contextlib
import csv
import pathlib
import sqlite3
from unittest import mock

import numpy as np
from pyproj import Transformer
from shapely import wkb
from shapely.geometry import Polygon

from sample_project.simulate import log, picks, plan
from sample_project.simulate.boat import Leg, sail, to_degrees
from sample_project.simulate.looks import looks
from sample_project.simulate.noise import Boat, Gnss

ROOT = pathlib.Path(__file__).resolve().parents[2]
APART_DEG = 0.03
CRS = "EPSG:32619"
ROWS = np.arange(64, 360, 36)
"""Lines that an outing chooses from, local metres north."""
DAY_S = 86_400.0
_to_map = Transformer.from_crs(4326, CRS, always_xy=True)


def make_district(folder, lakes, each, seed=20250601, short=False):
    """Write outings.csv, lakes.csv and the files they name; every fifth outing is a GPX in feet without picks.

    Parameters
    ----------
    folder : path
    lakes, each : int
        How many lakes, and outings on each.
    short : bool
        Two lines an outing, all as GPX and with picks: quick to make. Otherwise three.
    """
    folder = pathlib.Path(folder)
    (folder / "logs").mkdir(parents=True, exist_ok=True)
    water = _sample_lake()
    rows = [("outing", "lake", "logs", "unit", "range", "ranges", "depth", "picks", "who", "gear", "latency_s",
             "lever_forward_m", "lever_starboard_m", "assumed_mps")]
    for k in range(lakes):
        for n in range(each):
            rows.append(_outing(folder, k, n, np.random.default_rng([seed, k, n]), short))
    _table(folder / "outings.csv", rows)
    _table(folder / "lakes.csv", [("lake", "crs", "area", "water")] + [
        (lake_name(k), CRS, *(Polygon(carried_east(ring, k)).wkt if isinstance(ring, list) else _holed(ring, k).wkt
                              for ring in ([_degrees(plan.AREAS[0][1])], water))) for k in range(lakes)])
    return folder / "outings.csv", folder / "lakes.csv"


def lake_name(k):
    """What a lake is called."""
    return f"Lake {k + 1:02d}"


def _degrees(corners):
    return np.column_stack(to_degrees(*np.array(corners, float).T))


def carried_east(ring, k):
    """(n, 2) degrees of a ring -> map coordinates of lake ``k``."""
    lon, lat = np.asarray(ring[0] if isinstance(ring, list) else ring).T
    return np.column_stack(_to_map.transform(lon + k * APART_DEG, lat))


def _holed(polygon, k):
    def moved(ring):
        lon, lat = _to_map.transform(*np.asarray(ring.coords)[:, :2].T, direction="INVERSE")
        return carried_east(np.column_stack([lon, lat]), k)
    return Polygon(moved(polygon.exterior), [moved(ring) for ring in polygon.interiors])


def _sample_lake():
    """The water of the sample, read from its GeoPackage (OGC 12-128: a header, an envelope, then WKB)."""
    with contextlib.closing(sqlite3.connect(ROOT / "sample_project" / "lake.gpkg")) as database:
        (column,) = database.execute("SELECT column_name FROM gpkg_geometry_columns "
                                     "WHERE table_name = 'lake'").fetchone()
        (blob,) = database.execute(f"SELECT {column} FROM lake").fetchone()
    shape = wkb.loads(blob[8 + (0, 32, 48, 48, 64)[blob[3] >> 1 & 7]:])
    return max(getattr(shape, "geoms", [shape]), key=lambda one: one.area)


def _outing(folder, k, n, rng, short):
    name, gpx = f"lake{k + 1:02d}_day{n + 1}", short or (k + n) % 5 == 4
    (west, east), lines = ((-520.0, -250.0), 2) if short else ((-600.0, -170.0), 3)
    first = int(rng.integers(len(ROWS) - 1))
    chosen = ROWS[first:first + 2] if short else np.sort(rng.choice(ROWS, lines, replace=False))
    speed = rng.uniform(1.7, 2.3)
    legs = tuple(Leg(*(((west, v), (east, v)) if i % 2 == 0 else ((east, v), (west, v))), speed, f"line {v}")
                 for i, v in enumerate(chosen.astype(float).tolist()))
    range_m = float(rng.choice([25.0, 30.0, 35.0]))
    boat = Boat("skiff", 0.7, -1.5, 0.3, float(rng.normal(0, 1)), 0.35, 1500.0, float(rng.uniform(15, 21)), 1.0, -13.8)
    outing = plan.Outing(name, plan.NORTH.start_s + (k + 40 * n) * DAY_S, boat, (0.05, -0.04), legs,
                         ((legs[0].note, range_m),), 1.0, int(rng.integers(1 << 30)), "", (legs[0].note, 60.0, 20.0))
    motion = sail(legs, outing.start_s, outing.drift, rng)
    gnss = Gnss.draw(np.arange(motion.t[0] - 5, motion.t[-1] + 5), rng)
    east_of = mock.patch.object(log, "fixes", _shifted(k))
    with east_of:
        if gpx:
            path = folder / "logs" / f"{name}.gpx"
            path.write_text(log.gpx_track(outing, motion, gnss), encoding="utf-8")
        else:
            path = folder / "logs" / f"{name}.nmea"
            path.write_bytes(log.nmea(outing, motion, gnss, rng).encode("ascii"))
    common = (name, lake_name(k), f"logs/{path.name}")
    if gpx and not short:
        return (*common, "ft", f"{range_m / plan.FOOT_M:.0f}", "", "21", "", "Ann", "jon boat", "0.5", "", "", "")
    found = picks.picks(outing, looks(outing, motion, plan.THINGS), rng)
    _table(folder / "logs" / f"{name}_picks.csv", [picks.PICK_FIELDS, *found])
    return (*common, "m", f"{range_m:g}", "", "6.4" if short else "", f"logs/{name}_picks.csv", "Bo", "skiff", "0.5",
            "-1.5", "0.3", "1500")


def _shifted(k):
    own = log.fixes

    def fixes(*given):
        lon, lat, course, speed = own(*given)
        return lon + k * APART_DEG, lat, course, speed
    return fixes


def _table(path, rows):
    with open(path, "w", encoding="utf-8", newline="") as file:
        csv.writer(file, lineterminator="\n").writerows(rows)
