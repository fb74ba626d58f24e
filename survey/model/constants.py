"""Figures that several rooms take, once each, by names that say what for. Defaults of settings stand with those."""
from __future__ import annotations

__all__ = ["ONE_SIDED_95", "SIGMA_COMPASS_DEG", "SIGMA_POSITION_FOR_GRID_M", "SIGMA_POSITION_M",
           "SOUND_SPEED_FOR_ERRORS_MPS", "SOUND_SPEED_FOR_PINGS_MPS", "TWO_SIDED_95"]

TWO_SIDED_95 = 1.959964
"""Standard deviations within which 95 % of a normal distribution lie, either side (JCGM 100:2008, table G.1: 1.960)."""

ONE_SIDED_95 = 1.645
"""Standard deviations below which 95 % of it lie (the same table, 90 % two-sided)."""

SIGMA_POSITION_M = 2.12
"""Of a position that does not say, per axis, from all causes: bias 2.0, drift from pass to pass 0.5, jitter 0.5 m
(judgement, not a standard)."""

SIGMA_POSITION_FOR_GRID_M = 2.0
"""Of a track that does not say, where its depths are compared with a grid's; a judgement for ordinary receivers, and
less than ``SIGMA_POSITION_M`` by the drift and jitter that it leaves out."""

SIGMA_COMPASS_DEG = 3.0
"""Of a compass whose error is not stated (judgement, not a standard)."""

SOUND_SPEED_FOR_PINGS_MPS = 1500.0
"""Taken for ping rates where that of the water is not known; NOAA practice for side scan (Field Procedures Manual 2014,
table 3.1). It never scales a range."""

SOUND_SPEED_FOR_ERRORS_MPS = 1450.0
"""What an error of the sound speed is divided by where the speed is not known, at the edges of swaths, in the share
seen and in the budget of a target alike: that of fresh water at 11 degrees C (Marczak 1997)."""
