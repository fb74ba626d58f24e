"""Shared by every test: the clone as package `athwart`, the real recordings, the provider, two doors of a tool."""
import contextlib
import gc
import inspect
import json
import os
import pathlib
import shutil
import subprocess
import sys
import time
import types

import pytest
from hypothesis import HealthCheck, settings

ROOT = pathlib.Path(__file__).resolve().parents[1]
sys.path.insert(0, str(ROOT / "tests" / "plugins"))

import clone  # noqa: E402

clone.load()
# the same examples every time, so that a red run means changed code; `make proof` draws fresh ones
unhurried = {"deadline": None, "suppress_health_check": [HealthCheck.too_slow]}  # a busy machine is no finding
settings.register_profile("steady", derandomize=True, **unhurried)
settings.register_profile("fresh", derandomize=False, **unhurried)
settings.load_profile(os.environ.get("HYPOTHESIS_PROFILE", "steady"))
_STATUS = pytest.StashKey()


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


@pytest.fixture(scope="session")
def provider(qgis_processing):
    """The registered provider; QGIS deletes an earlier one of the same id, so one serves the whole session."""
    from qgis.core import QgsApplication
    made = sys.modules["athwart"].classFactory(None)
    made.initProcessing()
    yield made.provider
    _let_go()
    made.unload()
    assert QgsApplication.processingRegistry().providerById("athwart") is None


def _let_go():
    """Free what frames of failed runs hold: QGIS keeps them for ever, and their layers would crash its end."""
    lasting = inspect.CO_GENERATOR | inspect.CO_COROUTINE | inspect.CO_ASYNC_GENERATOR
    for frame in [found for found in gc.get_objects() if isinstance(found, types.FrameType)]:
        if not frame.f_code.co_flags & lasting:
            with contextlib.suppress(RuntimeError):  # it still runs
                frame.clear()


@pytest.fixture
def run(provider):
    """run(tool id, {parameters}) -> results, as a script would call it; raises QgsProcessingException."""
    import processing
    from qgis.core import QgsProcessingFeedback

    def call(tool, parameters, feedback=None):
        return processing.run(f"athwart:{tool}", parameters, feedback=feedback or QgsProcessingFeedback(False))
    return call


@pytest.fixture(scope="session")
def command_line():
    """Skips where QGIS was built without qgis_process."""
    if not (shutil.which("qgis_process") or shutil.which("qgis_process.bin")):
        pytest.skip("no qgis_process in this build of QGIS")


@pytest.fixture(scope="session")
def profile(tmp_path_factory):
    """A throwaway QGIS profile shared by the command-line tests."""
    return tmp_path_factory.mktemp("profile")


@pytest.fixture
def qgis_process(command_line, profile):
    """qgis_process(tool id or model file, {parameters}) -> (exit code, results, stderr), in the throwaway profile."""
    def call(tool, parameters):
        values = [f"{name}={value}" for name, value in _flat(parameters)]
        named = str(tool) if str(tool).endswith(".model3") else f"athwart:{tool}"
        done = subprocess.run(
            ["bash", str(ROOT / "tools" / "qp.sh"), "--json", "run", named, "--", *values],
            capture_output=True, text=True, env={**os.environ, "QP_CONFIG": str(profile)}, timeout=120, check=False)
        results = json.loads(done.stdout)["results"] if done.stdout.strip().startswith("{") else {}
        return done.returncode, results, done.stderr
    return call


def _flat(parameters):
    for name, value in parameters.items():
        for one in value if isinstance(value, (list, tuple)) else [value]:
            yield name, one


def pytest_sessionfinish(session, exitstatus):
    session.config.stash[_STATUS] = int(exitstatus)


@pytest.hookimpl(trylast=True)
def pytest_unconfigure(config):
    """Leave before QGIS is torn down: a layer that a failed call's traceback still holds would then be freed twice."""
    if "qgis.core" in sys.modules and _STATUS in config.stash:
        sys.stdout.flush()
        sys.stderr.flush()
        os._exit(config.stash[_STATUS])
