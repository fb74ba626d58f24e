"""What a continuous beam sees: truth for maps of bottom seen, found by bisection and a march of 2 cm.

Shares nothing with the code under test but the bilinear surface: between two samples the boat runs straight and the
heading turns evenly; a place is looked at when the beam sweeps over it.
"""
import numpy as np


def surface(values, left, top, cell):
    """Bilinear ``depth(east, north)`` of an array of cell middles, north up."""
    def depth(east, north):
        col, row = (east - left) / cell - 0.5, (top - north) / cell - 0.5
        c = np.clip(np.floor(col), 0, values.shape[1] - 2).astype(int)
        r = np.clip(np.floor(row), 0, values.shape[0] - 2).astype(int)
        a, b = col - c, row - r
        return ((1 - b) * ((1 - a) * values[r, c] + a * values[r, c + 1])
                + b * ((1 - a) * values[r + 1, c] + a * values[r + 1, c + 1])).astype(float)
    return depth


def sweeps_over(east, north, azimuth, pass_id, places, reach):
    """When the beam, either side, sweeps over places.

    Parameters
    ----------
    east, north, azimuth, pass_id : (n,) arrays
        Samples; azimuth of the bow in degrees, unwrapped.
    places : (m, 2) array
    reach : float

    Returns
    -------
    (place, interval, share) arrays, one entry for each time
    """
    at = np.column_stack([east, north])
    found = []
    centre, half = (at[1:] + at[:-1]) / 2, np.hypot(*np.diff(at, axis=0).T) / 2
    for one in np.unique(pass_id):
        part = np.flatnonzero((pass_id[1:] == one) & (pass_id[:-1] == one))
        low = at[part].min(axis=0) - reach - 5
        high = at[part].max(axis=0) + reach + 5
        near = np.flatnonzero(((places > low) & (places < high)).all(axis=1))
        for block in np.array_split(near, max(1, len(near) * len(part) // 2_000_000)):
            gap = np.hypot(*(places[block][:, None] - centre[part]).transpose(2, 0, 1))
            p, i = np.nonzero(gap < reach + half[part])
            p, i = block[p], part[i]

            def ahead(t, p=p, i=i):
                a = np.radians(azimuth[i] + t * (azimuth[i + 1] - azimuth[i]))
                rest = places[p] - at[i] - t[:, None] * (at[i + 1] - at[i])
                return rest[:, 0] * np.sin(a) + rest[:, 1] * np.cos(a)
            low_t, high_t = np.zeros(len(p)), np.ones(len(p))
            start, end = ahead(low_t), ahead(high_t)
            crossed = (start > 0) != (end > 0)
            for _ in range(40):
                middle = (low_t + high_t) / 2
                same = (ahead(middle) > 0) == (start > 0)
                low_t, high_t = np.where(same, middle, low_t), np.where(same, high_t, middle)
            found.append((p[crossed], i[crossed], low_t[crossed]))
    return tuple(np.concatenate(part) for part in zip(*found))


def seen_at(east, north, azimuth, depth, places, when, slant, blind_deg, stride=0.02, slack=0):
    """For each sweep over a place: 2 seen, 1 hidden by nearer ground, 0 out of range or in the blind angle.

    ``slack`` 1 is generous, -1 is strict, by 2 % of a sight line and 5 cm of an edge: what all three agree on is sure.
    Strict leaves out ground within half a metre, which on any slope looks much alike.
    """
    place, interval, share = when
    state = np.zeros(len(place), int)
    at = np.column_stack([east, north])
    for block in np.array_split(np.arange(len(place)), max(1, len(place) // 500)):
        i, t = interval[block], share[block][:, None]
        boat = at[i] + t * (at[i + 1] - at[i])
        to = places[place[block]] - boat
        ground = np.hypot(*to.T)
        along = to / ground[:, None]
        bottom = depth(*places[place[block]].T)
        g = np.arange(stride, ground.max(initial=0) + stride, stride)
        z = depth(boat[:, :1] + g * along[:, :1], boat[:, 1:] + g * along[:, 1:])
        nearer = g < ground[:, None] - max(1e-9, 0.5 * -slack)
        clear = (np.where(nearer, z / g, np.inf)).min(axis=1, initial=np.inf) >= bottom / ground * (1 - 0.02 * slack)
        fits = ((np.hypot(ground, bottom) <= slant + 0.05 * slack)
                & (ground >= bottom * np.tan(np.radians(blind_deg)) - 0.05 * slack))
        state[block] = np.where(fits, 1 + clear, 0)
    return state


def looks(east, north, azimuth, pass_id, depth, places, slant, blind_deg=20.0, stride=0.02):
    """(looks, hidden) of each place: in how many passes it was seen, and whether some look found it hidden."""
    when = sweeps_over(east, north, azimuth, pass_id, places, slant)
    state = seen_at(east, north, azimuth, depth, places, when, slant, blind_deg, stride)
    seen = np.unique(np.column_stack([when[0], pass_id[when[1]]])[state == 2], axis=0)
    count = np.bincount(seen[:, 0].astype(int), minlength=len(places))
    hidden = np.zeros(len(places), bool)
    hidden[when[0][state == 1]] = True
    return count, hidden


def near_ends(east, north, azimuth, places, within=0.1):
    """Places within so many metres of the line of the first or the last beam."""
    near = np.zeros(len(places), bool)
    for i in (0, -1):
        a = np.radians(azimuth[i])
        near |= np.abs((places[:, 0] - east[i]) * np.sin(a) + (places[:, 1] - north[i]) * np.cos(a)) < within
    return near
