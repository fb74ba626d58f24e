"""Standard deviations of what goes into a target's place, and ready-made sets of them.

Every number here is a judgement of what small boats reach, not a standard: replace whatever you have measured.
"""
from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np

from ..model.errors import InputError
from ..model.messages import Message, Setting

__all__ = ["PRESETS", "Sigmas", "chosen", "position_parts"]

_MOST = 1000.0


@dataclass(frozen=True)
class Sigmas:
    """One standard deviation of each cause.

    ``sigma_bias``, ``sigma_pass`` and ``sigma_jitter`` are the GNSS error per axis (m): constant over an outing,
    drifting from pass to pass, fresh in each pick. ``sigma_heading`` (degrees) serves where the track gives none.
    ``sigma_range``, ``sigma_depth``, ``sigma_height`` (m): reading the slant range, water under the transducer, height
    of an object that shows no shadow. ``sigma_time`` and ``sigma_hand_time`` (s): a moment read off the record, a
    button pressed on the boat. ``sigma_latency`` (s), ``sigma_offset`` (m, each axis of the lever arm), ``sigma_mount``
    and ``sigma_trim`` (degrees), ``sigma_sound_speed`` (m/s), ``beam_width`` (degrees).
    """

    sigma_bias: float
    sigma_pass: float
    sigma_jitter: float
    sigma_heading: float
    sigma_range: float
    sigma_depth: float
    sigma_height: float
    sigma_time: float
    sigma_hand_time: float
    sigma_latency: float
    sigma_offset: float
    sigma_mount: float
    sigma_trim: float
    sigma_sound_speed: float
    beam_width: float


PRESETS = {
    "ordinary": Sigmas(
        sigma_bias=2.0, sigma_pass=0.5, sigma_jitter=0.5, sigma_heading=3.0, sigma_range=0.3, sigma_depth=0.2,
        sigma_height=0.5, sigma_time=0.5, sigma_hand_time=1.0, sigma_latency=0.5, sigma_offset=0.3, sigma_mount=2.0,
        sigma_trim=2.0, sigma_sound_speed=15.0, beam_width=1.5),
    "careful": Sigmas(
        sigma_bias=1.0, sigma_pass=0.3, sigma_jitter=0.3, sigma_heading=2.0, sigma_range=0.2, sigma_depth=0.15,
        sigma_height=0.3, sigma_time=0.3, sigma_hand_time=0.7, sigma_latency=0.2, sigma_offset=0.1, sigma_mount=1.0,
        sigma_trim=1.0, sigma_sound_speed=5.0, beam_width=1.5),
    "survey": Sigmas(
        sigma_bias=0.3, sigma_pass=0.1, sigma_jitter=0.1, sigma_heading=0.5, sigma_range=0.1, sigma_depth=0.1,
        sigma_height=0.2, sigma_time=0.1, sigma_hand_time=0.5, sigma_latency=0.05, sigma_offset=0.05, sigma_mount=0.5,
        sigma_trim=0.5, sigma_sound_speed=2.0, beam_width=1.0),
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
    >>> chosen("careful", sigma_heading=1.0).sigma_heading
    1.0
    """
    if preset not in PRESETS:
        raise InputError(f"There is no set of errors '{preset}'; choose one of {', '.join(PRESETS)}.", field="errors")
    stated = {name: float(value) for name, value in given.items() if value is not None}
    for name, value in stated.items():
        if not (math.isfinite(value) and 0 <= value <= _MOST):
            raise InputError(Message("A standard deviation of {given:g} for {name} cannot be right; give zero or a "
                                     "positive number, or leave it out.", given=value, name=Setting(name)))
    if "sigma_time" in stated:
        stated["sigma_hand_time"] = stated["sigma_time"]
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
    sigma_bias, sigma_pass, sigma_jitter : (n,) arrays, m
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
    parts = np.array([sigmas.sigma_bias, sigmas.sigma_pass, sigmas.sigma_jitter])
    whole = float(np.sqrt(np.square(parts).sum()))
    scale = np.ones(total.shape) if stated else np.where(np.isfinite(total), total / whole, 1.0)
    return tuple(part * scale for part in parts)
