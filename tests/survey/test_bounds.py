"""Worst and best case and certain gaps, borne out by outings whose errors are drawn anew and whose truth is known.

Many more in tests/proof/bounds_of_coverage.py.
"""
import numpy as np
import pytest
from coverage_bounds import outcome


@pytest.mark.parametrize("spacing", [52.0, 66.0])
def test_twelve_outings_bear_the_bounds_out(spacing):
    rng = np.random.default_rng(int(spacing))
    rows = np.vstack([outcome(rng, spacing, 4) for _ in range(3)])
    low, low_seen, missed, missed_unseen, gaps, gaps_there, above, below = rows.sum(axis=0)
    assert low_seen / low >= 0.95
    assert missed > 0 or spacing < 60  # lines so near leave no gap that is certain
    assert missed_unseen >= 0.95 * missed
    assert gaps_there >= 0.95 * gaps
    assert above >= 11
    assert below >= 11
