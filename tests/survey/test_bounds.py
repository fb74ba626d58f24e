"""Low and high coverage and certain gaps, borne out by outings whose errors are drawn anew and whose truth is known."""
import numpy as np
import pytest
from coverage_bounds import outcome


@pytest.mark.parametrize("spacing", [52.0, 66.0])
def test_twenty_outings_bear_the_bounds_out(spacing):
    rng = np.random.default_rng(int(spacing))
    rows = np.vstack([outcome(rng, spacing, 4) for _ in range(5)])
    low, low_seen, missed, missed_unseen, gaps, gaps_there, above, below = rows.sum(axis=0)
    assert low_seen / low >= 0.95
    assert missed > 0
    assert missed_unseen / missed >= 0.95
    assert gaps_there / gaps >= 0.95
    assert above >= 19
    assert below >= 19
