"""Picks over uneven ground with every error drawn from its prior: what a boat would record, and where the object is.

Written from first principles and without the code under test (``located`` alone calls it): bottoms as formulas, a boat
that runs straight, a fan that looks athwartships at its true azimuth, sight lines traced every 5 cm, clocks that are
late, and a sounder read at the true place of the boat. Each pick is of a fresh outing. Frame and priors are those of
``random_picks``.
"""
import numpy as np
import tracks
from athwart.survey.bottom.depthgrid import DepthGrid
from athwart.survey.bottom.terrain import anchored, ground_on
from athwart.survey.targets.locate import LocateSettings, locate
from athwart.survey.targets.picks import Picks
from random_picks import CRS, PRIORS, WATER_SPEED, Recorded, arc, beam, bow, stated

HALF, CELL = 170.0, 0.5
_WAVES = [(np.random.default_rng(8).uniform(0, 2 * np.pi, (6, 2))), np.array([7.0, 9, 11, 14, 18, 25])]


def flat(x, y):
    """8 m."""
    return 8.0 + 0 * x


def rough(x, y):
    """8 m and hills of up to a metre or two, 7 to 25 m long."""
    (angle, phase), long = _WAVES[0].T, _WAVES[1]
    return 8 + sum(w / 45 * np.sin((x * np.cos(a) + y * np.sin(a)) * 2 * np.pi / w + p)
                   for a, p, w in zip(angle, phase, long))


def bank(x, y):
    """From 4 m down to 14 m within some 25 m, 23 degrees at its steepest."""
    return 4 + 10 / (1 + np.exp(-x / 6))


def steep(x, y):
    """The same within 12 m, 40 degrees."""
    return bank(2 * x, y)


def ledge(x, y):
    """A drop from 5 m to 10 m within a metre and a half."""
    return 7.5 + 2.5 * np.clip(x / 0.75, -1, 1)


BOTTOMS = {"flat": flat, "rough": rough, "bank": bank, "steep": steep, "ledge": ledge}


def grid_of(bottom):
    """The bottom as a depth grid of cells of half a metre."""
    middle = np.arange(-HALF, HALF, CELL) + CELL / 2
    return DepthGrid.from_array(CRS, (-HALF, CELL, 0, HALF, 0, -CELL), bottom(*np.meshgrid(middle, -middle)))


def steepness(bottom, x, y, over=0.5):
    """Metres down a metre, straight down the slope."""
    return np.hypot(bottom(x + over, y) - bottom(x - over, y), bottom(x, y + over) - bottom(x, y - over)) / (2 * over)


