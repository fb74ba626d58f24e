"""Do the core's tests bite? Deliberate breaks of survey/, each run against the tests that concern it: a score.

python3 tests/proof/mutants.py [--count 140] [--seed 1] [--fresh] [--room bottom] [--show]

The breaks are drawn by a seed, so many of each kind, and the same ones every time. Each is made in a throwaway copy
of the clone and meets, quickest first, the tests that call the broken function: for at most LIMIT_S seconds of tests,
which can only make the score worse. Which test calls what is recorded once, and again when the core or its tests have
changed. A run that was cut short goes on where it was: what has died is not killed again while its module is as it was.
Breaks that change nothing anybody could see stand in mutants_equivalent.json, each with the reason.
"""
from __future__ import annotations

import argparse
import ast
import hashlib
import json
import os
import pathlib
import shutil
import subprocess
import sys
import tempfile
from collections import Counter

ROOT = pathlib.Path(__file__).resolve().parents[2]
sys.path.insert(0, str(ROOT / "tests" / "plugins"))

from breaks import KINDS, breaks  # noqa: E402

KEPT = ROOT / ".build" / "mutants"
EQUIVALENT = pathlib.Path(__file__).with_name("mutants_equivalent.json")
COPIED = ("__init__.py", "metadata.txt", "pyproject.toml", "survey", "tests", "sample_project", "docs", "tools",
          "algorithms", "plugin")
SHARES = {"compare": 35, "join": 15, "count": 25, "number": 20, "least": 10, "sign": 10, "drop": 15}
"""Breaks of each kind in a hundred and thirty."""
LEAST_SCORE = 0.95
LIMIT_S, PATIENCE = 60.0, 6.0
"""Seconds of tests a break meets, by the clock of the record; and how many times that it may take."""


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


def started(folder, arguments, **more):
    """A pytest process on a copy of the clone, with QGIS blocked; returns its process."""
    env = {**os.environ, "PYTHONPATH": os.pathsep.join([str(ROOT / ".build" / "site"), f"{folder}/tests/plugins"]),
           "PYTHONDONTWRITEBYTECODE": "1", "TZ": "Pacific/Chatham", "HYPOTHESIS_PROFILE": "steady", **more}
    plugins = ["-p", "no:pytest_qgis", "-p", "no_qgis", "-p", "touched"]
    command = [sys.executable, "-m", "pytest", "-q", *plugins, *arguments]
    return subprocess.Popen(command, cwd=folder, env=env, stdout=subprocess.PIPE, stderr=subprocess.STDOUT, text=True)


def fingerprint(paths):
    """One number for the text of many files."""
    total = hashlib.sha256()
    for path in sorted(paths):
        total.update(path.read_bytes())
    return total.hexdigest()


def record(copy, sources):
    """{test: (seconds, {"module function", ...})} of the core's tests, kept until they or the core change."""
    now = fingerprint([*(ROOT / "survey").rglob("*.py"), *(ROOT / "tests" / "survey").glob("*.py"),
                       *(ROOT / "tests" / "published").glob("*.py")])
    kept = KEPT / "touched.json"
    if kept.exists():
        told = json.loads(kept.read_text(encoding="utf-8"))
        if told["of"] == now:
            return told["tests"]
    print("recording which test calls what ...", flush=True)
    raw = KEPT / "raw.json"
    process = started(copy, ["tests/survey", "tests/published"], TOUCHED_RECORD=str(raw))
    said, _ = process.communicate()
    if process.returncode:
        sys.exit(f"The core's tests fail without any break:\n{said[-3000:]}")
    names = {f"{module}:{first}": f"{module} {name}" for module, text in sources.items()
             for first, name in functions(text)}
    tests = {test: (seconds, sorted({names[one] for one in called if one in names}))
             for test, (seconds, called) in json.loads(raw.read_text(encoding="utf-8")).items()}
    kept.write_text(json.dumps({"of": now, "tests": tests}), encoding="utf-8")
    return tests


def functions(source):
    """(first line, dotted name) of every function of a module."""
    def walk(node, names):
        for child in ast.iter_child_nodes(node):
            if isinstance(child, (ast.FunctionDef, ast.ClassDef)):
                if isinstance(child, ast.FunctionDef):
                    first = min([child.lineno, *(one.lineno for one in child.decorator_list)])
                    yield first, ".".join([*names, child.name])
                yield from walk(child, [*names, child.name])
            else:
                yield from walk(child, names)
    return list(walk(ast.parse(source), []))


