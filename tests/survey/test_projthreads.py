"""PROJ contexts that pyproj 3.7 frees too early are kept; workflow/test_desktop_threads.py sees what happens if not."""
import sys
import threading
import types

import pyproj
import pytest
from athwart.survey.geometry import frame, projthreads


@pytest.fixture
def kept(monkeypatch):
    """An empty store of keepers."""
    store = {}
    monkeypatch.setattr(projthreads, "_kept", store)
    return store


@pytest.fixture
def managers(monkeypatch):
    """pyproj 3.7 as far as it matters here: what it holds of the state of the thread, settable."""
    state = types.SimpleNamespace(manager=None)
    fake = types.ModuleType("pyproj._context")
    fake.get_context_manager = lambda: state.manager
    monkeypatch.setitem(sys.modules, "pyproj._context", fake)
    monkeypatch.setattr(pyproj, "__version__", "3.7.1")
    return state


def test_a_context_outlives_the_state_of_its_thread(kept, managers):
    managers.manager = first = object()
    projthreads.keep_context()
    managers.manager = None  # the same thread again, in a new state
    projthreads.keep_context()
    assert list(kept.values()) == [first]


def test_a_new_thread_of_the_same_number_takes_the_place_of_the_old(kept, managers, monkeypatch):
    for number, manager in ((1, "a"), (2, "b"), (1, "c")):
        monkeypatch.setattr(threading, "get_ident", lambda number=number: number)
        managers.manager = manager
        projthreads.keep_context()
    assert kept == {1: "c", 2: "b"}


@pytest.mark.parametrize("crs", ["EPSG:4326", "no such system", 'LOCAL_CS["grid",UNIT["metre",1]]'])
def test_every_use_of_a_coordinate_system_keeps_it_even_one_that_fails(kept, managers, crs):
    managers.manager = manager = object()
    try:
        frame.horizontal_crs(crs)
    except (frame.InputError, pyproj.exceptions.CRSError):
        assert crs != "EPSG:4326"
    assert list(kept.values()) == [manager]


@pytest.mark.parametrize("version", ["3.4.1", "3.6.1", "3.8.0"])
def test_other_versions_need_nothing_kept(kept, managers, monkeypatch, version):
    monkeypatch.setattr(pyproj, "__version__", version)
    managers.manager = object()
    projthreads.keep_context()
    assert not kept
