#!/usr/bin/env python3
"""tools/test.py [pytest arguments]: the whole suite, two processes side by side, one closing line.

The core's tests run where QGIS cannot be imported; the others run inside QGIS. The test files are dealt into a few
groups of about the same work, which wait in a queue for the next processor that is free, so that both are busy to the
end. All run in a time zone far from UTC and with every configuration folder in a throwaway directory. Paths given as
arguments replace the usual ones and run in the process they belong to.
"""
from __future__ import annotations

import os
import pathlib
import queue
import re
import subprocess
import sys
import tempfile
import threading
import time
import xml.etree.ElementTree as ET

ROOT = pathlib.Path(__file__).resolve().parents[1]
CORE = ("tests/survey", "tests/published")
QGIS = ("tests/algorithms", "tests/models", "tests/workflow")
GROUPS = {"core": 3, "QGIS": 4}
"""Each starts a process of its own, which costs a second or two."""
SIDE_BY_SIDE = max(2, min(4, os.cpu_count() or 2))
NOTHING_CHOSEN = 5
"""pytest's exit code of a process that -k or -m left no test."""
LONG_S = 300
"""The whole suite is to stay under this on two processors."""
TOGETHER = ("tests/algorithms/test_faults.py", "tests/algorithms/test_outputs.py", "tests/algorithms/test_styles.py")
"""They look at the same run of every tool's job."""
WORK_S = {
    "tests/algorithms/test_adjusttargets.py": 5, "tests/algorithms/test_bad_input.py": 6,
    "tests/algorithms/test_calibration.py": 4, "tests/algorithms/test_castplan.py": 5,
    "tests/algorithms/test_contour_faults.py": 3, "tests/algorithms/test_contour_surfaces.py": 7,
    "tests/algorithms/test_contract.py": 3, "tests/algorithms/test_coveragegaps.py": 10,
    "tests/algorithms/test_coveragereport.py": 7, "tests/algorithms/test_ensonify.py": 4,
    "tests/algorithms/test_exportgpx.py": 3, "tests/algorithms/test_faults.py": 38,
    "tests/algorithms/test_locatetargets.py": 4, "tests/algorithms/test_nothing_there.py": 9,
    "tests/algorithms/test_odd_places.py": 11, "tests/algorithms/test_outputs.py": 22,
    "tests/algorithms/test_plan_lines.py": 8, "tests/algorithms/test_plan_tools.py": 9,
    "tests/algorithms/test_preparebathymetry.py": 3, "tests/algorithms/test_preparetrack.py": 4,
    "tests/algorithms/test_readlogs.py": 3, "tests/algorithms/test_styles.py": 3,
    "tests/algorithms/test_swathfootprint.py": 4, "tests/algorithms/test_unscannedshoreline.py": 3,
    "tests/models/test_models.py": 16, "tests/models/test_trip.py": 7, "tests/survey/test_adjustment.py": 4,
    "tests/survey/test_arcs.py": 7, "tests/survey/test_bounds.py": 3, "tests/survey/test_budget.py": 4,
    "tests/survey/test_calibration_runs.py": 3, "tests/survey/test_casting.py": 4, "tests/survey/test_castplan.py": 5,
    "tests/survey/test_check.py": 3, "tests/survey/test_clearance.py": 8, "tests/survey/test_district.py": 8,
    "tests/survey/test_examples.py": 4, "tests/survey/test_fill_in.py": 8, "tests/survey/test_gaps.py": 8,
    "tests/survey/test_looks.py": 4, "tests/survey/test_plan_cuts.py": 4, "tests/survey/test_planning.py": 4,
    "tests/survey/test_purity.py": 4, "tests/survey/test_record_map.py": 4, "tests/survey/test_share.py": 21,
    "tests/survey/test_swath.py": 6, "tests/survey/test_target_errors.py": 5, "tests/survey/test_thinning.py": 5,
    "tests/survey/test_visible_segments.py": 8, "tests/survey/test_wheel.py": 4,
    "tests/workflow/test_add_a_tool.py": 6, "tests/workflow/test_chain.py": 15, "tests/workflow/test_contours.py": 6,
    "tests/workflow/test_district.py": 3, "tests/workflow/test_fixture_lakes.py": 15,
    "tests/workflow/test_mapped_sample.py": 4, "tests/workflow/test_package.py": 3, "tests/workflow/test_sample.py": 7,
    "tests/workflow/test_scripting.py": 3, "tests/workflow/test_viewshed.py": 3,
}
"""Seconds of a processor that test files take, measured; the others about one. Only the evenness of the groups hangs on
it: ``tools/test.py --durations=50`` tells."""
TIME_ZONE = "Pacific/Chatham"  # 12:45 ahead of UTC, 13:45 in summer: no mistake of a zone stays unseen


