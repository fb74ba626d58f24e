"""One short pass along a geodesic and picks from its middle, for the tests of targets."""
import numpy as np
import random_picks
import tracks
from athwart.survey.geometry.frame import Frame
from athwart.survey.targets.locate import LocateSettings, locate
from athwart.survey.targets.picks import Picks
from pyproj import Geod

GEOD = Geod(ellps="WGS84")
T0 = 1.7e9
SURE = random_picks.stated(random_picks.NOTHING)


def ray(crs, lon=-93.0, lat=45.0, heading=30.0, count=21, step=1.5, **given):
    """A pass along a geodesic, the middle sample at lon, lat, one a second; errors nil unless given."""
    along = (np.arange(count) - count // 2) * step
    lons, lats, _ = GEOD.fwd(np.full(count, lon), np.full(count, lat), np.full(count, heading), along)
    x, y = Frame(crs, lon, lat).from_lonlat(lons, lats)
    given = {"t_s": T0 + np.arange(count), "depth_m": 30.0, "range_m": 80.0, "speed_mps": step,
             "sigma_heading_deg": 0.0, **given}
    return tracks.made(crs, x, y, np.full(count, heading), **given)


def picked(side=1, slant=50.0, **given):
    """Picks at the moment of the middle sample unless given otherwise; scalars are spread."""
    count = max(np.size(v) for v in (side, slant, *given.values()))
    return Picks.of(count, **{name: np.broadcast_to(np.asarray(v, object), count) for name, v in
                              {"side": side, "slant_m": slant, "t_s": T0 + 10, **given}.items()})


def found(track, picks, water=None, ground_on_terrain=None, **given):
    """Targets, without any error unless given."""
    return locate(track, picks, LocateSettings(**{"stated": SURE, **given}), water, ground_on_terrain)
