"""Adjusted places as rows of a targets layer: one for each object, with what its looks agree on."""
from __future__ import annotations

import numpy as np

from ..model.track import OUTINGS_PARTED
from ..targets.budget import CAUSES
from ..targets.positioning import outlines
from ..uncertainty.ellipses import axes, circle_radius, scale_factor
from .least_squares import BLUNDER
from .looks import OUTING_ERRORS, PASS_ERRORS

__all__ = ["STATUSES", "combined_columns", "offset_rows"]

STATUSES = ("bottom", "near nadir", "off grid", "ambiguous", "side unsure", "water column")
"""Best first: an object seen well once is called by its best look."""

_CAUSE_OF = {"pass_east_m": "position", "pass_north_m": "position", "heading_deg": "heading",
             "bias_east_m": "position", "bias_north_m": "position", "latency_s": "timing", "mount_deg": "offsets",
             "lever_forward_m": "offsets", "lever_starboard_m": "offsets", "scale": "sound", "trim_deg": "offsets",
             "depth_offset_m": "depth"}
_ALIKE = ("outing", "pass_id", "sample_id", "side", "range_model", "slant_m", "ground_m", "ground_lo_m", "ground_hi_m",
          "heading_deg", "bearing_deg")


def combined_columns(frame, columns, looks, group, adjustment, confidence, doubt=None):
    """Columns of the combined targets.

    Parameters
    ----------
    frame : Frame
    columns : dict
        Of the located targets, as given to ``RepeatedLooks.of``.
    looks : RepeatedLooks
    group : (n,) int array
    adjustment : Adjustment
    confidence : float
        Fraction, of the ellipses and circles.
    doubt : (g,) object array of str, optional
        Why the ellipse of each object does not hold, '' where it does.

    Returns
    -------
    x, y : (g,) arrays in the units of the frame's CRS
    ellipses : (g,) object array of polygons in that CRS
    found : dict of (g,) arrays by the names of ``schemas.COMBINED``
        What describes one pick only (its slant, heading, side) is kept where the object has one look, or where all
        agree; what the adjustment starts from is left out, so that no object is combined twice.
    """
    count = len(adjustment.place)
    x, y = frame.inverse(*adjustment.place.T)
    turn = np.radians(frame.convergence(*adjustment.place.T))
    cov = _to_true(adjustment.covariance, turn)
    major, minor, azimuth = axes(cov[:, 0, 0], cov[:, 0, 1], cov[:, 1, 1])
    k = scale_factor(confidence)
    rows = [np.flatnonzero(group == g) for g in range(count)]
    found = {name: _agreed(columns[name], rows) for name in _ALIKE if name in columns}
    found.update(_described(columns, rows))
    worst = np.nan_to_num(np.abs(adjustment.w)).max(axis=1)
    found.update(
        target_id=np.arange(1, count + 1), looks=np.array([len(r) for r in rows]),
        passes=np.array([len(set(looks.pass_no[r].tolist())) for r in rows]),
        members=_members(columns, rows), max_w=np.array([worst[r].max() for r in rows]),
        blunders=np.array([(worst[r] > BLUNDER).sum() for r in rows]),
        sigma_east_m=np.sqrt(cov[:, 0, 0]), sigma_north_m=np.sqrt(cov[:, 1, 1]), cov_en_m2=cov[:, 0, 1],
        semi_major_m=k * major, semi_minor_m=k * minor, azimuth_deg=azimuth,
        confidence_pct=np.full(count, 100 * confidence), radius_m=circle_radius(major, minor, confidence))
    found["max_w"][found["looks"] == 1] = np.nan
    found["doubt"] = _mixed(columns, rows, np.full(count, "", object) if doubt is None else doubt)
    shares = _shares(columns, looks, group, adjustment)
    found.update({f"pct_{cause}": shares[:, i] for i, cause in enumerate(CAUSES)})
    found["main_cause"] = np.array(list(CAUSES), object)[shares.argmax(axis=1)]
    ellipses = outlines(frame, adjustment.place, k * major, k * minor, azimuth - np.degrees(turn))
    return np.asarray(x, float), np.asarray(y, float), ellipses, found


def _mixed(columns, rows, doubt):
    """The doubts, with those of objects that a look in the water column was named as one of."""
    status = np.asarray(columns["status"]).astype(str)
    said = np.array(doubt, object)
    for g, r in enumerate(rows):
        hanging = status[r] == "water column"
        if hanging.any() and not hanging.all():
            text = f"{hanging.sum()} of its looks hang{'s' * int(hanging.sum() == 1)} in the water column"
            said[g] = f"{said[g]}; {text}" if said[g] else text
    return said


def _to_true(covariance, angle):
    c, s = np.cos(angle), np.sin(angle)
    turn = np.stack([np.stack([c, s], -1), np.stack([-s, c], -1)], -2)
    return turn @ covariance @ np.swapaxes(turn, 1, 2)


def _agreed(values, rows):
    """The value that all looks of a group share, else unknown."""
    values = np.asarray(values)
    found = [values[r[0]] if len(set(values[r].tolist())) == 1 else None for r in rows]
    if values.dtype.kind in "OUS":
        return np.array([v or "" for v in found], object)
    return np.array(found, float)


