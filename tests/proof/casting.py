"""Casts at random targets: stated chance against a million simulated casts, the pattern against all at the middle.

Then the same for casts that are drawn back to the boat: a hit is a target that the way passes by, from first
principles.
"""
import sys

import clone
import numpy as np

clone.load()
from athwart.survey.casts.casting import chance_of_casts, pattern, thrower  # noqa: E402
from athwart.survey.casts.sweeping import sweep_pattern  # noqa: E402

SIMULATED, COMPARED, CASTS = 12, 200, 1_000_000


def invented(rng):
    """Covariance of a target, scatter of a caster, radius of a hit."""
    a = rng.uniform(0, np.pi)
    turn = np.array([[np.cos(a), -np.sin(a)], [np.sin(a), np.cos(a)]])
    cov = turn @ np.diag(rng.uniform(0.3, 5, 2) ** 2) @ turn.T
    return cov, thrower(rng.uniform(-22, 22, 2), rng.uniform(0.3, 2.5), rng.uniform(1, 8)), rng.uniform(0.5, 3)


def main():
    rng = np.random.default_rng(2)
    worst = 0.0
    print(f"{'target':>8s}{'casts':>7s}{'stated':>9s}{'simulated':>11s}   after the last cast")
    for number in range(SIMULATED):
        cov, scatter, radius = invented(rng)
        made = pattern(cov, radius, scatter, limit=15)
        target, hit = rng.multivariate_normal([0, 0], cov, CASTS), np.zeros(CASTS, bool)
        for aim, stated in zip(made.aims, made.so_far):
            landing = rng.multivariate_normal(aim, scatter(aim), CASTS)
            hit |= np.sum((landing - target) ** 2, axis=1) < radius ** 2
            worst = max(worst, abs(hit.mean() - stated))
        print(f"{number + 1:8d}{len(made.aims):7d}{100 * made.so_far[-1]:8.2f} %{100 * hit.mean():9.2f} %")
    print(f"largest difference after any cast: {100 * worst:.3f} points (bound 0.3)")
    least, gains = 1.0, []
    for _ in range(COMPARED):
        cov, scatter, radius = invented(rng)
        made = pattern(cov, radius, scatter, limit=20)
        gain = made.so_far - chance_of_casts(cov, radius, scatter, np.zeros((len(made.aims), 2)))
        least, gains = min(least, gain.min()), [*gains, gain[-1]]
    print(f"{COMPARED} targets, pattern minus all at the middle: worst {100 * least:+.3f} points after any cast "
          f"(bound -0.1), median at the end {100 * np.median(gains):+.1f}")
    swept = drawn_back(rng)
    print(f"drawn back, largest difference after any cast: {100 * swept:.3f} points (bound 0.3)")
    return 0 if worst < 0.003 and least > -0.001 and swept < 0.003 else 1


def drawn_back(rng):
    """Largest difference between the stated and the simulated share of casts drawn back."""
    worst = 0.0
    print(f"\n{'target':>8s}{'casts':>7s}{'stated':>9s}{'simulated':>11s}   drawn back to the boat")
    for number in range(SIMULATED):
        cov, _, radius = invented(rng)
        toward, sd_range, sd_angle = rng.uniform(-22, 22, 2), rng.uniform(0.3, 2.5), np.radians(rng.uniform(1, 8))
        made = sweep_pattern(cov, radius, toward, sd_range, sd_angle, lambda a: np.full(np.shape(a), 45.0), limit=15)
        target, hit = toward + rng.multivariate_normal([0, 0], cov, CASTS), np.zeros(CASTS, bool)
        for aim, stated in zip(made.aims, made.so_far):
            landing = toward + aim
            angle = np.arctan2(*landing) + rng.normal(0, sd_angle, CASTS)
            reach = np.hypot(*landing) + rng.normal(0, sd_range, CASTS)
            way = np.column_stack([np.sin(angle), np.cos(angle)])
            along = np.clip((target * way).sum(axis=1), 0, reach)
            hit |= np.sum((target - along[:, None] * way) ** 2, axis=1) < radius ** 2
            worst = max(worst, abs(hit.mean() - stated))
        print(f"{number + 1:8d}{len(made.aims):7d}{100 * made.so_far[-1]:8.2f} %{100 * hit.mean():9.2f} %")
    return worst


if __name__ == "__main__":
    sys.exit(main())
