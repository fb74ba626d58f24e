"""Examples in docstrings: run as they stand, where the core is ``athwart`` and there is no QGIS."""
import json
import os
import subprocess
import sys

import pytest

LEAST = 261
"""Public functions of the core that have an example: never fewer."""

RUN = r"""
import doctest, importlib, inspect, io, json, pkgutil, no_qgis, athwart
heard, tried = io.StringIO(), 0
runner, finder = doctest.DocTestRunner(optionflags=doctest.IGNORE_EXCEPTION_DETAIL), doctest.DocTestFinder()
public, shown = [], []
for found in pkgutil.walk_packages(athwart.__path__, "athwart."):
    if found.name.startswith("athwart.ext"):
        continue
    module = importlib.import_module(found.name)
    homes = {f"athwart.{home}" for home in athwart._HOMES}  # what users paste starts from nothing
    for test in finder.find(module, globs={} if found.name in homes else None):
        runner.run(test, out=heard.write, clear_globs=False)
    for name in getattr(module, "__all__", ()):
        thing = getattr(module, name)
        if inspect.isfunction(thing) and thing.__module__ == found.name:
            public.append(f"{found.name}.{name}")
            shown += [public[-1]] * (">>>" in (thing.__doc__ or ""))
def told(thing):
    return any(">>>" in (getattr(one, "__doc__", None) or "") for one in (thing, *vars(thing).values()))
bare = [name for name in athwart.__all__ if name != "CAUTION" and not told(getattr(athwart, name))]
print(json.dumps({"failed": runner.failures, "tried": runner.tries, "text": heard.getvalue(), "bare": bare,
                  "public": public, "shown": shown}))
"""


@pytest.fixture(scope="module")
def examples(tmp_path_factory):
    """What a run of every example of the core comes to."""
    root = os.path.dirname(os.path.dirname(os.path.dirname(os.path.abspath(__file__))))
    site = tmp_path_factory.mktemp("site")
    os.symlink(os.path.join(root, "survey"), site / "athwart")  # the name under which the core is installed
    env = {**os.environ, "PYTHONPATH": os.pathsep.join([str(site), os.path.join(root, "tests", "plugins")]),
           "PYTHONDONTWRITEBYTECODE": "1"}
    done = subprocess.run([sys.executable, "-c", RUN], cwd=site, env=env, capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stderr
    return json.loads(done.stdout)


def test_every_example_does_what_it_says(examples):
    assert examples["tried"] and not examples["failed"], examples["text"]


def test_every_name_of_the_front_door_has_an_example(examples):
    assert not examples["bare"]


def test_functions_with_an_example_never_become_fewer(examples):
    with_one, all_of_them = len(examples["shown"]), len(examples["public"])
    print(f"{with_one} of {all_of_them} public functions of the core have an example, {all_of_them - with_one} none")
    assert with_one >= LEAST
