"""pytest plugin for the run of deliberate breaks: which functions each test calls, or chosen tests in order.

TOUCHED_RECORD names a file to write: {test: [seconds, [function, ...]]}, a function being `room/module.py:first line`.
TOUCHED_ONLY names a file of tests, one a line: only those run, in that order.
"""
import json
import os
import pathlib
import sys
import time

import pytest

SURVEY = str(pathlib.Path(__file__).resolve().parents[2] / "survey") + os.sep
RECORD, ONLY = os.environ.get("TOUCHED_RECORD"), os.environ.get("TOUCHED_ONLY")
_FOUND = {}


def _note(seen):
    def profile(frame, event, arg):
        code = frame.f_code
        if event == "call" and code not in seen:
            seen[code] = None
    return profile


@pytest.hookimpl(hookwrapper=True)
def pytest_runtest_protocol(item):
    if not RECORD:
        yield
        return
    seen, began = {}, time.perf_counter()
    sys.setprofile(_note(seen))
    yield
    sys.setprofile(None)
    names = {f"{code.co_filename[len(SURVEY):]}:{code.co_firstlineno}" for code in seen
             if code.co_filename.startswith(SURVEY)}
    _FOUND[item.nodeid] = [round(time.perf_counter() - began, 3), sorted(names)]


def pytest_sessionfinish():
    if RECORD:
        pathlib.Path(RECORD).write_text(json.dumps(_FOUND), encoding="utf-8")


@pytest.hookimpl(trylast=True)
def pytest_collection_modifyitems(items):
    if ONLY:
        place = {name: k for k, name in enumerate(pathlib.Path(ONLY).read_text(encoding="utf-8").splitlines())}
        items[:] = sorted((item for item in items if item.nodeid in place), key=lambda item: place[item.nodeid])
