"""Invented soundings over invented bottoms, with drop-outs: a truth for the cleaning of soundings, none of its code.

A boat at 2 m/s over a bottom of 8 m with one kind of shape; the sounder is right within 0.1 m (one sigma), or it has
lost the bottom: it reads near zero for a while, or jumps to some other depth for a reading or two.
"""
from __future__ import annotations

import numpy as np

SPEED = 2.0
FLOOR_M = 8.0
SHAPES = ("flat", "hump", "step shoal", "ridge", "drop-off", "slope")


def hump(along, top=2.0, steepest_deg=7.0):
    """A cosine hump centred on 0, its steepest slope as given."""
    rise = FLOOR_M - top
    length = np.pi * rise / np.tan(np.radians(steepest_deg))
    inside = np.abs(along) < length / 2
    return np.where(inside, FLOOR_M - rise * (1 + np.cos(2 * np.pi * along / length)) / 2, FLOOR_M)


def step_shoal(along, top=3.0, length=40.0):
    """A plateau with sheer sides."""
    return np.where(np.abs(along) < length / 2, top, FLOOR_M)


def ridge(along, top=3.0, base=40.0):
    """A roof, straight up and straight down."""
    return np.minimum(FLOOR_M, top + (FLOOR_M - top) * np.abs(along) / (base / 2))


def bottom(shape, along, rng):
    """Depth along the way for one of SHAPES; sizes are drawn."""
    if shape == "hump":
        return hump(along, rng.uniform(1.8, 4.0), rng.uniform(4.0, 8.0))
    if shape == "step shoal":
        return step_shoal(along, rng.uniform(2.0, 4.5), rng.uniform(16.0, 50.0))
    if shape == "ridge":
        return ridge(along, rng.uniform(2.0, 4.5), rng.uniform(24.0, 80.0))
    if shape == "drop-off":
        return np.where(along < 0, 3.0, 3.0 + np.minimum(11.0, along * rng.uniform(0.3, 2.0)))
    return FLOOR_M + (0.05 * along if shape == "slope" else 0 * along)


def sounded(shape, interval, rng, share=0.04):
    """(clock, depth read, depth true, lost) of ten minutes over a shape, ``lost`` True at drop-outs."""
    clock = np.arange(0.0, 600.0 if interval <= 2 else 1800.0, interval)
    along = SPEED * (clock - clock[-1] * rng.uniform(0.4, 0.6))
    true = np.maximum(bottom(shape, along, rng), 1.5)
    read = true + rng.normal(0, 0.1, len(clock))
    lost = np.zeros(len(clock), bool)
    for k in np.flatnonzero(rng.random(len(clock)) < share):
        if rng.random() < 0.5:
            part = slice(k, k + rng.geometric(0.3))
            read[part] = rng.uniform(0.0, 0.9)
        else:
            part = slice(k, k + rng.integers(1, 3))
            n = len(read[part])
            low, high = true[k] * 0.12, true[k] * 0.6
            read[part] = np.where(rng.random(n) < 0.6, rng.uniform(low, high, n), true[k] * rng.uniform(1.6, 8, n))
        lost[part] = True
    read = np.round(np.maximum(read, 0), 1)
    lost &= np.abs(read - true) > np.maximum(0.8, 0.2 * true)
    return clock, read, true, lost
