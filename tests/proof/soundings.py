"""How many good soundings are kept, and drop-outs caught, over invented bottoms?

Humps, step shoals, ridges, a drop-off, a slope: see tests/plugins/bottoms.py, which shares no code with the core.
"""
import sys

import clone
import numpy as np

clone.load()
import bottoms  # noqa: E402
from athwart.survey.depths.soundings import Soundings, good_soundings  # noqa: E402

RUNS = 400
DEMANDED = {  # shape: shares of good ones kept on the shape, and of drop-outs caught, at 1 s and at 10 s
    "flat": ((99.9, 99.5), (99.8, 95.0)), "hump": ((99.5, 99.0), (98.0, 95.0)),
    "step shoal": ((96.0, 99.0), (65.0, 95.0)), "ridge": ((97.0, 99.0), (80.0, 95.0)),
    "drop-off": ((99.5, 99.0), (99.5, 93.5)), "slope": ((99.0, 97.5), (99.5, 91.0)),
}
"""Single soundings, which at 10 s are all there is of a ridge or of a short shoal, cannot be told from drop-outs."""


def rates(shape, interval, runs, seed=11):
    """Percent: good soundings kept, those of them on the shape, drop-outs caught."""
    rng = np.random.default_rng(seed)
    counts = np.zeros(6)
    for _ in range(runs):
        clock, read, true, lost = bottoms.sounded(shape, interval, rng)
        good = good_soundings(Soundings(clock, np.zeros(len(clock), int), read))
        shaped = ~lost & ((np.abs(true - bottoms.FLOOR_M) > 1) | (shape == "flat"))
        for k, of in enumerate((~lost, shaped, lost)):
            counts[2 * k:2 * k + 2] += (good[of] if k < 2 else ~good[of]).sum(), of.sum()
    return 100 * counts[::2] / counts[1::2]


def main():
    print("shape        interval   kept  on the shape  drop-outs caught  (%)")
    fine = True
    for shape, demanded in DEMANDED.items():
        for interval, (keep, catch) in zip((1.0, 10.0), demanded):
            kept, shaped, caught = rates(shape, interval, RUNS)
            fine &= shaped >= keep and caught >= catch
            print(f"{shape:11s} {interval:7.0f} s {kept:7.2f} {shaped:10.2f} {caught:14.2f}")
    return fine


if __name__ == "__main__":
    sys.exit(0 if main() else 1)
