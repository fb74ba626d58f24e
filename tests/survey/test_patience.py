"""A cancel is heard while one long operation runs, and what was begun does not meet the next run."""
import threading
import time

import pytest
import shapely.geometry as sg
from athwart.survey import patience
from athwart.survey.errors import Cancelled
from athwart.survey.plane import shapes


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


def test_a_long_union_is_asked_about_meanwhile(monkeypatch):
    """Discs of 500 vertices, hundreds of them: more questions than the two about the call itself."""
    discs = [sg.Point(x, y).buffer(1.5, 128) for x in range(16) for y in range(16)]
    ask = Ask()
    monkeypatch.setattr(patience, "_EVERY_S", 1e-4)
    with patience.listening(ask):
        joined = shapes.union(discs)
    assert joined.geom_type == "Polygon" and ask.count > 2
