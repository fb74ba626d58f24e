"""Sizes of measured objects: do intervals of 95 % hold 93 to 97 % of the truths?

Four speeds, two sets of errors, small and large objects, near and far: 4000 boxes each, drawn by plane geometry of its
own (tests/plugins/objects.py). Where most intervals begin at 0, the size cannot be told from nothing, and an interval
that ends at what is possible holds more than it says (Feldman and Cousins 1998): up to 98 % are let pass there, and the
line says so.
"""
import sys

import clone
import numpy as np

clone.load()
import objects  # noqa: E402
from athwart.survey.record.measure import MeasureSettings, measure_objects  # noqa: E402

SPEEDS = (0.5, 1.0, 2.0, 4.0)
ERRORS = {"ordinary": {}, "survey": {"jitter": 0.1, "position": 0.3317, "heading": 0.5, "mount": 0.5, "depth": 0.1,
                                     "sound": 2.0}}
KINDS = {"any": {}}
for _size, _sizes in (("small", {"long": (1.5, 3.0), "wide": (0.4, 1.0), "high": (0.3, 0.6)}),
                      ("large", {"long": (4.0, 12.0), "wide": (1.5, 4.0), "high": (0.8, 2.0)})):
    for _place, _off in (("near", (8.0, 14.0)), ("far", (20.0, 32.0))):
        KINDS[f"{_size}, {_place}"] = {**_sizes, "off": _off}


def main(kinds=(), count=4000):
    """Print a table, of all kinds or of some; fails where a share of intervals is out of its bounds."""
    fine = True
    for kind, sizes in ((kind, KINDS[kind]) for kind in kinds or KINDS):
        for speed in SPEEDS:
            for preset, errors in ERRORS.items():
                track, readings, truth = objects.drawn(count, speed, 7, **errors, **sizes)
                found = measure_objects(track, readings, MeasureSettings(False, preset, {"beam_width": 1.5})).columns
                row = []
                for name in ("length", "width", "height"):
                    low, high, true = found[f"{name}_lo_m"], found[f"{name}_hi_m"], truth[name]
                    told = np.isfinite(low) & np.isfinite(high)
                    share = 100 * np.mean((true >= low)[told] & (true <= high)[told])
                    nothing = np.mean(low[told] == 0) > 0.5
                    fine &= 93 <= share <= (98 if nothing else 97)
                    sigma = np.nanmedian(found[f"sigma_{name}_m"])
                    row.append(f"{name} {share:5.1f} % of {told.sum():4d}, sigma {sigma:.2f} m"
                               f"{', most from 0' * nothing}")
                print(f"{kind:11} {speed:3.1f} m/s, {preset:8}: " + "; ".join(row), flush=True)
    if not fine:
        raise SystemExit("intervals hold less or more than they may")


if __name__ == "__main__":
    main(sys.argv[1:])
