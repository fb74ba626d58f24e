"""Inner and outer edge of what each sample saw, on a flat bottom, and how far off the outer edge may be."""
from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from ..beams.pointing import turn_reach
from ..beams.ranges import blind_range, ground_range
from ..model.constants import SOUND_SPEED_FOR_ERRORS_MPS, TWO_SIDED_95
from ..model.errors import InputError
from ..uncertainty import nadir
from ..uncertainty.sigmas import PRESETS, Sigmas, position_parts

if TYPE_CHECKING:
    from numpy.typing import ArrayLike

    from ..model.track import Track

__all__ = ["MERGES", "SwathSettings", "drawn_sigmas", "edge_sigma", "edges", "reach_limit", "used_range"]

MERGES = ("strip", "pass", "all")

_SIGMA_SOUND_KNOWN = 5.0
"""Standard deviation (m/s) that remains where the track was corrected by a measured temperature; a judgement."""


@dataclass(frozen=True)
class SwathSettings:
    """How swaths are drawn; ranges and sigmas in metres.

    ``sides`` holds -1 (port) and/or +1. ``blind_deg`` is not counted on either side of the vertical. Of the range in
    force only ``range_share`` is trusted, and never more than ``range_limit_m``. ``keep_turns`` keeps what the inner
    side of a turn sees beyond its centre. ``thin_m``: of samples closer together along the track one is drawn.
    ``sigmas`` are those behind ``sigma_edge_m``.

    Examples
    --------
    >>> import athwart
    >>> athwart.SwathSettings(blind_deg=0.0, merge="pass").range_model
    'slant'
    >>> try:
    ...     athwart.SwathSettings(blind_deg=95.0)
    ... except athwart.InputError as error:
    ...     print(str(error)[:32])
    ...
    The blind angle is 95 degrees. I
    """

    range_model: str = "slant"
    sides: tuple = (-1, 1)
    blind_deg: float = 20.0
    range_share: float = 1.0
    range_limit_m: float = math.inf
    keep_turns: bool = False
    merge: str = "strip"
    thin_m: float = 1.0
    sigmas: Sigmas = PRESETS["ordinary"]

    def __post_init__(self) -> None:
        if not 0 <= self.blind_deg < 90:
            raise InputError(f"The blind angle is {self.blind_deg:g} degrees. It is measured from the vertical: give "
                             "at least 0 and less than 90; 20 is common practice.")
        if not 0 < self.range_share <= 1 or not self.range_limit_m > 0:
            raise InputError("The part of the range that is trusted must be more than nothing and at most all of it, "
                             f"but is {100 * self.range_share:g} % and {self.range_limit_m:g} m.")
        if self.merge not in MERGES:
            raise InputError(f"Swaths cannot be merged by '{self.merge}'; choose one of {', '.join(MERGES)}.")
        if not self.sides or not set(self.sides) <= {-1, 1}:
            raise InputError("Choose at least one side, port or starboard.")


def used_range(range_m: ArrayLike, settings: SwathSettings) -> np.ndarray:
    """Slant range (m) the user trusts, of the range in force.

    Examples
    --------
    >>> from athwart.swaths.edges import SwathSettings
    >>> from athwart.swaths.edges import used_range
    >>> used_range([30.0, 20.0], SwathSettings(range_share=0.9)).tolist()
    [27.0, 18.0]
    """
    return np.minimum(np.asarray(range_m, float) * settings.range_share, settings.range_limit_m)


def edges(track: Track, settings: SwathSettings, side: float,
          range_m: np.ndarray | None = None) -> tuple[np.ndarray, np.ndarray]:
    """Ground range between which each sample of a track saw a flat bottom on one side, land not taken into account.

    Parameters
    ----------
    track : survey.model.track.Track
    settings : SwathSettings
    side : {-1, +1}
    range_m : (n,) array, optional
        Slant range in force, default the track's own.

    Returns
    -------
    inner, outer : (n,) arrays, m
        NaN in both where nothing was seen: range, depth or heading unknown, range short of the depth, or all of it
        inside the blind angle.

    Raises
    ------
    InputError
        For a range model that is not a flat one.

    Examples
    --------
    >>> import numpy as np
    >>> from athwart.swaths.edges import edges
    >>> import athwart
    >>> away = np.arange(0.0, 60.0, 2.0)
    >>> fixes = athwart.Fixes("EPSG:32619", 500000 + 0 * away, 4500000 + away, t_s=away / 2)
    >>> track = athwart.prepare(fixes, athwart.TrackSettings(range_m=13.0, depth_m=5.0)).track
    >>> inner, outer = edges(track, athwart.SwathSettings(blind_deg=45.0), 1)
    >>> inner[:2].round(6).tolist(), outer[:2].round(6).tolist()
    ([5.0, 5.0], [12.0, 12.0])
    """
    slant = used_range(track.range_m if range_m is None else range_m, settings)
    outer = np.minimum(ground_range(slant, track.depth_m, settings.range_model), reach_limit(track, settings, side))
    inner = blind_range(track.depth_m, settings.blind_deg)
    seen = outer > inner
    return np.where(seen, inner, np.nan), np.where(seen, outer, np.nan)