def _visible(bottom, at, along, reach, stride=0.05):
    """Whether the ground at ``reach`` along rays is seen over all that is nearer; rays start at the surface."""
    seen = np.empty(len(reach), bool)
    for part in np.array_split(np.arange(len(reach)), -(-len(reach) // 2000)) if len(reach) else ():
        g = np.arange(stride, reach[part].max(), stride)[None, :]
        far = at[part][:, :, None] + along[part][:, :, None] * g[:, None]
        slope = np.where(g < reach[part][:, None] - 1e-9, bottom(far[:, 0], far[:, 1]) / g, np.inf).min(axis=1)
        tip = at[part] + along[part] * reach[part][:, None]
        seen[part] = bottom(*tip.T) / reach[part] <= slope * (1 + 1e-9)
    return seen


def recorded(rng, count, bottom, sigma=PRIORS, over=(0.8, 3.0), near=25.0, seconds=20, level=(-0.5, 0.5),
             slope=0.0):
    """Draw picks over a bottom.

    Parameters
    ----------
    bottom : callable
        Depth at east, north.
    sigma : dict
        As ``random_picks.PRIORS``.
    over : (low, high)
        Ground range over the depth under the boat; objects lie evenly over the ground between, where it is seen.
    near : float
        Boats run through places within so many metres of the line x = 0.
    seconds : int
        Length of the track before and after the pick.
    level : (low, high)
        How much deeper the water is on the day than the grid says, m; the sounder knows.

    slope : float
        Only objects on ground at least so steep.

    Returns
    -------
    random_picks.Recorded
    """
    def error(name, *shape):
        return rng.normal(0, sigma[name], (count, *shape))

    heading, start = np.empty(count), np.empty((count, 2))
    side, reach = np.empty(count), np.empty(count)
    trim, footprint, turn = error("trim"), rng.uniform(-0.5, 0.5, count), error("mount")
    todo = np.arange(count)
    while len(todo):
        heading[todo] = rng.uniform(0, 360, len(todo))
        start[todo] = rng.uniform(-near, near, (len(todo), 2))
        side[todo] = rng.choice([-1, 1], len(todo))
        reach[todo] = rng.uniform(*over, len(todo)) * bottom(*start[todo].T)
        along = side[todo, None] * beam(heading[todo] + turn[todo])
        good = steepness(bottom, *(start[todo] + reach[todo, None] * along).T) >= slope
        good[good] = _visible(bottom, start[todo][good], along[good], reach[todo][good])
        todo = todo[~good]
    fan = heading + turn
    higher = rng.uniform(*level, count)
    under = bottom(*start.T) + higher
    place = start + (side * reach)[:, None] * beam(fan) + (under * np.radians(trim))[:, None] * bow(fan)
    top = bottom(*place.T) + higher - np.abs(error("height"))  # nothing stands below the bottom
    slant = np.hypot(reach, top)
    place = place + (footprint * 2 * slant * np.tan(np.radians(sigma["beam_width"]) / 2))[:, None] * bow(fan)

    speed = rng.uniform(1.0, 2.5, count)
    late, wait = -error("latency")[:, None], error("time")
    t = np.arange(-seconds, seconds + 0.5) * np.ones((count, 1))
    straight = np.zeros(count)
    true = start[:, None] + arc(t, speed, heading, straight)
    fixes = (start[:, None] + arc(t + late, speed, heading, straight)
             + (error("bias", 2) + error("slow", 2) + error("offset", 2))[:, None] + error("jitter", *t.shape[1:], 2))
    scale = 1 + error("sound_speed") / WATER_SPEED
    wrong = (error("depth")[:, None] + error("depth", t.shape[1])) / np.sqrt(2)
    sounder = (bottom(true[..., 0], true[..., 1]) + higher[:, None]) / scale[:, None] + wrong
    said = heading - error("heading")
    moment = 1.7e9 + 1000.0 * np.arange(count)
    columns = {
        "x": fixes[..., 0], "y": fixes[..., 1], "t_s": moment[:, None] + t, "heading_deg": (said % 360)[:, None],
        "course_deg": heading[:, None], "speed_mps": speed[:, None], "turn_dps": 0.0, "depth_m": sounder, "pass_id": 1,
        "outing": np.char.add("day ", np.arange(count).astype(str)).astype(object)[:, None],
        "heading_source": "compass", "depth_source": "sounder", "sample_id": np.arange(t.shape[1])[None, :]}
    track = {name: np.broadcast_to(np.asarray(values), t.shape).ravel() for name, values in columns.items()}
    track.update(sigma_heading_deg=sigma["heading"], range_m=1000.0, sound_speed_mps=WATER_SPEED,
                 sigma_pos_m=np.sqrt(sigma["bias"]**2 + sigma["slow"]**2 + sigma["jitter"]**2))
    picks = {"t_s": moment + wait, "side": side, "slant_m": slant / scale + error("range")}
    return Recorded(track, picks, place[:, 0], place[:, 1], reach)


def located(rec, bottom, sigma, model="terrain"):
    """What the code under test makes of recorded picks, its sigmas those they were drawn with."""
    columns = dict(rec.track)
    track = tracks.made(CRS, columns.pop("x"), columns.pop("y"), columns.pop("heading_deg"), **columns)
    grid = grid_of(bottom)
    settings = LocateSettings(stated=stated(sigma), range_model=model)
    return locate(track, Picks.of(len(rec.ground), **rec.picks), settings, None,
                  ground_on(grid, anchored(track, grid)))