def environment(folder, compiled):
    """The environment of one process: the test packages first, nothing of the user's configuration.

    ``compiled``: a folder where the processes of a run keep compiled modules for each other, None for one process.
    """
    env = dict(os.environ)
    env.pop("PYTHONHOME", None)
    paths = [ROOT, ROOT / ".build" / "site", ROOT / "tests" / "plugins"]
    env["PYTHONPATH"] = os.pathsep.join(map(str, paths))
    env.update(TZ=TIME_ZONE, OPENBLAS_NUM_THREADS="1", QT_QPA_PLATFORM="offscreen",
               QGIS_CUSTOM_CONFIG_PATH=f"{folder}/qgis", TMPDIR=f"{folder}/tmp")
    env.pop("PYTHONDONTWRITEBYTECODE", None)
    env.update({"PYTHONPYCACHEPREFIX": str(compiled)} if compiled else {"PYTHONDONTWRITEBYTECODE": "1"})
    for name in ("CACHE", "CONFIG", "DATA", "STATE"):
        env[f"XDG_{name}_HOME"] = f"{folder}/{name.lower()}"
    env["XDG_RUNTIME_DIR"] = f"{folder}/run"
    for name in ("run", "tmp"):
        pathlib.Path(folder, name).mkdir(mode=0o700)
    return env


class Group:
    """Test files that run in one process, the core's with QGIS blocked."""

    def __init__(self, name, paths, core, folder):
        self.name, self.paths, self.place = name, paths, f"{folder}/{name.replace(' ', '_')}"
        self.core = core
        self.options = ["-p", "no:pytest_qgis", "-p", "no_qgis"] if core else []
        self.options += ["-W", "ignore:invalid escape sequence"]  # in QGIS's own modules, when they are compiled
        self.log, self.report = f"{self.place}.log", f"{self.place}.xml"
        self.begun, self.done, self.code = threading.Event(), threading.Event(), None

    def run(self, rest, compiled):
        """Run it to its end, everything it says into the log."""
        pathlib.Path(self.place).mkdir()
        command = [sys.executable, "-m", "pytest", "-q", "-rfE", f"--junitxml={self.report}", *self.options, *rest,
                   *self.paths]
        try:
            with open(self.log, "w", encoding="utf-8") as log:
                self.begun.set()
                self.code = subprocess.run(command, cwd=ROOT, env=environment(self.place, compiled), stdout=log,
                                           stderr=subprocess.STDOUT, check=False).returncode
        finally:
            self.done.set()

    def told(self):
        """Its lines as they come, but the closing one."""
        self.begun.wait()
        with open(self.log, encoding="utf-8", errors="replace") as log:
            rest = ""
            while True:
                over = self.done.wait(0.2)  # asked before the log is read, so that nothing comes after the last look
                *lines, rest = (rest + log.read()).split("\n")
                for line in lines:
                    if not re.fullmatch(r"=*.* in [0-9.]+s( \(.*\))?[ =]*|-+ generated xml file: .*", line):
                        yield line
                if over:
                    break
        if rest:
            yield rest


