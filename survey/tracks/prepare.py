"""From a log to a prepared track: every correction of an outing is made here, once, and travels with the track.

Four stages, each in the room of its name: the fixes are cleaned, the boat's motion is found at sonar times, every
sample gets its depth and its range, and the whole is cut into passes. Samples are the log's own fixes: none are
invented between sparse ones. What lies between two samples of an unbroken run is read off them wherever it is needed,
strips of bottom along an arc, all else straight: a fix every 10 s serves.
"""
from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from ..depths.depth_and_range import depth_and_range
from ..fixes.clean import clean_fixes
from ..geometry import ground
from ..model.messages import Message
from ..model.rejections import Rejections
from ..model.track import Track
from ..motion.boat import boat_motion, compass_doubt
from ..passes.cut import NO_PASS, cut_passes
from ..passes.table import pass_table
from .notes import describe

if TYPE_CHECKING:
    from collections.abc import Callable
    from typing import Any

    from ..depths.depth_and_range import DepthAndRange
    from ..fixes.arrange import Fixes
    from ..fixes.clean import CleanFixes
    from ..motion.boat import BoatMotion
    from ..passes.cut import CutPasses
    from .settings import TrackSettings

__all__ = ["Prepared", "prepare"]


@dataclass
class Prepared:
    """What ``prepare`` returns.

    ``track``: the Track. ``rows`` (n,): the fix (row of the input) each sample came from. ``passes``: columns of the
    passes by field name, and ``lines`` their shapely lines in crs units. ``tally``: fixes that gave no sample, by
    reason. ``rejected``: those, and the samples that must not be used. ``thinned``: fixes left out for spacing alone.
    ``length_m``: ground length of all passes. ``notes``, ``warnings``: whole sentences for the log. ``left_out``:
    columns of passes that are none, without a length or a usable sample.
    """

    track: Track
    rows: np.ndarray
    passes: dict
    lines: list
    tally: Rejections
    rejected: int
    thinned: int
    length_m: float
    notes: list
    warnings: list
    left_out: dict


def prepare(fixes: Fixes, settings: TrackSettings,
            depth_at: Callable[[np.ndarray, np.ndarray], np.ndarray] | None = None,
            step: Callable[[float], object] | None = None) -> Prepared:
    """Prepare one outing.

    Parameters
    ----------
    fixes : Fixes
        In the CRS the track is to have.
    settings : TrackSettings
    depth_at : callable, optional
        ``depth_at(x, y)`` -> depths (m, positive down, below the surface on the day) at places in crs units, NaN off
        the grid.
    step : callable, optional
        ``step(fraction)``; may raise Cancelled.

    Returns
    -------
    Prepared

    Raises
    ------
    InputError
        When no pass can be made, or no sample can be used.

    Examples
    --------
    >>> import numpy as np
    >>> import athwart
    >>> away = np.arange(0.0, 200.0, 2.0)
    >>> fixes = athwart.Fixes("EPSG:32619", 500000 + 0 * away, 4500000 + away, t_s=away / 2)
    >>> made = athwart.prepare(fixes, athwart.TrackSettings(range_m=30.0, depth_m=5.0))
    >>> len(made.lines), round(made.length_m), set(made.track.depth_source)
    (1, 198, {'constant'})
    >>> made.track.heading_deg[:3].round(3).tolist()
    [0.0, 0.0, 0.0]
    """
    step = step or (lambda fraction: None)
    clean = clean_fixes(fixes, settings)
    step(0.2)
    boat = boat_motion(fixes, clean, settings)
    step(0.5)
    water = depth_and_range(fixes, clean, boat, settings, depth_at)
    if settings.trim_deg:  # the fan strikes the bottom forward of the transducer
        boat = boat.moved(clean.frame.geod, np.nan_to_num(water.depth_m) * np.tan(np.radians(settings.trim_deg)), 0.0)
    step(0.8)
    cut = cut_passes(clean, boat, water, settings)
    track = _track(fixes, clean, boat, water, cut, settings)
    passes = pass_table(track, clean.frame.geod, boat.lon[cut.chosen], boat.lat[cut.chosen],
                        ~np.isin(track.reject_reason, NO_PASS))
    tally = clean.rejections
    tally.add(Message("at the ends of unbroken stretches, beyond which {latency_s} would have to extrapolate"), "row",
              clean.rows[boat.lost] + 1)
    made = Prepared(track, boat.rows[cut.chosen], passes.columns, passes.lines, tally,
                    tally.count() + int((~track.usable).sum()), len(boat.rows) - len(track), passes.length_m, [], [],
                    passes.left_out)
    made.warnings += [*clean.warnings, *filter(None, [compass_doubt(boat, settings)]), *water.notes]
    describe(made, settings, clean, water)
    step(1.0)
    return made


def _track(fixes: Fixes, clean: CleanFixes, boat: BoatMotion, water: DepthAndRange, cut: CutPasses,
           settings: TrackSettings) -> Track:
    """The samples kept, as the track that every later tool computes with."""
    at = cut.chosen
    n = len(at)

    def constant(value: Any, kind: Any = float) -> np.ndarray:
        return np.full(n, value, kind)

    x, y = clean.frame.from_lonlat(ground.wrapped(boat.lon), boat.lat)
    breaks = np.concatenate([[0], np.cumsum(np.diff(boat.stretch[at]) != 0)])
    return Track(
        clean.frame.crs, np.asarray(x, float)[at], np.asarray(y, float)[at],
        outing=constant(settings.outing, object), pass_id=cut.pass_id[at],
        sample_id=1 + np.arange(n, dtype=np.int64) + breaks,  # a jump is a break of the log
        record_ping=constant(np.nan) if fixes.ping is None else np.asarray(fixes.ping, float)[boat.rows[at]],
        t_s=boat.clock_s[at] if clean.timed else constant(np.nan),
        heading_deg=boat.bow.degrees[at], heading_source=boat.bow.source[at], sigma_heading_deg=boat.bow.sigma[at],
        course_deg=boat.bow.course[at] % 360.0, speed_mps=boat.speed_mps[at], turn_dps=boat.bow.turn[at],
        depth_m=water.depth_m[at], depth_source=water.depth_source[at], range_m=water.range_m[at],
        range_ratio=constant(water.sound.ratio), sound_speed_mps=constant(water.sound.speed_mps),
        latency_s=constant(settings.latency_s), lever_forward_m=constant(settings.lever_forward_m),
        lever_starboard_m=constant(settings.lever_starboard_m), mount_deg=constant(settings.mount_deg),
        sigma_pos_m=clean.sigma_pos_m[boat.kept][at], usable=cut.reason[at] == "", reject_reason=cut.reason[at])
