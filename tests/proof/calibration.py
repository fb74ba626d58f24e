"""Sigmas of a calibration told before it is driven, over those that the adjustment delivers: 1,500 outings a plan.

Plans for one object and for two, and for several sets of offsets; each outing is simulated along the planned runs with
errors drawn from the priors (tests/plugins/outings.py shares no code with the package).
"""
import pathlib
import sys

import numpy as np

sys.path.insert(0, str(pathlib.Path(__file__).resolve().parents[1] / "plugins"))
sys.path.insert(0, str(pathlib.Path(__file__).resolve().parents[1] / "survey"))
import clone

clone.load()
import test_calibration_runs as small  # noqa: E402
from athwart.survey.adjustment.least_squares import adjust  # noqa: E402

OUTINGS = 1500
PLANS = [("one object", small.ONE, ("latency_s", "mount_deg")),
         ("one object", small.ONE, ("latency_s", "mount_deg", "scale")),
         ("two objects", small.TWO, ("latency_s", "mount_deg")),
         ("two objects", small.TWO, ("latency_s", "mount_deg", "lever_starboard_m", "scale"))]


def main():
    ok = True
    print(f"{'':12} {'offset':20} {'runs':>4} {'told':>8} {'told/reported':>13} {'told/spread':>12} {'bias/sigma':>10}")
    for number, (words, objects, solve) in enumerate(PLANS):
        plan = small.planned(objects, solve=solve, sigmas=small.SIGMAS, max_runs=16)
        rng = np.random.default_rng(number)
        reported, errors = [], []
        for _ in range(OUTINGS):
            looks, group, offsets = small.driven(rng, plan.runs, objects)
            found = adjust(looks, group, plan.names)
            reported.append(found.sigma)
            errors.append([v - offsets[n] - (n == "scale") for n, v in zip(found.names, found.value)])
        by_report = plan.sigma / np.mean(reported, axis=0)
        by_spread = plan.sigma / np.std(errors, axis=0)
        bias = np.mean(errors, axis=0) / plan.sigma
        for k, name in enumerate(plan.names):
            print(f"{words:12} {name:20} {len(plan.runs):4} {plan.sigma[k]:8.4f} {by_report[k]:13.3f} "
                  f"{by_spread[k]:12.3f} {bias[k]:+10.3f}")
        ok &= bool(((by_report > 0.95) & (by_report < 1.05)).all() and ((by_spread > 0.93) & (by_spread < 1.07)).all())
    return 0 if ok else 1


if __name__ == "__main__":
    sys.exit(main())
