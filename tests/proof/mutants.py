"""Do the core's tests bite? Deliberate breaks of survey/, each run against the tests that execute it: a score.

python3 tests/proof/mutants.py [--count 140] [--seed 1] [--fresh] [--room bottom] [--show] [--core]

The breaks are drawn by a seed, so many of each kind, and the same ones every time. Each is made in a throwaway copy
of the clone and meets, quickest first, the tests that execute its line: for at most LIMIT_S seconds of tests, which can
only make the score worse. Core tests come first; where they all pass, or none is there, the tools' tests inside QGIS
(not with --core). Which test executes which line is recorded once, and again for a test file that has changed. A run
that was cut short goes on where it was. Breaks that change nothing anybody could see stand in mutants_equivalent.json,
each with the reason.
"""
from __future__ import annotations

import argparse
import hashlib
import json
import multiprocessing
import os
import pathlib
import shutil
import signal
import subprocess
import sys
import tempfile
import time
from collections import Counter

ROOT = pathlib.Path(__file__).resolve().parents[2]
os.environ.update(OPENBLAS_NUM_THREADS="1", OMP_NUM_THREADS="1")  # two threads on a busy machine wait for each other
SITES = [str(ROOT / ".build" / name) for name in ("site", "coverage")]
sys.path[:0] = [str(ROOT / "tests" / "plugins"), *SITES]

from breaks import KINDS, breaks  # noqa: E402
from concerned import Record, places  # noqa: E402

KEPT = ROOT / ".build" / "mutants"
EQUIVALENT = pathlib.Path(__file__).with_name("mutants_equivalent.json")
COPIED = ("__init__.py", "metadata.txt", "pyproject.toml", "setup.py", "README.md", "LICENSE", "survey", "tests",
          "sample_project", "docs", "tools", "algorithms", "plugin")
FOLDERS = {"core": ("tests/survey", "tests/published"), "qgis": ("tests/algorithms",)}
SHARES = {"compare": 35, "join": 15, "count": 25, "number": 20, "least": 10, "sign": 10, "drop": 15}
"""Breaks of each kind in a hundred and thirty."""
LEAST_SCORE = 0.95
FIRST_S, LIMIT_S = 5.0, 40.0
"""Seconds of tests, by the clock of the record: of a first handful, and of all that a break meets."""
PATIENCE, START_S = 5.0, 25.0
"""A break has died by time when it takes so many times what the same tests take unbroken just afterwards."""


def modules():
    """(path under survey/, source) of the core's modules, bundled parsers left out."""
    for path in sorted((ROOT / "survey").rglob("*.py")):
        name = path.relative_to(ROOT / "survey")
        if name.parts[0] != "ext":
            yield str(name), path.read_text(encoding="utf-8")


def drawn(sources, seed, count, room):
    """The breaks of a run, those of a module together."""
    every = [one for name, text in sources.items() if name.startswith(room) for one in breaks(name, text)]
    chosen = []
    for kind in KINDS:
        own = sorted((one for one in every if one.kind == kind), key=lambda one: one.lot(seed))
        chosen += own[:round(count * SHARES[kind] / sum(SHARES.values()))]
    return sorted(chosen, key=lambda one: (one.module, one.line)), len(every)


