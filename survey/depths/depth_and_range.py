"""Stage 3 of a track: the water under the transducer and the range in force, true metres at each sample."""
from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from ..beams.soundspeed import Sound
from ..geometry import ground
from ..model.errors import InputError
from ..model.messages import Message
from .range_settings import ranges_shown
from .soundings import (
    LOGGED,
    below_transducer,
    default_depth_gap,
    good_soundings,
    logged_soundings,
    refused_words,
    water_under,
)

__all__ = ["DepthAndRange", "DepthSources", "depth_and_range"]


@dataclass
class DepthSources:
    """How the depths came: counts of soundings ``logged`` and ``good``, ``gap_s`` bridged, samples ``on_grid`` of those
    ``asked`` of the depth grid; ``refused`` says which soundings were, ``withheld`` counts the samples where one
    depth for the outing would have stood in for a sounding."""

    logged: int = 0
    good: int = 0
    gap_s: float = 0.0
    asked: int = 0
    on_grid: int = 0
    refused: str = ""
    withheld: int = 0


@dataclass
class DepthAndRange:
    """At (n,) samples: ``depth_m`` below the transducer and ``range_m`` in force, true, NaN where unknown; and
    ``depth_source``: sounder, interpolated, grid, constant, ''.

    ``sound``: sound speed and the ratio of true to displayed, which is in both. ``sources``: DepthSources.
    ``notes``: sentences on changes of range that lie outside the outing.
    """

    depth_m: np.ndarray
    depth_source: np.ndarray
    range_m: np.ndarray
    sound: Sound
    sources: DepthSources
    notes: tuple


def depth_and_range(fixes, clean, boat, settings, depth_at=None):
    """Depth and range at each sample.

    Parameters
    ----------
    fixes : Fixes
    clean : CleanFixes
    boat : BoatMotion
    settings : TrackSettings
    depth_at : callable, optional
        ``depth_at(x, y)`` -> depths (m, positive down, below the surface on the day) at places in crs units, NaN off
        the grid.

    Returns
    -------
    DepthAndRange

    Raises
    ------
    InputError
        Depths with the wrong sign, a constant that leaves no water, ranges that are none.
    """
    sound = settings.sound()
    ranges, notes = ranges_shown(fixes, clean, settings)
    sources = DepthSources(gap_s=settings.max_gap_s or clean.gap_s)
    soundings, good = _soundings(fixes, clean, settings, sources)
    depth, source = water_under(
        boat.clock_s, boat.stretch, soundings, good, sources.gap_s, ratio=sound.ratio,
        grid_m=None if depth_at is None else lambda wanted: _on_grid(depth_at, clean.frame, boat, wanted, sources),
        draft_m=settings.draft_m or 0.0, constant_m=_constant(settings))
    sources.withheld = 0 if settings.depth_m is None else int(np.isnan(depth).sum())
    return DepthAndRange(depth, source, ranges[boat.kept] * sound.ratio, sound, sources, notes)


def _soundings(fixes, clean, settings, sources):
    """Soundings and which of them are good, counted in ``sources``; None where the log has none."""
    if fixes.depth_m is None:
        return None, None
    soundings = logged_soundings(fixes, clean, settings)
    good = good_soundings(soundings)
    sources.logged, sources.good = len(good), int(good.sum())
    sources.refused = refused_words(soundings, good) if clean.timed else ""
    if settings.max_gap_s is None:
        sources.gap_s = default_depth_gap(soundings.clock_s[good], soundings.stretch[good], clean.gap_s)
    return soundings, good


def _on_grid(depth_at, frame, boat, wanted, sources):
    x, y = frame.from_lonlat(ground.wrapped(boat.lon[wanted]), boat.lat[wanted])
    depth = np.asarray(depth_at(np.asarray(x, float), np.asarray(y, float)), float)
    sources.asked, sources.on_grid = len(wanted), int(np.isfinite(depth).sum())
    if 2 * (depth < 0).sum() > max(1, sources.on_grid):
        raise InputError(Message("The depth grid is negative under {count} of {asked} samples. Depths are positive "
                                 "down from the surface: run {DepthConversion()} on it first.",
                                 count=int((depth < 0).sum()), asked=sources.on_grid), field="depth_at")
    return depth


def _constant(settings):
    """One depth for the outing, below the transducer as displayed; None where it is not stated."""
    if settings.depth_m is None:
        return None
    kind = "transducer" if settings.depth_reference == LOGGED else settings.depth_reference
    constant = float(below_transducer([settings.depth_m], [kind], [np.nan], settings.draft_m, settings.keel_m)[0])
    if constant <= 0:
        raise InputError(Message("{depth_m} leaves {left:g} m under the transducer; check {depth_m.unit} and "
                                 "{draft_m}.", left=constant))
    return constant
