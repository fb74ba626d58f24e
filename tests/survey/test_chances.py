"""Chances of places: strips whose edges are known, so that what surely lies inside can be counted by hand."""
from types import SimpleNamespace

import numpy as np
import pytest
from athwart.survey.share.chances import DrawnPass, chances
from shapely.geometry import box

AREA = box(-10, -10, 1000, 1000)


def strips_drawn(count, apart=50.0):
    """Passes of 40 m by 100, ``apart`` from each other, whose edges move by 5 m at most."""
    errors, facts = SimpleNamespace(reach=lambda outer: 5.0), SimpleNamespace(outer_m=30.0)
    return [DrawnPass(box(0, apart * k, 100, apart * k + 40), errors, facts, []) for k in range(count)]


def test_every_pass_that_is_drawn_moves_the_progress_on():
    """Four strips, the places far from all of them: a call a strip, so that a cancelled run stops within one."""
    heard, far = [], np.array([[900.0, 900.0], [950.0, 900.0]])
    found = chances(strips_drawn(4), far, 1, 8, AREA, heard.append)
    assert heard == [0, 0.25, 0.5, 0.75] and not found.seen.any() and not found.as_drawn.any()


@pytest.mark.parametrize("looks, seen", [(1, [True, True, True]), (2, [False, True, True]), (3, [False, False, True])])
def test_ground_well_inside_strips_counts_once_for_each(looks, seen):
    """Strips over y 0 to 40, 12 to 52 and 24 to 64: places in one, two and all three of them, so far from every edge
    that no draw can move one over it."""
    places = np.array([[50.0, 58.0], [50.0, 46.0], [50.0, 32.0]])
    found = chances(strips_drawn(3, 12.0), places, looks, 8, AREA)
    assert found.seen.all(axis=1).tolist() == seen and found.as_drawn.tolist() == seen
