"""Attributes of swath features, from the beams that drew them."""
from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from ..model.table import Floats, Ints, Table
from ..model.track import side_name
from .edges import drawn_sigmas, edge_sigma, used_range

__all__ = ["DrawnBeams", "swath_columns"]


@dataclass(eq=False, repr=False)
class DrawnBeams(Table):
    """(k,) arrays: ``key`` of the feature, ``row`` of the strip rows, ``inner`` and ``outer`` edge (m), ``side``."""

    key: Ints
    row: Ints
    inner: Floats
    outer: Floats
    side: Ints


def swath_columns(track, rows, beams, keys, settings):
    """Columns of ``schemas.SWATHS`` but for the area.

    Parameters
    ----------
    track : survey.model.track.Track
    rows : survey.swaths.fan.StripRows
    beams : DrawnBeams
    keys : sorted list of int
        The features, in the order of the columns.
    settings : survey.swaths.edges.SwathSettings

    Returns
    -------
    dict of (n,) arrays by field name; sides that differ are 'both', outings that differ '', passes that differ NaN
    """
    keep = np.flatnonzero(np.isin(beams.key, keys))
    group = np.searchsorted(keys, beams.key[keep])
    sample = rows.sample[beams.row[keep]]
    owner = rows.owner[beams.row[keep]]
    lent = track.pass_id[sample] != track.pass_id[owner]  # the beam that closes a pass is counted in the next
    order = np.lexsort((lent, sample, group))
    keep, group, sample, owner, lent = keep[order], group[order], sample[order], owner[order], lent[order]
    head = np.searchsorted(group, np.arange(len(keys)))
    slant = rows.range_m[beams.row[keep]]
    sigma = edge_sigma(track.take(sample), settings, slant)
    fresh = np.ones(len(sample), bool)
    fresh[1:] = (sample[1:] != sample[:-1]) | (group[1:] != group[:-1])
    fresh &= ~lent
    return {
        "outing": _single(track.outing[owner], head, ""),
        "pass_id": _single(track.pass_id[owner].astype(float), head, np.nan),
        "side": np.array([side_name(s) for s in _single(beams.side[keep], head, 0)], object),
        "start_time": np.fmin.reduceat(track.t_s[sample], head),
        "end_time": np.fmax.reduceat(track.t_s[sample], head),
        "range_m": _mean(slant, head),
        "depth_m": _mean(track.depth_m[sample], head),
        "inner_m": _mean(beams.inner[keep], head),
        "outer_m": _mean(beams.outer[keep], head),
        "speed_mps": _mean(track.speed_mps[sample], head),
        "samples": np.add.reduceat(fresh.astype(int), head),
        "range_model": np.full(len(keys), settings.range_model, object),
        "blind_deg": np.full(len(keys), float(settings.blind_deg)),
        "sigma_edge_m": np.sqrt(_mean(np.square(sigma), head)),
        "range_used_pct": _mean(100 * used_range(slant, settings) / slant, head),
        **{name: np.sqrt(_mean(np.square(values), head))
           for name, values in drawn_sigmas(track.take(sample), settings).items()},
    }


def _mean(values, head):
    """Mean of the known values of each group, NaN where there are none."""
    total, count = (np.add.reduceat(v, head) for v in (np.nan_to_num(values), np.isfinite(values).astype(float)))
    return np.divide(total, count, out=np.full(len(head), np.nan), where=count > 0)


def _single(values, head, mixed):
    """The value of each group where it has only one, else ``mixed``."""
    found = values[head].copy()
    other = values != np.repeat(found, np.diff(np.append(head, len(values))))
    found[np.logical_or.reduceat(other, head)] = mixed
    return found
