"""A cancel is heard while one long operation runs, and what was begun does not meet the next run."""
import threading
import time

import pytest
import shapely
import shapely.geometry as sg
import shapely.ops
from athwart.survey.geometry import shapes
from athwart.survey.model import patience
from athwart.survey.model.errors import Cancelled


class Ask:
    """Says stop at the ``at``-th question."""

    def __init__(self, at=10**9):
        self.count, self.at = 0, at

    def __call__(self):
        self.count += 1
        if self.count >= self.at:
            raise Cancelled


def test_nobody_listens_nothing_changes():
    patience.look()
    assert patience.heard(lambda a, b: a + b, 2, 3) == 5
    assert shapes.union([sg.box(0, 0, 2, 2), sg.box(1, 0, 3, 2)]).area == 6


def test_what_is_made_and_what_fails_comes_back():
    with patience.listening(Ask()):
        assert patience.heard(lambda a, b: a + b, 2, 3) == 5
        assert shapes.union([sg.box(0, 0, 2, 2), sg.box(1, 0, 3, 2)]).area == 6
        with pytest.raises(ZeroDivisionError):
            patience.heard(lambda: 1 / 0)
    patience.look()


def test_a_cancel_is_heard_before_the_work_ends():
    done, go = [], threading.Event()
    with patience.listening(Ask(3)), pytest.raises(Cancelled):
        patience.heard(lambda: (go.wait(60), done.append(1)))
    assert not done
    go.set()
    with patience.listening(Ask()):  # waits for what was left alone
        assert done == [1]


def test_work_that_looks_ends_when_it_is_given_up():
    ended = threading.Event()

    def work():
        try:
            while True:
                time.sleep(0.001)
                patience.look()
        finally:
            ended.set()
    with patience.listening(Ask(4)), pytest.raises(Cancelled):
        patience.heard(work)
    assert ended.wait(30)


def test_a_union_is_asked_about_meanwhile(monkeypatch):
    """The library's own union, held up until it has been asked about five times."""
    ask, asked = Ask(), threading.Event()

    def held_up(union):
        def call(geometries):
            while ask.count < 5:
                asked.wait(0.001)
            return union(geometries)
        return call
    for place, name in ((shapely, "union_all"), (shapely.ops, "unary_union")):
        if hasattr(place, name):
            monkeypatch.setattr(place, name, held_up(getattr(place, name)))
    with patience.listening(ask):
        assert shapes.union([sg.box(0, 0, 2, 2), sg.box(1, 0, 3, 2)]).area == 6
