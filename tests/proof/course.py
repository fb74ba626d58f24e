"""Does the course's standard deviation hold, and are the passes of noisy outings found, over thousands of tracks?

Boats keep a heading while wind and current set them sideways (0.2 m/s, one sigma, held for a pass), and fixes jitter
by 0.3 m in each axis on top of a slow drift of half a metre. Outings are parallel lines with turns between; every one
has its own speed, rate of turn and interval of fixes. Tracks: tests/plugins/sailed.py, geodesics and random numbers.
"""
import sys

import clone
import numpy as np

clone.load()
import sailed  # noqa: E402
from athwart.survey.fixes.arrange import Fixes  # noqa: E402
from athwart.survey.geometry.ground import wrapped  # noqa: E402
from athwart.survey.motion.course import motion_of  # noqa: E402
from athwart.survey.tracks.prepare import prepare  # noqa: E402
from athwart.survey.tracks.settings import TrackSettings  # noqa: E402

TRACKS, OUTINGS = 3000, 400
JITTER_M, DRIFT_M, DRIFT_S = 0.3, 0.5, 120.0


def noise(rng, clock):
    """Jitter and a slow Gauss-Markov drift, one axis (m)."""
    keep = np.exp(-np.diff(clock) / DRIFT_S)
    drift = [rng.normal(0, DRIFT_M)]
    for share in keep:
        drift.append(share * drift[-1] + rng.normal(0, DRIFT_M * np.sqrt(1 - share * share)))
    return np.array(drift) + rng.normal(0, JITTER_M, len(clock))


def courses():
    """Spread of the error in the middle of a pass over what was promised, and the share within two sigma."""
    print("speed  interval  error sd  promised  ratio  within 2 sigma")
    fine = True
    for speed in (0.8, 1.2, 2.0, 3.0):
        for interval in (0.2, 1.0, 5.0):
            rng = np.random.default_rng(int(speed * 10 + interval * 100))
            clock = np.arange(0.0, 41.0, interval)
            errors, promised = np.empty(TRACKS), np.empty(TRACKS)
            for k in range(TRACKS):
                set_by = rng.normal(0, 0.2)
                east, north = set_by * clock + noise(rng, clock), speed * clock + noise(rng, clock)
                found = motion_of(clock, np.diff(east), np.diff(north), np.zeros(len(clock), int), 0.2)
                errors[k], promised[k] = wrapped(found.course_deg)[len(clock) // 2], found.sigma_deg[len(clock) // 2]
            ratio, within = errors.std() / promised.mean(), np.mean(np.abs(errors) < 2 * promised)
            print(f"{speed:5.1f}  {interval:8.1f}  {errors.std():8.2f}  {promised.mean():8.2f}  {ratio:5.2f}  "
                  f"{100 * within:10.1f} %")
            fine &= 0.75 < ratio < 1.15 and within > 0.93
    return fine


def outings():
    """Share of outings whose passes are the lines that were sailed."""
    rng = np.random.default_rng(5)
    right, late = 0, []
    for _ in range(OUTINGS):
        speed, interval, lines = rng.uniform(0.9, 2.8), int(rng.choice([1, 1, 2, 5, 8])), int(rng.integers(2, 7))
        rate = np.degrees(speed / rng.uniform(12, 25))
        leg = int(rng.uniform(150, 300) / speed)
        lon, lat, clock = sailed.sail(-93.0, 45.0, sailed.lawnmower(lines, leg, rate), speed)
        lon, lat, clock = lon[::interval], lat[::interval], clock[::interval]
        fixes = Fixes("EPSG:4326", lon + noise(rng, clock) / 78_850, lat + noise(rng, clock) / 111_130, t_s=clock)
        made = prepare(fixes, TrackSettings(range_m=30.0, depth_m=5.0))
        right += len(made.lines) == lines
        if len(made.lines) == lines and lines > 1:
            half = leg + 180 / rate / 2
            late.append(made.passes["start_time"][1] - clock[0] - half)
    print(f"\npasses are the lines sailed in {right} of {OUTINGS} outings; cut {np.mean(late):.1f} s after half the "
          f"turn, sd {np.std(late):.1f} s")
    return right >= 0.98 * OUTINGS and np.std(late) < 6


if __name__ == "__main__":
    sys.exit(0 if courses() & outings() else 1)
