"""The floor of the invented survey lake: swells, and 60 000 bumps of 0.3 to 2 m, on cells of half a metre."""
from __future__ import annotations

import numpy as np

CELL, ROWS, COLS = 0.5, 4800, 6400
LEFT, TOP = 5000.0 - 1600.0, 5000.0 + 1200.0
BUMPS = 60_000


def swell(east, north):
    """Depth (m) without bumps, as the survey of ``madesurvey`` has it under the boat."""
    e, n = east - 5000.0, north - 5000.0
    return 9.3 + 4 * np.cos(e / 420) * np.cos(n / 350) + 2.5 * np.sin(e / 130 + n / 170)


def make(seed=5, bumps=BUMPS):
    """(ROWS, COLS) float32 depths at cell middles, north up; the same every time."""
    rng = np.random.default_rng(seed)
    east, north = LEFT + (np.arange(COLS) + 0.5) * CELL, TOP - (np.arange(ROWS) + 0.5) * CELL
    floor = np.vstack([swell(east[None, :], north[block][:, None]).astype(np.float32)
                       for block in np.array_split(np.arange(ROWS), 24)])
    across = np.arange(-6, 7) * CELL
    for _ in range(bumps):
        col, row = rng.integers(8, COLS - 8), rng.integers(8, ROWS - 8)
        height, width = rng.uniform(0.3, 2), rng.uniform(0.3, 1.0)
        bump = height * np.exp(-(across[:, None] ** 2 + across**2) / (2 * width**2))
        floor[row - 6:row + 7, col - 6:col + 7] -= bump.astype(np.float32)
    return np.maximum(floor, 0.5)
