"""Shared by every test: the clone as package `athwart`, and the real recordings."""
import pathlib
import sys
import time

import pytest

ROOT = pathlib.Path(__file__).resolve().parents[1]
sys.path.insert(0, str(ROOT / "tests" / "plugins"))

import clone  # noqa: E402

clone.load()


@pytest.fixture
def root():
    """The clone's folder."""
    return ROOT


@pytest.fixture
def fixtures():
    """Folder of the real recordings and maps."""
    return ROOT / "tests" / "fixtures"


@pytest.fixture
def zone(monkeypatch):
    """zone("America/Chicago"): the computer's own time zone, until the test is over."""
    if not hasattr(time, "tzset"):
        pytest.skip("the zone cannot be set on this system")

    def call(name):
        monkeypatch.setenv("TZ", name)
        time.tzset()

    yield call
    monkeypatch.undo()
    time.tzset()
