"""What turns lose and invent, and into how many passes they part, over degrees, radius, speed, fixes and jitter.

Truth: a continuous fan along straight lines and arcs (tests/plugins/turnsim.py, plane geometry and shapely only).
"""
import sys

import clone
import numpy as np

clone.load()
import turnsim  # noqa: E402
from athwart.survey.fixes.arrange import Fixes  # noqa: E402
from athwart.survey.geometry import transfer  # noqa: E402
from athwart.survey.geometry.frame import Frame  # noqa: E402
from athwart.survey.swaths.draw import SwathSettings, draw_swaths  # noqa: E402
from athwart.survey.tracks.prepare import prepare  # noqa: E402
from athwart.survey.tracks.settings import TrackSettings  # noqa: E402
from shapely.ops import unary_union  # noqa: E402

FRAME = Frame("EPSG:32615", -93, 45)
RANGE, DEPTH, LEAD, SPEEDS = 30.0, 4.0, 150.0, (0.7, 1.5, 3.0)
NEAR, FAR = DEPTH * np.tan(np.radians(20)), np.sqrt(RANGE**2 - DEPTH**2)

WORST = {1.0: 0.4, 2.0: 0.5, 5.0: 2.5, 10.0: 6.0}
"""Largest share (%) of the ground that may be lost, by the interval of fixes, without jitter."""


def prepared(legs, speed, interval, jitter, seed):
    t, east, north = turnsim.fixes(legs, speed, interval, jitter, seed, phase=interval * (0.37 * seed % 1))
    x, y = FRAME.inverse(east, north)
    made = prepare(Fixes("EPSG:32615", np.asarray(x), np.asarray(y), t_s=1.7e9 + t),
                   TrackSettings(range_m=RANGE, depth_m=DEPTH))
    return made, t * speed


def turns():
    """Ground lost and invented, in m2 and as a share of what was seen."""
    print("radius  interval  jitter  mean lost m2  worst lost %  mean invented m2  worst invented %")
    fine = True
    # a course fitted over 10 s or 15 m smears a turn of 5 m radius over the lines beside it: shown, not judged
    for name, radii, interval, worst in [(name, radii, interval, worst) for name, radii in
                                         (("12-60", (12.0, 25.0, 60.0)), ("5", (5.0,)))
                                         for interval, worst in WORST.items()]:
        for jitter in (0.0, 0.5):
            lost, invented, size = [], [], []
            for degrees in (30, 60, 90, 135, 180):
                for radius in radii:
                    for speed in SPEEDS:
                        if speed * interval > 2 * LEAD / 5 or speed * interval * np.degrees(1 / radius) > 150:
                            continue  # more than 150 degrees of turn between two fixes tell nothing
                        legs = [(LEAD, 0.0), turnsim.bend(degrees, radius), (LEAD, 0.0)]
                        made, way = prepared(legs, speed, interval, jitter, 1)
                        seen = unary_union([transfer.to_frame(FRAME, one) for one in draw_swaths(
                            made.track, SwathSettings(merge="pass")).geometries])
                        truth = turnsim.seen(legs, NEAR, FAR, way[0], way[-1])
                        lost.append(truth.difference(seen).area)
                        invented.append(seen.difference(truth).area)
                        size.append(truth.area)
            if not size:
                continue
            shares = [100 * max(np.divide(values, size)) for values in (lost, invented)]
            print(f"{name:>6} {interval:9.0f} {jitter:7.1f} {np.mean(lost):13.1f} {shares[0]:13.2f} "
                  f"{np.mean(invented):17.1f} {shares[1]:17.2f}")
            fine &= jitter > 0 or name == "5" or max(shares) < worst
    return fine


def lines():
    """Fields of eight lines: how many come out as eight passes."""
    right = total = 0
    for radius in (6.0, 12.0, 20.0, 30.0, 45.0, 60.0):
        for speed in SPEEDS:
            for interval in WORST:
                for seed in range(4):
                    made, _ = prepared(turnsim.lawnmower(8, 250.0, radius), speed, interval, 0.5 * (seed > 0), seed)
                    right += len(made.passes["pass_id"]) == 8
                    total += 1
    print(f"{right} of {total} fields of eight lines, turns of 6 to 60 m radius, came out as eight passes")
    return right == total


if __name__ == "__main__":
    sys.exit(0 if turns() & lines() else 1)
