"""pytest plugin for the run of deliberate breaks: which lines of the core each test executes, or chosen tests in order.

TOUCHED_RECORD names a file to write: {test file: {test: [seconds, {module: lines}]}}, lines being a hexadecimal number
whose bit k is line k. What a test file does while it is read stands under the name "". Tests that fail are left out and
listed as the file "". Needs the package coverage.
TOUCHED_ONLY names a file of tests, one a line: only those run, in that order.
"""
import json
import os
import pathlib
import time

import pytest

CORE = pathlib.Path(__file__).resolve().parents[2] / "survey"
RECORD, ONLY = os.environ.get("TOUCHED_RECORD"), os.environ.get("TOUCHED_ONLY")
if RECORD:
    import coverage

    _WATCH = coverage.Coverage(data_file=None, include=[f"{CORE}{os.sep}*"])
    _SECONDS, _FAILED = {}, set()

    def pytest_sessionstart():
        _WATCH.start()

    @pytest.hookimpl(hookwrapper=True)
    def pytest_make_collect_report(collector):
        if isinstance(collector, pytest.Module):
            _WATCH.switch_context(f"{collector.nodeid}\t")
        yield
        _WATCH.switch_context("")

    @pytest.hookimpl(hookwrapper=True)
    def pytest_runtest_protocol(item):
        began = time.perf_counter()
        _WATCH.switch_context(f"{item.nodeid.split('::')[0]}\t{item.nodeid}")
        yield
        _WATCH.switch_context("")
        _SECONDS[item.nodeid] = round(time.perf_counter() - began, 3)

    def pytest_runtest_logreport(report):
        if report.failed:
            _FAILED.add(report.nodeid)

    def pytest_sessionfinish():
        _WATCH.stop()
        data, found = _WATCH.get_data(), {}
        found[""] = sorted(_FAILED)
        for path in data.measured_files():
            module, bits = pathlib.Path(path).relative_to(CORE).as_posix(), {}
            for line, contexts in data.contexts_by_lineno(path).items():
                for context in contexts:
                    bits[context] = bits.get(context, 0) | 1 << line
            for context, lines in bits.items():
                if context and context.split("\t")[1] not in _FAILED:
                    file, test = context.split("\t")
                    own = found.setdefault(file, {}).setdefault(test, [_SECONDS.get(test, 0.0), {}])
                    own[1][module] = f"{lines:x}"
        pathlib.Path(RECORD).write_text(json.dumps(found), encoding="utf-8")


@pytest.hookimpl(trylast=True)
def pytest_collection_modifyitems(items):
    if ONLY:
        place = {name: k for k, name in enumerate(pathlib.Path(ONLY).read_text(encoding="utf-8").splitlines())}
        items[:] = sorted((item for item in items if item.nodeid in place), key=lambda item: place[item.nodeid])