class Copy:
    """A throwaway copy of the clone: breaks are made in it and tests run on it."""

    def __init__(self, folder):
        self.root = pathlib.Path(folder) / "clone"
        self.root.mkdir()
        for name in COPIED:
            whole = ROOT / name
            (shutil.copytree if whole.is_dir() else shutil.copy)(whole, self.root / name)
        (self.root / ".build").symlink_to(ROOT / ".build")
        self.log, self.only = pathlib.Path(folder) / "log", pathlib.Path(folder) / "only"

    def run(self, kind, arguments, timeout=None, **more):
        """(exit code or None for a time-out, seconds, what was said) of pytest over some files."""
        began = time.monotonic()
        if kind == "core":
            process = multiprocessing.get_context("fork").Process(target=self._core, args=(arguments, more))
            process.start()
            process.join(timeout)
            code = process.exitcode
        else:
            command = [sys.executable, "tools/test.py", "-p", "touched", *arguments]
            with open(self.log, "w", encoding="utf-8") as log:
                process = subprocess.Popen(command, cwd=self.root, env={**os.environ, **more}, stdout=log,
                                           stderr=subprocess.STDOUT, start_new_session=True)
                try:
                    code = process.wait(timeout)
                except subprocess.TimeoutExpired:
                    code = None
        if code is None:
            os.killpg(process.pid, signal.SIGKILL)
            process.join() if kind == "core" else process.wait()
        return code, time.monotonic() - began, self.log.read_text(encoding="utf-8", errors="replace")

    def _core(self, arguments, more):
        """In a fork, which has numpy and the like already: pytest with QGIS blocked, in a time zone far from UTC."""
        os.setsid()
        os.chdir(self.root)
        log = os.open(self.log, os.O_WRONLY | os.O_CREAT | os.O_TRUNC)
        os.dup2(log, 1)
        os.dup2(log, 2)
        mine = str(self.root / "tests" / "plugins")
        sys.path[:] = [mine, *SITES, *(path for path in sys.path if not path.startswith(str(ROOT)))]
        os.environ.update(PYTHONPATH=os.pathsep.join(SITES[:1] + [mine]), TZ="Pacific/Chatham",
                          HYPOTHESIS_PROFILE="steady", **more)
        time.tzset()
        import pytest
        plugins = ["-p", "no:pytest_qgis", "-p", "no_qgis", "-p", "touched"]
        os._exit(int(pytest.main(["-q", *plugins, *arguments])))

    def meet(self, kind, tests, timeout):
        """Run chosen tests, in order, to the first that fails."""
        self.only.write_text("\n".join(tests), encoding="utf-8")
        files = list(dict.fromkeys(test.split("::")[0] for test in tests))
        return self.run(kind, ["-x", *files], timeout, TOUCHED_ONLY=str(self.only))


def recorded(copy, kind, record):
    """The record of one kind's tests, what is missing made now; returns their files."""
    files = sorted(str(path.relative_to(copy.root)) for folder in FOLDERS[kind]
                   for path in (copy.root / folder).glob("test_*.py"))
    stale = record.stale(files)
    if stale:
        print(f"recording which lines the tests of {len(stale)} files execute ...", flush=True)
        raw = KEPT / "raw.json"
        raw.unlink(missing_ok=True)
        code, seconds, said = copy.run(kind, stale, TOUCHED_RECORD=str(raw))
        if not raw.exists():
            sys.exit(f"The tests cannot be recorded, code {code}:\n{said[-3000:]}")
        told = json.loads(raw.read_text(encoding="utf-8"))
        record.add(stale, told)
        failing = told[""]
        print(f"... {seconds:.0f} s" + f"; fail without any break, so left out: {', '.join(failing)}" * bool(failing),
              flush=True)
    return files


def handfuls(executing, others, first):
    """Tests in the order they are met, in handfuls; ``first`` is what killed the break before."""
    order = sorted(executing, key=lambda test: (test != first, executing[test]))
    order += sorted(others, key=others.get)
    seconds = {**executing, **others}
    hands, total, limit = [[]], 0.0, FIRST_S
    for test in order:
        total += seconds[test]
        if total > LIMIT_S and (hands[0] or len(hands) > 1):
            break
        if total > limit and hands[-1]:
            hands.append([])
            limit = LIMIT_S if limit > FIRST_S else LIMIT_S / 3
        hands[-1].append(test)
    return [(hand, sum(seconds[test] for test in hand)) for hand in hands if hand]


def verdict(one, source, copy, records, first):
    """What became of a break: killed (by a test, or by time), or survived."""
    target, met = copy.root / "survey" / one.module, 0
    for kind, (record, files) in records.items():
        where = places(one, record.sources)
        for tests, seconds in handfuls(*record.meeting(where, files), first):
            timeout = START_S + PATIENCE * seconds
            _write(target, one.made(source))
            try:
                code, took, said = copy.meet(kind, tests, timeout)
                if code is None:
                    _write(target, source)
                    fair = copy.meet(kind, tests, None)[1]
                    if took < PATIENCE * fair:  # the machine was slow, not the break
                        _write(target, one.made(source))
                        code, took, said = copy.meet(kind, tests, PATIENCE * fair + START_S)
                    if code is None:
                        return "killed", f"time: {took:.0f} s, unbroken {fair:.0f} s"
            finally:
                _write(target, source)
            if code:
                blamed = [line for line in said.splitlines() if line.startswith(("FAILED", "ERROR"))]
                return "killed", blamed[0].split(" - ")[0].split(" ", 1)[1] if blamed else f"code {code}: {said[-200:]}"
            met += len(tests)
    return "survived", f"{met} tests passed" if met else "no test executes it"


