"""Standard deviations of what goes into a target's place, and ready-made sets of them.

Every number here is a judgement of what small boats reach, not a standard: replace whatever you have measured.
"""
from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np

from ..model.errors import InputError

__all__ = ["PRESETS", "Sigmas", "chosen", "position_parts"]

_MOST = 1000.0


@dataclass(frozen=True)
class Sigmas:
    """One standard deviation of each cause.

    ``bias``, ``slow`` and ``jitter`` are the GNSS error per axis (m): constant over an outing, drifting from pass to
    pass, fresh in each pick. ``heading`` (degrees) serves where the track gives none. ``range``, ``depth``, ``height``
    (m): reading the slant range, water under the transducer, height of an object that shows no shadow. ``time`` and
    ``hand_time`` (s): a moment read off the record, a button pressed on the boat. ``latency`` (s), ``offset`` (m, each
    axis of the lever arm), ``mount`` and ``trim`` (degrees), ``sound_speed`` (m/s), ``beam_width`` (degrees).
    """

    bias: float
    slow: float
    jitter: float
    heading: float
    range: float
    depth: float
    height: float
    time: float
    hand_time: float
    latency: float
    offset: float
    mount: float
    trim: float
    sound_speed: float
    beam_width: float


PRESETS = {
    "ordinary": Sigmas(bias=2.0, slow=0.5, jitter=0.5, heading=3.0, range=0.3, depth=0.2, height=0.5, time=0.5,
                       hand_time=1.0, latency=0.5, offset=0.3, mount=2.0, trim=2.0, sound_speed=15.0, beam_width=1.5),
    "careful": Sigmas(bias=1.0, slow=0.3, jitter=0.3, heading=2.0, range=0.2, depth=0.15, height=0.3, time=0.3,
                      hand_time=0.7, latency=0.2, offset=0.1, mount=1.0, trim=1.0, sound_speed=5.0, beam_width=1.5),
    "survey": Sigmas(bias=0.3, slow=0.1, jitter=0.1, heading=0.5, range=0.1, depth=0.1, height=0.2, time=0.1,
                     hand_time=0.5, latency=0.05, offset=0.05, mount=0.5, trim=0.5, sound_speed=2.0, beam_width=1.0),
}
"""``ordinary``: a recreational receiver and sounder, nothing calibrated; a warm surface may hide cold water, hence
15 m/s. ``careful``: satellite corrections, offsets measured with a tape, latency solved once, the water column's
temperature known. ``survey``: corrected positions, a true compass, a calibrated boat."""


def chosen(preset, **given):
    """A preset with every sigma that is not None put in its place.

    Raises
    ------
    InputError
        For an unknown preset, or a sigma that is negative, endless or absurd (over 1000).

    Examples
    --------
    >>> from athwart.uncertainty.sigmas import chosen
    >>> chosen("careful", heading=1.0).heading
    1.0
    """
    if preset not in PRESETS:
        raise InputError(f"There is no set of errors '{preset}'; choose one of {', '.join(PRESETS)}.")
    stated = {name: float(value) for name, value in given.items() if value is not None}
    for name, value in stated.items():
        if not (math.isfinite(value) and 0 <= value <= _MOST):
            raise InputError(f"A standard deviation of {value:g} for {name} cannot be right; "
                             "give zero or a positive number, or leave it blank.")
    if "time" in stated:
        stated["hand_time"] = stated["time"]
    return replace(PRESETS[preset], **stated)


def position_parts(sigmas, total, stated):
    """GNSS sigmas of the outing, the pass and the pick.

    Parameters
    ----------
    sigmas : Sigmas
    total : (n,) array, m
        The track's own sigma per axis from all causes, NaN where it has none.
    stated : bool
        True when the user gave one of the three: then they hold, and the track's total is not asked.

    Returns
    -------
    bias, slow, jitter : (n,) arrays, m
        The preset's three, scaled so that their squares add up to the track's total.

    Examples
    --------
    >>> import numpy as np
    >>> from athwart.uncertainty.sigmas import PRESETS
    >>> from athwart.uncertainty.sigmas import position_parts
    >>> bias, slow, jitter = position_parts(PRESETS["ordinary"], np.array([4.0]), False)
    >>> float((bias ** 2 + slow ** 2 + jitter ** 2)[0].round(6))
    16.0
    """
    total = np.asarray(total, float)
    parts = np.array([sigmas.bias, sigmas.slow, sigmas.jitter])
    whole = float(np.sqrt(np.square(parts).sum()))
    scale = np.ones(total.shape) if stated else np.where(np.isfinite(total), total / whole, 1.0)
    return tuple(part * scale for part in parts)