def _described(columns, rows):
    """Label, status, first time, mean depth and weighted height of each object."""
    label = [next((str(v) for v in np.asarray(columns["label"], object)[r] if v), "") for r in rows]
    rank = {name: i for i, name in enumerate(STATUSES)}
    status = [min(np.asarray(columns["status"], object)[r], key=lambda s: rank.get(s, 0)) for r in rows]
    t_s, depth, height, sigma = (np.asarray(columns[name], float)
                                 for name in ("t_s", "depth_m", "height_m", "sigma_height_m"))
    bottom = np.asarray(columns.get("bottom_m", np.full(len(t_s), np.nan)), float)
    least = np.isfinite(height) & (np.asarray(columns.get("height_at_least", np.zeros(len(height)))) == 1)
    whole = [r[np.isfinite(height[r]) & ~least[r]] for r in rows]  # a shadow seen to its end says more than one cut off
    heights = np.array([_weighted(height[r], sigma[r]) if len(r) else _highest(height[cut], sigma[cut])
                        for r, cut in zip(whole, rows)])
    return {"label": np.array(label, object), "status": np.array(status, object),
            "t_s": np.array([_kept(t_s[r], np.min) for r in rows]),
            "depth_m": np.array([_kept(depth[r], np.mean) for r in rows]),
            "bottom_m": np.array([_kept(bottom[r], np.min) for r in rows]),  # no look is to find it shallower
            "height_m": heights[:, 0], "sigma_height_m": heights[:, 1],
            "height_at_least": np.array([not len(r) and bool(least[cut].any()) for r, cut in zip(whole, rows)])}


def _kept(values, settings):
    values = values[np.isfinite(values)]
    return float(settings(values)) if len(values) else np.nan


def _weighted(values, sigmas):
    """Mean weighted by 1 / sigma^2, and its sigma: readings of different shadows are fresh each time."""
    good = np.isfinite(values) & (sigmas > 0)
    if not good.any():
        return np.nan, np.nan
    weight = 1 / np.square(sigmas[good])
    return float((weight * values[good]).sum() / weight.sum()), float(weight.sum() ** -0.5)


def _highest(values, sigmas):
    """The highest of heights that are the least they can be, and its sigma."""
    if not np.isfinite(values).any():
        return np.nan, np.nan
    k = int(np.nanargmax(values))
    return float(values[k]), float(sigmas[k])


def _members(columns, rows):
    ids = np.asarray(columns["target_id"], float)
    return np.array([", ".join(f"{v:.0f}" for v in ids[r] if np.isfinite(v)) for r in rows], object)


def _shares(columns, looks, group, adjustment):
    """(g, 8) percent of each place's variance (trace) by cause, in the order of ``CAUSES``.

    Shared errors: squares of the place's covariance with each (they count in units of their priors). What is left is
    fresh in the looks, and is split as the looks' own shares say, by the weight of each look in the place.
    """
    names = list(CAUSES)
    kinds = np.array([names.index(_CAUSE_OF[n]) for n in PASS_ERRORS + OUTING_ERRORS])
    unknowns = adjustment.unknowns
    kind_of = np.empty(unknowns.count, int)
    kind_of[unknowns.index] = np.broadcast_to(kinds, unknowns.index.shape)
    by_unknown = np.square(adjustment.shared).sum(axis=1)                                # (g, m)
    total = np.trace(adjustment.covariance, axis1=1, axis2=2)
    shares = np.stack([by_unknown[:, kind_of == i].sum(axis=1) for i in range(len(names))], axis=1)
    fresh = np.maximum(total - shares.sum(axis=1), 0.0)
    shares += fresh[:, None] * _fresh_split(columns, looks, group, kinds)
    return 100 * shares / shares.sum(axis=1, keepdims=True)


def _fresh_split(columns, looks, group, kinds):
    """(g, 8) split of what is fresh in the looks of each object."""
    trace = sum(np.square(np.asarray(columns[name], float)) for name in ("sigma_east_m", "sigma_north_m"))
    stated = np.column_stack([np.asarray(columns[f"pct_{c}"], float) for c in CAUSES]) / 100 * trace[:, None]
    each = np.square(looks.sensitivities()).sum(axis=1)                                  # (n, 12)
    own = np.stack([stated[:, i] - each[:, kinds == i].sum(axis=1) for i in range(stated.shape[1])], axis=1)
    own = np.maximum(np.nan_to_num(own), 0.0) + 1e-12
    own /= own.sum(axis=1, keepdims=True)
    weight = np.trace(np.linalg.inv(looks.own), axis1=1, axis2=2)
    split = np.zeros((group.max() + 1, own.shape[1]))
    np.add.at(split, group, own * weight[:, None])
    return split / split.sum(axis=1, keepdims=True)


def offset_rows(adjustment, looks, boats, outings):
    """Columns of the table of solved offsets: what each was, its sigma, its correlation with the boat's others.

    Parameters
    ----------
    adjustment : Adjustment
    looks : RepeatedLooks
    boats, outings : sequences of str
        Names by ``boat_no`` and ``outing_no``.
    """
    names, of = adjustment.names, adjustment.boats
    words = [", ".join(f"{other} {adjustment.correlation[i, j]:+.2f}" for j, other in enumerate(names)
                       if j != i and of[i] == of[j]) for i in range(len(names))]
    mine = [OUTINGS_PARTED.join(outings[k] for k in np.unique(looks.outing_no[looks.boat_no == boat])) for boat in of]
    return {"name": np.array(names, object), "value": adjustment.value, "sigma": adjustment.sigma,
            "applied": adjustment.unknowns.applied, "prior_sigma": adjustment.prior_sigma,
            "correlations": np.array(words, object), "boat": np.array([boats[boat] for boat in of], object),
            "outings": np.array(mine, object)}
