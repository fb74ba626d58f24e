"""What a swath layer tells of each pass that draws of its errors need, with named defaults for what it does not."""
from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from ..model.constants import SOUND_SPEED_FOR_ERRORS_MPS
from ..uncertainty.sigmas import PRESETS

__all__ = ["DEFAULT_SPEED_MPS", "PassFacts", "pass_facts"]

DEFAULT_SPEED_MPS = 2.0
DEFAULT_HEADING_DEG = 6.0
"""Where the swaths do not say: crab of 0.2 m/s at 2 m/s, as of a course; a compass is better (3 degrees)."""


@dataclass(frozen=True)
class PassFacts:
    """Means over a pass, none of them unknown: lengths in m, speed in m/s; sigmas are one standard deviation.

    ``sigma_sound``: relative. ``taken``: names of the fields that were unknown.
    """

    inner_m: float
    outer_m: float
    range_m: float
    depth_m: float
    blind_tan: float
    speed_mps: float
    sigma_drift_m: float
    sigma_heading_deg: float
    sigma_depth_m: float
    sigma_sound: float
    taken: tuple = ()


def pass_facts(swaths, rows, ground, reach_m=np.nan):
    """PassFacts from the rows of a swath layer that belong to one pass.

    Parameters
    ----------
    swaths : survey.coverage.cover.Swaths
    rows : (k,) int array
    ground : shapely polygon
        What the pass saw, frame metres; its width stands in for an unknown outer edge.
    reach_m : float
        Outer edge of the survey as a whole, NaN if unknown.
    """
    rows, taken = np.asarray(rows), []
    weight = np.nan_to_num(swaths.column("samples")[rows], nan=1.0).clip(1)

    def mean(name, fallback, power=1):
        values = swaths.column(name)[rows]
        known = np.isfinite(values)
        if not known.any():
            taken.append(name)
            return float(fallback)
        return float(np.average(values[known] ** power, weights=weight[known]) ** (1 / power))
    width = reach_m if np.isfinite(reach_m) else max(ground.area / max(ground.length / 2, 1e-6), 1.0)
    outer = max(mean("outer_m", width), 0.1)
    inner = min(mean("inner_m", 0.0), 0.9 * outer)
    depth = max(mean("depth_m", 0.2 * outer), 0.0)
    slant = max(mean("range_m", np.hypot(outer, depth)), outer)
    blind = mean("blind_deg", 20.0)
    ordinary = PRESETS["ordinary"]
    return PassFacts(inner, outer, slant, depth, float(np.tan(np.radians(min(max(blind, 0.0), 89.0)))),
                     mean("speed_mps", DEFAULT_SPEED_MPS), mean("sigma_drift_m", ordinary.sigma_pass, 2),
                     mean("sigma_heading_deg", DEFAULT_HEADING_DEG, 2), mean("sigma_depth_m", ordinary.sigma_depth, 2),
                     mean("sigma_sound_mps", ordinary.sigma_sound_speed, 2) / SOUND_SPEED_FOR_ERRORS_MPS,
                     tuple(taken))
