#!/usr/bin/env python3
"""tools/test.py [pytest arguments]: the whole suite, two processes side by side, one closing line.

The core's tests run where QGIS cannot be imported; the others run inside QGIS, those of models and of the whole job
when the core's are done, so that both processors are busy to the end. All run in a time zone far from UTC and with
every configuration folder in a throwaway directory. Paths given as arguments replace the usual ones and run in the
process they belong to.
"""
from __future__ import annotations

import os
import pathlib
import subprocess
import sys
import tempfile
import threading
import time
import xml.etree.ElementTree as ET

ROOT = pathlib.Path(__file__).resolve().parents[1]
CORE = ("tests/survey", "tests/published")
QGIS = ("tests/algorithms", "tests/models", "tests/workflow")
LATER = ("tests/models", "tests/workflow")
TIME_ZONE = "Pacific/Chatham"  # 12:45 ahead of UTC, 13:45 in summer: no mistake of a zone stays unseen


def environment(folder):
    """The environment of one process: the test packages first, nothing of the user's configuration."""
    env = dict(os.environ)
    env.pop("PYTHONHOME", None)
    paths = [ROOT, ROOT / ".build" / "site", ROOT / "tests" / "plugins"]
    env["PYTHONPATH"] = os.pathsep.join(map(str, paths))
    env.update(TZ=TIME_ZONE, OPENBLAS_NUM_THREADS="1", QT_QPA_PLATFORM="offscreen", PYTHONDONTWRITEBYTECODE="1",
               QGIS_CUSTOM_CONFIG_PATH=f"{folder}/qgis", TMPDIR=f"{folder}/tmp")
    for name in ("CACHE", "CONFIG", "DATA", "STATE"):
        env[f"XDG_{name}_HOME"] = f"{folder}/{name.lower()}"
    env["XDG_RUNTIME_DIR"] = f"{folder}/run"
    for name in ("run", "tmp"):
        pathlib.Path(folder, name).mkdir(mode=0o700)
    return env


def start(paths, options, report, folder, **streams):
    """One pytest process over some folders."""
    pathlib.Path(folder).mkdir()
    command = [sys.executable, "-m", "pytest", "-q", "-rfE", f"--junitxml={report}", *options, *paths]
    return subprocess.Popen(command, cwd=ROOT, env=environment(folder), **streams)


def split(arguments):
    """(paths for the core's process, paths for QGIS's process, other arguments)."""
    core, qgis, rest = [], [], []
    for argument in arguments:
        if argument.startswith("tests/"):
            (core if argument.startswith(CORE) else qgis).append(argument)
        else:
            rest.append(argument)
    if not core and not qgis:
        core, qgis = list(CORE), [path for path in QGIS if any((ROOT / path).glob("test_*.py"))]
    return core, qgis, rest


def counts(report):
    """(passed, failed, errors, skipped) of a JUnit report; a missing one counts as an error."""
    try:
        suites = ET.parse(report).getroot().iter("testsuite")
    except (OSError, ET.ParseError):
        return 0, 0, 1, 0
    total = [0, 0, 0, 0]
    for suite in suites:
        number, failed, errors, skipped = (int(suite.get(k, 0)) for k in ("tests", "failures", "errors", "skipped"))
        for i, value in enumerate((number - failed - errors - skipped, failed, errors, skipped)):
            total[i] += value
    return tuple(total)


def told(log):
    """The lines of a process's log but its closing one."""
    return pathlib.Path(log).read_text(encoding="utf-8").splitlines()[:-1]


def one_after_another(jobs, rest, folder, codes):
    """Run processes in turn, each into a log of its own: (name, paths, further options)."""
    for name, paths, options in jobs:
        with open(f"{folder}/{name}.log", "w", encoding="utf-8") as log:
            process = start(paths, [*options, *rest], f"{folder}/{name}.xml", f"{folder}/{name}", stdout=log,
                            stderr=subprocess.STDOUT)
            codes.append(process.wait())


def main():
    began = time.monotonic()
    core, qgis, rest = split(sys.argv[1:])
    later = [path for path in qgis if path.startswith(LATER)] if core else []
    first = [path for path in qgis if path not in later]
    with tempfile.TemporaryDirectory() as folder:
        codes, jobs = [], []
        if core:
            jobs.append(("core", core, ["-p", "no:pytest_qgis", "-p", "no_qgis"]))
        if later:
            jobs.append(("later", later, []))
        beside = threading.Thread(target=one_after_another, args=(jobs, rest, folder, codes))
        beside.start()
        reports = [f"{folder}/{name}.xml" for name, _, _ in jobs]
        if first:
            reports.append(f"{folder}/qgis.xml")
            qgis_run = start(first, rest, reports[-1], f"{folder}/qgis", stdout=subprocess.PIPE,
                             stderr=subprocess.STDOUT, text=True)
            for line in qgis_run.stdout:
                if not line.startswith("=") and " in " not in line[-14:]:
                    print(line, end="", flush=True)
            codes.append(qgis_run.wait())
        beside.join()
        for name, heading in (("later", "models and the whole job"), ("core", "core, with QGIS blocked")):
            if name in [job[0] for job in jobs]:
                print(f"-- {heading} --", *told(f"{folder}/{name}.log"), sep="\n")
        passed, failed, errors, skipped = map(sum, zip(*map(counts, reports)))
    if any(codes) and not failed and not errors:
        print(f"A test process ended with code {', '.join(map(str, codes))} (negative: killed by that signal)")
    parts = [f"{number} {word}" for number, word in
             ((failed, "failed"), (passed, "passed"), (skipped, "skipped"), (errors, "errors")) if number]
    print(f"==== {', '.join(parts) or 'no tests ran'} in {time.monotonic() - began:.2f}s ====", flush=True)
    return 1 if any(codes) or failed or errors or not passed else 0


if __name__ == "__main__":
    sys.exit(main())
