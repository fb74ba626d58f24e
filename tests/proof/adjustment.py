"""2,000 invented outings with three seeds: are the solved offsets unbiased, and do intervals and ellipses hold?

Offsets, biases, drifts and headings are drawn from their priors; the outings (tests/plugins/outings.py) share no code
with the package. Looks of an outing share errors, so standard errors of the counts are taken over outings (clusters).

Then: how often two outings of one boat are said to disagree when they do not and when they do, and how often a look
whose side was swapped is the one that is named.
"""
import sys

import clone
import numpy as np

clone.load()
import outings  # noqa: E402
from athwart.survey.adjustment.blunders import find_misfits  # noqa: E402
from athwart.survey.adjustment.boats import agreements  # noqa: E402
from athwart.survey.adjustment.least_squares import adjust  # noqa: E402
from athwart.survey.adjustment.looks import OFFSETS, RepeatedLooks  # noqa: E402

OUTINGS, SEEDS = 2000, (1, 2, 3)
BOATS, SWAPS = 300, 200
K95 = 5.991464547


def simulate(seed):
    """Per outing: normalised errors of the offsets, share of ellipses that hold, chi-square verdict, error ratio."""
    rng = np.random.default_rng(seed)
    errors, inside, plain, judged, ratio, least = [], [], [], [], [], 1000
    for _ in range(OUTINGS):
        columns, number, places, offsets = outings.outing(rng, objects=20)
        looks, frame = RepeatedLooks.of(outings.CRS, columns["x"], columns["y"], columns)
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


def disagree(rng, apart):
    """True when two outings over the same objects, their latencies ``apart`` seconds, are said to disagree."""
    places = np.column_stack([rng.uniform(5020, 5180, 25), rng.uniform(5020, 5240, 25)])
    depths, found = rng.uniform(5, 12, 25), []
    boat = outings.draw_offsets(rng)
    for name, late in (("A", 0.0), ("B", apart)):
        mine = {**boat, "latency_s": boat["latency_s"] + late, "bias": rng.normal(0, outings.PRIORS["sig_bias_m"], 2)}
        for pass_id, (start, heading, speed) in enumerate(outings.LINES, 1):
            found += [(number, {**row, "outing": name, "pass_id": pass_id}) for number, row in outings.run_pass(
                rng, places, np.array(start, float), heading, 330, speed, 38, depths, mine)]
    columns = {key: np.array([row[key] for _, row in found]) for key in found[0][1]}
    looks, _ = RepeatedLooks.of(outings.CRS, columns["x"], columns["y"], columns)
    looks.boat_no = np.zeros(len(looks), int)
    group = np.unique([number for number, _ in found], return_inverse=True)[1]
    return not agreements(looks, group, ("latency_s", "mount_deg"))[0].agrees


def swapped(rng):
    """(named first, named alone, its side named) of one look laid off on the wrong side; its object is seen often."""
    crowd = []
    while not crowd:
        columns, number, _, _ = outings.outing(rng)
        group = np.unique(number, return_inverse=True)[1]
        crowd = np.flatnonzero(np.bincount(group)[group] >= 4)
    looks, _ = RepeatedLooks.of(outings.CRS, columns["x"], columns["y"], columns)
    spoilt = int(rng.choice(crowd))
    looks = looks.mirrored(spoilt)
    found = find_misfits(looks, group, (), adjust(looks, group)).worst_first
    first = bool(found) and found[0].look == spoilt
    return first, first and len(found) == 1, first and found[0].swapped


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
    rng = np.random.default_rng(11)
    honest, other = (np.mean([disagree(rng, apart) for _ in range(BOATS)]) for apart in (0.0, 1.73))
    print(f"\ntwo outings of one boat said to disagree, of {BOATS}: {100 * honest:.2f} % (bound 1), and with latencies "
          f"1.73 s apart {100 * other:.1f} % (bound 90)" + check(honest <= 0.01 and other >= 0.90, "boats"))
    first, alone, side = np.array([swapped(rng) for _ in range(SWAPS)]).mean(axis=0)
    print(f"a look with its side swapped, of {SWAPS}: named first {100 * first:.1f} %, alone {100 * alone:.1f} %, as "
          f"its side {100 * side:.1f} % (bounds 97, 85, 95)"
          + check(first >= 0.97 and alone >= 0.85 and side >= 0.95, "swapped"))
    print("\n" + ("all within bounds" if not bad else "; ".join(bad)))
    return 1 if bad else 0


if __name__ == "__main__":
    sys.exit(main())
