"""2,000 invented outings with three seeds: are the solved offsets unbiased, and do intervals and ellipses hold?

Offsets, biases, drifts and headings are drawn from their priors; the outings (tests/plugins/outings.py) share no code
with the package. Looks of an outing share errors, so standard errors of the counts are taken over outings (clusters).
"""
import pathlib
import sys

import numpy as np

sys.path.insert(0, str(pathlib.Path(__file__).resolve().parents[1] / "plugins"))
import clone

clone.load()
import outings  # noqa: E402
from athwart.survey.repeats.adjustment import adjust  # noqa: E402
from athwart.survey.repeats.repeats import OFFSETS, Repeats  # noqa: E402

OUTINGS, SEEDS = 2000, (1, 2, 3)
K95 = 5.991464547


def simulate(seed):
    """Per outing: normalised errors of the offsets, share of ellipses that hold, chi-square verdict, error ratio."""
    rng = np.random.default_rng(seed)
    errors, inside, plain, judged, ratio, least = [], [], [], [], [], 1000
    for _ in range(OUTINGS):
        columns, number, places, offsets = outings.outing(rng, objects=20)
        looks, frame = Repeats.of(outings.CRS, columns["x"], columns["y"], columns)
        seen, group = np.unique(number, return_inverse=True)
        truth = np.column_stack(frame.forward(places[seen, 0], places[seen, 1]))
        found, without = adjust(looks, group, OFFSETS), adjust(looks, group)
        errors.append([(value - offsets[name] - (name == "scale")) / sigma
                       for name, value, sigma in zip(found.names, found.value, found.sigma)])
        inside.append(holds(found, truth))
        plain.append(holds(without, truth))
        judged.append(found.chi2_low < found.chi2 < found.chi2_high)
        before = np.hypot(*(looks.place - truth[group]).T)
        ratio.append(np.median(np.hypot(*(found.place - truth).T)) / np.median(before))
        least = min(least, len(seen))
    return np.array(errors), np.array(inside), np.array(plain), np.array(judged), np.array(ratio), least


def holds(found, truth):
    """Share of an outing's 95 % ellipses that hold their object."""
    error = found.place - truth
    return np.mean(np.einsum("gi,gij,gj->g", error, np.linalg.inv(found.covariance), error) < K95)


def main():
    bad = []

    def check(good, what):
        if not good:
            bad.append(what)
        return "" if good else "  <-- out of bounds"

    for seed in SEEDS:
        errors, inside, plain, judged, ratio, least = simulate(seed)
        print(f"\nseed {seed}: {OUTINGS} outings, at least {least} objects in each")
        check(least >= 12, f"seed {seed}: only {least} objects")
        print(f"{'offset':20s}{'mean error / sigma':>20s}{'bound 3/sqrt(N)':>17s}{'95 % interval holds':>21s}")
        bound = 3 / np.sqrt(OUTINGS)
        for i, name in enumerate(OFFSETS):
            mean, share = errors[:, i].mean(), np.mean(np.abs(errors[:, i]) < 1.95996)
            verdict = check(abs(mean) < bound and 0.93 < share < 0.97, f"seed {seed}: {name}")
            print(f"{name:20s}{mean:20.4f}{bound:17.4f}{100 * share:19.2f} %{verdict}")
        for what, shares in (("95 % ellipses, offsets solved", inside), ("95 % ellipses, offsets shared", plain)):
            verdict = check(0.94 < shares.mean() < 0.96, f"seed {seed}: {what}")
            print(f"{what:32s}{100 * shares.mean():8.2f} % +- {100 * shares.std() / np.sqrt(OUTINGS):.2f} "
                  f"(cluster standard error){verdict}")
        print(f"{'chi-square within its limits':32s}{100 * judged.mean():8.2f} %"
              + check(0.93 < judged.mean() < 0.97, f"seed {seed}: chi-square"))
        print(f"{'median error after / before':32s}{np.median(ratio[:200]):8.3f}   (first 200 outings; "
              f"all: {np.median(ratio):.3f})" + check(np.median(ratio[:200]) < 1, f"seed {seed}: ratio"))
    print("\n" + ("all within bounds" if not bad else "; ".join(bad)))
    return 1 if bad else 0


if __name__ == "__main__":
    sys.exit(main())
