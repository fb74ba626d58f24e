"""How small an object a look would show: hits along the track, width of the beam, length of the shadow.

A cube of side D is detected where D f / vb >= ``min_hits``, 2 r tan(theta / 2) <= D, its shadow fits on the record and
is ``min_shadow_m`` long, and the grazing angle is within its limit. NOAA's specifications ask for three hits on a cube
of 1 m (HSSD 2021, 6.1.2.2); ping rate c / (2 R) at most, with f the rate and vb the speed of the beam over the ground.
"""
from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from ..model.errors import InputError

__all__ = ["COLD_FRESH_MPS", "DetectionSettings", "ping_rate", "smallest_object"]

COLD_FRESH_MPS = 1402.4
"""Sound in fresh water at 0 degrees (Marczak 1997): the slowest there is, taken where the track does not know."""


@dataclass(frozen=True)
class DetectionSettings:
    """What counts as detected.

    ``object_size_m``: side of the cube. ``beam_width_deg``: along the track, full width. ``min_hits`` pings on it;
    ``min_shadow_m`` of shadow along the slant range; ``min_grazing_deg`` between ray and bottom, by default NOAA's rule
    that below 8 % of the range only 12.5 times the height counts. ``ping_rate_hz`` if known, else ``ping_share`` of the
    highest possible.

    Examples
    --------
    >>> import athwart
    >>> athwart.DetectionSettings(object_size_m=0.5).min_hits
    3.0
    """

    object_size_m: float = 1.0
    beam_width_deg: float = 1.5
    min_hits: float = 3.0
    min_shadow_m: float = 0.3
    min_grazing_deg: float = 4.6
    ping_rate_hz: float = None
    ping_share: float = 0.5

    def __post_init__(self) -> None:
        for name, value, high, unit in (
                ("object size", self.object_size_m, math.inf, "m"), ("beam width", self.beam_width_deg, 90, "degrees"),
                ("number of hits", self.min_hits, math.inf, ""), ("shadow length", self.min_shadow_m, math.inf, "m"),
                ("ping rate", self.ping_rate_hz, math.inf, "Hz")):
            if value is not None and not 0 < value < high:
                raise InputError(f"The {name} is {value:g} {unit}; give a number above 0"
                                 + (f" and below {high:g}." if high < math.inf else "."))
        if not 0 <= self.min_grazing_deg < 90:
            raise InputError(f"The least grazing angle is {self.min_grazing_deg:g} degrees; give 0 or more, below 90.")
        if not 0 < self.ping_share <= 1:
            raise InputError(f"The share of the highest ping rate is {self.ping_share:g}; give more than 0, at most 1.")


def ping_rate(range_m: np.ndarray, sound_speed_mps: np.ndarray, settings: DetectionSettings) -> np.ndarray:
    """Pings a second.

    Parameters
    ----------
    range_m, sound_speed_mps : (n,) arrays
        True range in force and sound speed; an unknown speed is taken as the slowest, so that nothing looks better.
    settings : DetectionSettings

    Returns
    -------
    (n,) array, Hz
        Never more than c / (2 R): a ping goes out when the last one is back from the range.

    Examples
    --------
    >>> import numpy as np
    >>> from athwart.ensonify.detection import DetectionSettings
    >>> from athwart.ensonify.detection import ping_rate
    >>> ping_rate(np.array([30.0]), np.array([1500.0]), DetectionSettings(ping_share=0.5)).tolist()
    [12.5]
    """
    speed = np.where(np.isfinite(sound_speed_mps), sound_speed_mps, COLD_FRESH_MPS)
    highest = speed / (2 * np.asarray(range_m, float))
    if settings.ping_rate_hz is None:
        return highest * settings.ping_share
    return np.minimum(settings.ping_rate_hz, highest)


def smallest_object(pitch: np.ndarray, slant: np.ndarray, depth: np.ndarray, range_m: np.ndarray,
                    settings: DetectionSettings) -> np.ndarray:
    """Side of the smallest cube a look would show.

    Parameters
    ----------
    pitch : array, m
        Distance between pings over the ground at the place, |v - side G omega| / f.
    slant, depth : arrays, m
        Slant range of the place, and how deep the ground around it would lie under the transducer if it ran on with its
        slope; on a flat bottom simply the depth.
    range_m : array or float, m
        Slant range in force.
    settings : DetectionSettings
        Its grazing limit is left to the caller.

    Returns
    -------
    array, m
        The largest of the sizes at which hits, beam and shadow suffice; infinite where a shadow of the length asked for
        does not fit between the place and the range.

    Notes
    -----
    On ground z(g) = z0 + m g below the transducer, g outward, a top D above the ground at g stands in the sight line of
    slope (z(g) - D) / g, which meets the ground again at g z0 / (z0 - D): all of it is stretched by Re / Rt = z0 / (z0
    - D), whatever the slope m. So D = z0 (Re - Rt) / Re as on a flat bottom of depth z0. Ground that rises outward has
    a large z0 and short shadows; ground that falls away a small one and long shadows.

    Examples
    --------
    >>> import numpy as np
    >>> from athwart.ensonify.detection import DetectionSettings
    >>> from athwart.ensonify.detection import smallest_object
    >>> one = np.ones(1)
    >>> settings = DetectionSettings(beam_width_deg=1.5)
    >>> smallest_object(0.1 * one, 20.0 * one, 5.0 * one, 30.0 * one, settings).round(2).tolist()
    [0.52]
    """
    shadow = settings.min_shadow_m
    size = np.maximum(settings.min_hits * pitch, slant * (2 * math.tan(math.radians(settings.beam_width_deg) / 2)))
    size = np.maximum(size, depth * shadow / (slant + shadow))
    return np.where(slant + shadow <= range_m, size, np.inf)
