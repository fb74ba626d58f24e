"""A record checked against its track, on lakes that no setting of it was chosen on: what is found, and what is not.

200 lakes of waves, 20 marks each that err by 0.15 m (tests/plugins/bottom_marks.py). Shift, pings a row and range told
wrong by drawn amounts come back: 95 % of them within 1.96 standard deviations, give or take what 200 lakes can tell,
and the standard deviations are the Cramer-Rao bound of the true bottom. The same picture told upside down is named. The
same depths in any other order are refused: one in 1000 may pass by the rule, and what is seen of them has Garwood's
(1936) upper bound at 97.5 %. Marks of another lake are refused, or called doubtful by their scatter, nine
times out of ten. A bottom that is level is refused.
"""
import sys
from collections import Counter
from dataclasses import replace

import clone
import numpy as np

clone.load()
import bottom_marks as made  # noqa: E402
from athwart.survey.model.errors import InputError  # noqa: E402
from athwart.survey.record.check import CheckSettings, check_record  # noqa: E402
from athwart.survey.uncertainty.counts import poisson_interval  # noqa: E402

FIRST = 2000
SIGMA = 0.15
ASKED = (("first_ping", 1500.0), ("pings_per_row", 2.0), ("edge_range_m", 30.0))


def told_wrong(seed):
    """The picture with shift, rate and scale told wrong by up to 300 pings and 5 %."""
    rng = np.random.default_rng(seed + 7)
    return replace(made.TRUE, first_ping=1500 + rng.uniform(-300, 300), pings_per_row=2 * rng.uniform(0.95, 1.05),
                   edge_range_m=30 * rng.uniform(0.95, 1.05))


def status(told, column, row, track):
    """(what is said, Checked or None)."""
    try:
        found = check_record(told, column, row, track, CheckSettings(SIGMA))
    except InputError as error:
        return " ".join(str(error).split()[:6]), None
    doubtful = any("either picture and track are not of the same" in str(words) for words in found.warnings)
    return f"{'doubtful, ' * doubtful}{found.status}", found


def main(lakes=200, first=FIRST):
    """Print the shares; fails where one is out of its bounds."""
    said = {name: Counter() for name in ("as it is", "upside down", "shuffled", "another lake", "level")}
    scores, bounds, wrong = [], [], []
    for seed in range(first, first + lakes):
        track, depth = made.world(seed)
        told = told_wrong(seed)
        column, row = made.marks(depth, seed + 5000, sigma=SIGMA)
        word, found = status(told, column, row, track)
        said["as it is"][word] += 1
        if found is not None:
            by = {name: (value, sigma) for name, value, sigma in
                  zip(*(found.columns[key] for key in ("name", "value", "sigma")))}
            scores.append([(by[name][0] - true) / by[name][1] for name, true in ASKED])
            bounds.append([sigma / by[name][1] for (name, _), sigma in
                           zip(ASKED, made.cramer_rao(depth, row, SIGMA))])
            if np.abs(scores[-1]).max() > 4:
                wrong.append(f"{seed} ({'; '.join(map(str, found.warnings))[:60]}...)")
        said["upside down"][status(replace(told, newest="bottom"), column, row, track)[0]] += 1
        said["shuffled"][status(told, np.random.default_rng(seed).permutation(column), row, track)[0]] += 1
        said["another lake"][status(told, *made.marks(made.world(seed + 50_000)[1], seed, sigma=SIGMA), track)[0]] += 1
        level, depth = made.world(seed, relief=0.1)
        said["level"][status(told, *made.marks(depth, seed, sigma=SIGMA), level)[0]] += 1
    for name, words in said.items():
        print(f"{name:12}: " + "; ".join(f"{word} {count}" for word, count in words.most_common()))
    scores, bounds = np.array(scores), np.array(bounds)
    held = 100 * (np.abs(scores) < 1.96).mean(axis=0)
    fine = bool(len(scores) >= 0.95 * lakes)
    give = 100 * 2.6 * np.sqrt(0.05 * 0.95 / lakes)
    for k, (name, _) in enumerate(ASKED):
        print(f"{name:14} {held[k]:5.1f} % within 1.96 sigma, sd of the scores {np.std(scores[:, k]):.2f}, Cramer-Rao "
              f"bound over sigma: median {np.median(bounds[:, k]):.2f}")
        fine &= abs(held[k] - 95) < give and 0.9 < np.median(bounds[:, k]) < 1.1
    print(f"all three      {held.mean():5.1f} %")
    print(f"more than 4 sigma off: {'; '.join(wrong) or 'none'}")
    fine &= bool(93 <= held.mean() <= 97) and len(wrong) <= lakes // 100
    fine &= said["upside down"]["reversed"] >= 0.97 * lakes
    fine &= sum(count for word, count in said["as it is"].items() if "doubtful" in word) <= lakes // 100
    for name, most in (("shuffled", lakes // 100), ("another lake", lakes // 10), ("level", 0)):
        passed = sum(count for word, count in said[name].items() if word in ("fits", "shifted", "reversed", "off"))
        print(f"{name}: {passed} of {lakes} taken for true, at most {100 * poisson_interval(passed)[1] / lakes:.1f} %")
        fine &= passed <= most
    if not fine:
        raise SystemExit("out of its bounds")


if __name__ == "__main__":
    main(*map(int, sys.argv[1:]))