def concerned(one, tests):
    """Tests that a break meets: those that call its function, or its module; the quickest first, then file by file."""
    where = f"{one.module} {one.function}"
    calls = {test for test, (_, called) in tests.items() if where in called}
    if not calls:  # a constant, or a class's own level
        calls = {test for test, (_, called) in tests.items() if any(name.split()[0] == one.module for name in called)}
    files = {test.split("::")[0] for test in calls}
    beside = {test for test in tests if test.split("::")[0] in files}  # what a shared fixture called is called once
    ordered = sorted(beside, key=lambda test: (test not in calls, tests[test][0]))
    chosen, total = [], 0.0
    for test in ordered:
        total += tests[test][0]
        if total > LIMIT_S and chosen:
            break
        chosen.append(test)
    return chosen, total


def verdict(one, source, copy, tests):
    """What became of a break: killed (by a test), survived, or 'killed by time'."""
    chosen, seconds = concerned(one, tests)
    if not chosen:
        return "survived", "no test calls it"
    target = copy / "survey" / one.module
    only = copy / "only.txt"
    only.write_text("\n".join(chosen), encoding="utf-8")
    target.write_text(one.made(source), encoding="utf-8")
    try:
        process = started(copy, ["-x", *sorted({test.split("::")[0] for test in chosen})], TOUCHED_ONLY=str(only))
        try:
            said, _ = process.communicate(timeout=40 + PATIENCE * seconds)
        except subprocess.TimeoutExpired:
            process.kill()
            process.communicate()
            return "killed", "time"
    finally:
        target.write_text(source, encoding="utf-8")
    if process.returncode == 0:
        return "survived", f"{len(chosen)} tests passed"
    blamed = [line for line in said.splitlines() if line.startswith(("FAILED", "ERROR"))]
    return "killed", blamed[0].split(" - ")[0].split(" ", 1)[1] if blamed else f"code {process.returncode}"


def main():
    ask = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    ask.add_argument("--count", type=int, default=140)
    ask.add_argument("--seed", type=int, default=1)
    ask.add_argument("--room", default="")
    ask.add_argument("--fresh", action="store_true", help="forget what earlier runs found")
    ask.add_argument("--show", action="store_true", help="only list the breaks")
    asked = ask.parse_args()
    sources = dict(modules())
    chosen, possible = drawn(sources, asked.seed, asked.count, asked.room)
    if asked.show:
        print(*(f"{one.kind:8} {one.module}:{one.line} {one.key()}" for one in chosen), sep="\n")
        return 0
    KEPT.mkdir(parents=True, exist_ok=True)
    results = KEPT / "results.json"
    found = {} if asked.fresh or not results.exists() else json.loads(results.read_text(encoding="utf-8"))
    equivalent = json.loads(EQUIVALENT.read_text(encoding="utf-8"))
    with tempfile.TemporaryDirectory() as folder:
        copy = pathlib.Path(folder) / "clone"
        copy.mkdir()
        for name in COPIED:
            whole = ROOT / name
            (shutil.copytree if whole.is_dir() else shutil.copy)(whole, copy / name)
        tests = record(copy, sources)
        unharmed = started(copy, ["tests/survey/test_units.py"])
        if unharmed.communicate() and unharmed.returncode:
            sys.exit("The copy's tests fail without any break: is this the Python that `make test` uses?")
        print(f"{len(chosen)} of {possible} possible breaks, seed {asked.seed}; {len(tests)} tests", flush=True)
        tally, alive = Counter(), []
        for number, one in enumerate(chosen, 1):
            key, of = one.key(), hashlib.sha256(sources[one.module].encode()).hexdigest()
            if key in equivalent:
                tally["equivalent"] += 1
                continue
            if found.get(key, ["", ""])[:2] != ["killed", of]:
                what, by = verdict(one, sources[one.module], copy, tests)
                found[key] = [what, of, by]
                results.write_text(json.dumps(found, indent=1), encoding="utf-8")
                print(f"{number:4} {what:8} {one.kind:8} {one.module}:{one.line} {one.function}: {one.was} -> {one.now}"
                      f"  ({by})", flush=True)
            tally[found[key][0]] += 1
            alive += [one] if found[key][0] == "survived" else []
    return told(tally, alive, equivalent)


def told(tally, alive, equivalent):
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