def _write(target, text):
    """Write a module; its time says which text it is, so that no compiled break outlives it."""
    target.write_text(text, encoding="utf-8")
    stamp = int(hashlib.sha256(text.encode()).hexdigest()[:7], 16)
    os.utime(target, (stamp, stamp))


def ready(copy, kinds):
    """Compile everything once and see that the copy's tests pass, and fail when they must."""
    for target in (copy.root / "survey").rglob("*.py"):
        _write(target, target.read_text(encoding="utf-8"))
    import pyproj  # noqa: F401  what every fork would load again
    import pytest  # noqa: F401
    import shapely  # noqa: F401
    if copy.run("core", ["--collect-only", *FOLDERS["core"]])[0]:
        sys.exit("The copy's tests cannot be read: is this the Python that `make test` uses?\n"
                 f"{copy.log.read_text()[-2000:]}")
    for kind, test in (("core", "tests/survey/test_units.py"), ("qgis", "tests/algorithms/test_names.py")):
        if kind in kinds and copy.run(kind, [test])[0]:
            sys.exit(f"The copy's tests fail without any break: {test}\n{copy.log.read_text()[-2000:]}")
    sys.dont_write_bytecode = True
    os.environ["PYTHONDONTWRITEBYTECODE"] = "1"


def main():
    ask = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    ask.add_argument("--count", type=int, default=140)
    ask.add_argument("--seed", type=int, default=1)
    ask.add_argument("--room", default="")
    ask.add_argument("--fresh", action="store_true", help="forget what earlier runs found")
    ask.add_argument("--show", action="store_true", help="only list the breaks")
    ask.add_argument("--core", action="store_true", help="leave out the tools' tests inside QGIS")
    asked = ask.parse_args()
    sources = dict(modules())
    chosen, possible = drawn(sources, asked.seed, asked.count, asked.room)
    if asked.show:
        print(*(f"{one.kind:8} {one.module}:{one.line} {one.key()}" for one in chosen), sep="\n")
        return 0
    KEPT.mkdir(parents=True, exist_ok=True)
    results = KEPT / "results.json"
    before = json.loads(results.read_text(encoding="utf-8")) if results.exists() else {}
    equivalent = json.loads(EQUIVALENT.read_text(encoding="utf-8"))
    kinds = ["core"] if asked.core else list(FOLDERS)
    with tempfile.TemporaryDirectory() as folder:
        copy = Copy(folder)
        ready(copy, kinds)
        records = {}
        for kind in kinds:
            record = Record(KEPT / f"lines_{kind}.json", copy.root, sources)
            records[kind] = record, recorded(copy, kind, record)
        number = sum(len(record.files[file]["tests"]) for record, files in records.values() for file in files)
        tests_of = hashlib.sha256("".join(record.files[file]["of"] for record, files in records.values()
                                          for file in files).encode()).hexdigest()
        print(f"{len(chosen)} of {possible} possible breaks, seed {asked.seed}; {number} tests", flush=True)
        found = {} if asked.fresh else before
        tally, alive = Counter(), []
        for turn, one in enumerate(chosen, 1):
            key, of = one.key(), hashlib.sha256(sources[one.module].encode()).hexdigest()
            if key in equivalent:
                tally["equivalent"] += 1
                continue
            known = found.get(key, ["", "", "", ""])
            if known[:2] != ["killed", of] and (known[0], known[1], known[3]) != ("survived", of, tests_of):
                what, by = verdict(one, sources[one.module], copy, records, before.get(key, ["", "", ""])[2])
                found[key] = [what, of, by, tests_of]
                results.write_text(json.dumps(found, indent=1), encoding="utf-8")
                print(f"{turn:4} {what:8} {one.kind:8} {one.module}:{one.line} {one.function}: {one.was} -> {one.now}"
                      f"  ({by})", flush=True)
            tally[found[key][0]] += 1
            alive += [one] if found[key][0] == "survived" else []
    return told(tally, alive)


def told(tally, alive):
    """Print the closing table; returns the exit code."""
    judged = tally["killed"] + tally["survived"]
    score = tally["killed"] / judged if judged else 0.0
    for one in alive:
        print(f"survived: {one.module}:{one.line} {one.key()}")
    print(f"killed {tally['killed']}, survived {tally['survived']}, equivalent {tally['equivalent']}: "
          f"{100 * score:.1f} % of {judged} breaks that matter die (at least {100 * LEAST_SCORE:g} %)")
    return 0 if score >= LEAST_SCORE else 1


if __name__ == "__main__":
    sys.exit(main())
