"""240 simulated outings against the interval of the share: does it hold the truth, is it tight, do gaps stay open?

Lawnmower, straight legs at random, and runs along a shore; compass and course; a fix a second and one in ten; a flat
and a sloping bottom; boats steered by their receivers and by marks. Each outing is logged, prepared, drawn and judged
by the tools' own functions; the truth shares nothing with them (tests/plugins/sharetruth.py).
"""
import concurrent.futures
import itertools
import sys

import clone

clone.load()
import numpy as np  # noqa: E402
import sharechain  # noqa: E402
import sharetruth  # noqa: E402

WORLDS = ("receiver", "marks")
CASES = tuple(itertools.product(("lawnmower", "random", "shore"), (True, False), (1, 10), (0.0, 0.03)))
ROUNDS = 5


def judged(job):
    """(words, figures, gaps) of one outing: number, world, case."""
    number, world, case = job
    outing = sharetruth.outing(np.random.default_rng([number, world == "marks"]), world, *case)
    result = sharechain.said(outing)
    return ((world, case[0], "compass" if case[1] else "course", f"{case[2]} s", "sloping" if case[3] else "flat"),
            (outing.share, result.covered_percent, result.low_percent, result.high_percent, result.expected_percent,
             result.worst_percent, result.best_percent), sharechain.gaps_beside_truth(result, outing.truth))


def main():
    jobs = [(number, world, case) for number, (case, _) in enumerate(itertools.product(CASES, range(ROUNDS)))
            for world in WORLDS]
    with concurrent.futures.ProcessPoolExecutor() as pool:
        words, figures, gaps = zip(*pool.map(judged, jobs, chunksize=8))
    words, figures = np.array(words), np.array(figures)
    print("                      outings  inside %  width  true spread  ratio  drawn - true  worst to best")
    held = show("all", np.ones(len(words), bool), figures)
    by_world = []
    for column in range(words.shape[1]):
        for word in dict.fromkeys(words[:, column]):
            found = show(word, words[:, column] == word, figures)
            if column == 0:
                by_world.append(found[0])
    calibrated = calibration(np.concatenate(gaps))
    return 0 if 93 <= held[0] <= 97 and min(by_world) >= 90 and held[1] <= 1.5 and calibrated else 1


def show(name, chosen, figures):
    """Print a line; returns (percent inside, width over spread)."""
    truth, drawn, low, high, _, worst, best = figures[chosen].T
    inside = 100 * np.mean((low <= truth) & (truth <= high))
    width, spread = np.median(high - low), np.diff(np.percentile(truth - drawn, [2.5, 97.5]))[0]
    print(f"{name:>22}  {chosen.sum():6d}  {inside:8.1f}  {width:5.2f}  {spread:11.2f}  {width / spread:5.2f}  "
          f"{np.mean(drawn - truth):+12.2f}  {np.median(best - worst):13.1f}", flush=True)
    return inside, width / spread


def calibration(gaps):
    """Print open_pct by decile beside what was so; True if each decile agrees within chance and 10 points."""
    print("\nopen_pct        gaps  said %  truly open %")
    good = True
    for low in range(0, 100, 10):
        here = gaps[(gaps[:, 0] >= low) & ((gaps[:, 0] < low + 10) | (low == 90))]
        if not len(here):
            continue
        said, true = here[:, 0].mean(), 100 * here[:, 1].mean()
        print(f"{low:3d} to {low + 10:3d}  {len(here):8d}  {said:6.1f}  {true:12.1f}")
        chance = 100 * np.sqrt(max(said * (100 - said) / 1e4, 0.01) / len(here))
        # gaps of one outing share its errors: as if a third of them were there
        good &= abs(said - true) <= 10 + 1.7 * 2 * chance
    certain, there = gaps[:, 2].sum(), np.minimum(gaps[:, 2], gaps[:, 3]).sum()
    print(f"\ncertain ground {certain:.0f} m2, of which {100 * there / certain:.1f} % truly unseen")
    return good and there >= 0.95 * certain


if __name__ == "__main__":
    sys.exit(main())
