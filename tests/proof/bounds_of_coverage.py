"""200 simulated outings against worst and best case: is ground of the worst case seen, that of certain gaps unseen?

Own, pass and outing errors are drawn; what was truly seen is worked out anew each time. At the middle of a gap that is
only just certain both neighbours may reach, so its ground can be seen a little more often than 1 in 20; over all ground
that certain gaps keep when every pass is widened, and over all ground of the worst case, 95 % must hold.
"""
import sys

import clone

clone.load()
import numpy as np  # noqa: E402
from coverage_bounds import outcome  # noqa: E402


def main():
    total = np.zeros(8)
    print("line spacing  outings  worst seen %  certain gaps  of them real %  their ground unseen %  worst holds %  "
          "best holds %")
    for spacing in (52.0, 56.0, 60.0, 64.0, 68.0):
        rng = np.random.default_rng(int(spacing))
        rows = np.vstack([outcome(rng, spacing, 2) for _ in range(20)])
        show(f"{spacing:9.0f} m", len(rows), rows.sum(axis=0))
        total += rows.sum(axis=0)
    show("        all", 200, total)
    low, low_seen, missed, missed_unseen, gaps, gaps_real, above, below = total
    return 0 if min(low_seen / low, missed_unseen / missed, gaps_real / gaps, above / 200, below / 200) >= 0.95 else 1


def show(name, count, sums):
    low, low_seen, missed, missed_unseen, gaps, gaps_real, above, below = sums
    print(f"{name:>12}  {count:7d}  {100 * low_seen / low:10.2f}  {gaps / count:12.1f}  "
          f"{100 * gaps_real / gaps:14.1f}  {100 * missed_unseen / missed:21.2f}  {100 * above / count:11.1f}  "
          f"{100 * below / count:12.1f}")


if __name__ == "__main__":
    sys.exit(main())