def reach_limit(track: Track, settings: SwathSettings, side: float) -> np.ndarray:
    """(n,) ground range (m) beyond which a beam is not drawn: the centre of a turn; NaN without a heading.

    Examples
    --------
    >>> import numpy as np
    >>> from athwart.swaths.edges import reach_limit
    >>> import athwart
    >>> away = np.arange(0.0, 60.0, 2.0)
    >>> fixes = athwart.Fixes("EPSG:32619", 500000 + 0 * away, 4500000 + away, t_s=away / 2)
    >>> track = athwart.prepare(fixes, athwart.TrackSettings(range_m=13.0, depth_m=5.0)).track
    >>> reach_limit(track, athwart.SwathSettings(keep_turns=True), 1)[:2].tolist()
    [inf, inf]
    """
    known = np.isfinite(track.heading_deg + track.mount_deg)
    limit = np.inf if settings.keep_turns else turn_reach(track.speed_mps, track.turn_dps, side)
    return np.where(known, limit, np.nan)


def edge_sigma(track: Track, settings: SwathSettings, range_m: np.ndarray | None = None) -> np.ndarray:
    """Across-track standard deviation of the outer edge from what differs between passes of one outing.

    Slow GNSS drift and jitter (their part of the track's own sigma), the reading of the range, depth and sound speed
    carried into the ground range through q = R^2 - H^2 (half the width of its 95 % interval over 1.96: as from the
    slopes R/G and H/G, but finite down to the nadir), and the heading, G^2 [(1 + exp(-2 s^2)) / 2 - exp(-s^2)]. The
    bias of the whole outing is left to whoever compares outings or a shore.

    Returns
    -------
    (n,) array, m; NaN where range or depth is unknown or the range is short of the depth.

    Examples
    --------
    >>> import numpy as np
    >>> from athwart.swaths.edges import edge_sigma
    >>> import athwart
    >>> away = np.arange(0.0, 60.0, 2.0)
    >>> fixes = athwart.Fixes("EPSG:32619", 500000 + 0 * away, 4500000 + away, t_s=away / 2)
    >>> track = athwart.prepare(fixes, athwart.TrackSettings(range_m=13.0, depth_m=5.0)).track
    >>> edge_sigma(track, athwart.SwathSettings())[5:7].round(2).tolist()
    [0.8, 0.8]
    """
    sigmas, depth = settings.sigmas, track.depth_m
    slant = used_range(track.range_m if range_m is None else range_m, settings)
    speed = np.where(np.isfinite(track.sound_speed_mps), track.sound_speed_mps, SOUND_SPEED_FOR_ERRORS_MPS)
    scale2 = np.square(_sigma_sound(track, sigmas) / speed)
    range2, depth2 = sigmas.sigma_range ** 2, sigmas.sigma_depth ** 2
    if settings.range_model == "subtract":
        ground = ground_range(slant, depth, "subtract")
        by_range = range2 + depth2 + np.square(ground) * scale2
    else:
        ground = ground_range(slant, depth)
        square = np.square(ground)
        low, high = nadir.mapped_bounds(
            square + range2 - depth2, 4 * (np.square(slant) * range2 + np.square(depth) * depth2
                                           + np.square(square) * scale2) + 2 * (range2 ** 2 + depth2 ** 2))
        by_range = np.square((high - low) / (2 * TWO_SIDED_95))
    turn2 = np.square(np.radians(np.nan_to_num(track.sigma_heading_deg)))
    by_heading = np.square(ground) * ((1 + np.exp(-2 * turn2)) / 2 - np.exp(-turn2))
    _, slow, jitter = position_parts(sigmas, track.sigma_pos_m, False)
    return np.sqrt(np.square(slow) + np.square(jitter) + by_range + by_heading)


CONSTANT_DEPTH = 0.1
"""How far the mean depth of a survey may lie from the one depth stated for all of it, as a share; a judgement."""


def drawn_sigmas(track: Track, settings: SwathSettings) -> dict[str, np.ndarray]:
    """By name of the field, (n,) standard deviations from which ``survey.share.drawn_errors`` draws a pass.

    Examples
    --------
    >>> import numpy as np
    >>> from athwart.swaths.edges import drawn_sigmas
    >>> import athwart
    >>> away = np.arange(0.0, 60.0, 2.0)
    >>> fixes = athwart.Fixes("EPSG:32619", 500000 + 0 * away, 4500000 + away, t_s=away / 2)
    >>> track = athwart.prepare(fixes, athwart.TrackSettings(range_m=13.0, depth_m=5.0)).track
    >>> drawn_sigmas(track, athwart.SwathSettings())["sigma_sound_mps"][:2].tolist()
    [15.0, 15.0]
    """
    _, slow, _ = position_parts(settings.sigmas, track.sigma_pos_m, False)
    return {"sigma_drift_m": slow, "sigma_heading_deg": track.sigma_heading_deg,
            "sigma_sound_mps": _sigma_sound(track, settings.sigmas),
            "sigma_depth_m": np.where(track.depth_source == "constant",
                                      np.hypot(settings.sigmas.sigma_depth, CONSTANT_DEPTH * track.depth_m),
                                      settings.sigmas.sigma_depth)}


def _sigma_sound(track: Track, sigmas: Sigmas) -> np.ndarray:
    return np.where(track.range_ratio != 1, min(_SIGMA_SOUND_KNOWN, sigmas.sigma_sound_speed), sigmas.sigma_sound_speed)