def dealt(files, count):
    """Files in so many groups of about the same work, the heaviest first; those that belong together stay so."""
    pieces = [[file for file in TOGETHER if file in files]] + [[file] for file in files if file not in TOGETHER]
    pieces = sorted(pieces, key=lambda piece: (-work(piece), piece))
    groups = [[] for _ in range(min(count, len(pieces)))]
    for piece in pieces:
        min(groups, key=work).extend(piece)
    return sorted((sorted(group) for group in groups if group), key=lambda group: (-work(group), group))


def work(files):
    """Seconds of a processor that files take."""
    return sum(WORK_S.get(file, 1.0) for file in files)


def files_of(folders):
    """Their test files."""
    return [str(path.relative_to(ROOT)) for folder in folders for path in sorted((ROOT / folder).glob("test_*.py"))]


def groups_of(arguments, folder):
    """(groups in the order to start them, other arguments for pytest, whether it is the whole suite)."""
    core, qgis, rest = split(arguments)
    if core or qgis:
        made = [Group(name, paths, name == "core", folder) for name, paths in (("QGIS", qgis), ("core", core)) if paths]
        return made, rest, False
    made = []
    for kind, folders in (("QGIS", QGIS), ("core", CORE)):
        dealt_out = dealt(files_of(folders), GROUPS[kind])
        made += [(work(paths), Group(f"{kind} {number} of {len(dealt_out)}", paths, kind == "core", folder))
                 for number, paths in enumerate(dealt_out, 1)]
    return [group for _, group in sorted(made, key=lambda one: -one[0])], rest, True


def split(arguments):
    """(paths of the core's, paths of QGIS's, other arguments)."""
    core, qgis, rest = [], [], []
    for argument in arguments:
        if argument.startswith("tests/"):
            (core if argument.startswith(CORE) else qgis).append(argument)
        else:
            rest.append(argument)
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


def work_off(waiting, rest, compiled):
    """Take the next group that waits, and the next."""
    while True:
        try:
            group = waiting.get_nowait()
        except queue.Empty:
            return
        group.run(rest, compiled)


def main():
    began = time.monotonic()
    with tempfile.TemporaryDirectory() as folder:
        groups, rest, whole = groups_of(sys.argv[1:], folder)
        waiting = queue.SimpleQueue()
        for group in groups:
            waiting.put(group)
        compiled = pathlib.Path(folder, "compiled") if whole else None
        workers = [threading.Thread(target=work_off, args=(waiting, rest, compiled)) for _ in range(SIDE_BY_SIDE)]
        for worker in workers:
            worker.start()
        for group in groups:
            for number, line in enumerate(group.told()):
                if not number and len(groups) > 1:
                    print(f"-- {group.name}{', with QGIS blocked' * group.core} --", flush=True)
                print(line, flush=True)
        for worker in workers:
            worker.join()
        codes = [group.code for group in groups if group.code != NOTHING_CHOSEN]
        passed, failed, errors, skipped = map(sum, zip(*(counts(group.report) for group in groups)))
    for group in groups:
        if group.code not in (0, 1, NOTHING_CHOSEN):
            print(f"The process of {group.name} ended with code {group.code} (negative: killed by that signal).")
    parts = [f"{number} {word}" for number, word in
             ((failed, "failed"), (passed, "passed"), (skipped, "skipped"), (errors, "errors")) if number]
    seconds = time.monotonic() - began
    if whole and seconds > LONG_S:
        print(f"The suite took {seconds:.0f} s and is to stay under {LONG_S} on two processors that have nothing else "
              "to do: tools/test.py --durations=30 tells where they went.")
    print(f"==== {', '.join(parts) or 'no tests ran'} in {seconds:.2f}s ====", flush=True)
    return 1 if any(codes) or failed or errors or not passed else 0


if __name__ == "__main__":
    sys.exit(main())
