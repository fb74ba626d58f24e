"""Full disks, read-only folders, kills and cancels for every registered tool: what was there before is as it was.

Each tool runs on the sample outing, its outputs once as files and once as tables of one GeoPackage that holds the
lake. Kills (SIGKILL in a copy of the process) and cancels come at many moments of the run, those of writing among them.
Also: how much work lies between two moments at which a tool looks for a cancel, by the processor's own clock.
"""
from __future__ import annotations

import contextlib
import os
import pathlib
import shutil
import sys
import tempfile
import time

ROOT = pathlib.Path(__file__).resolve().parents[2]
sys.path.append("/usr/share/qgis/python/plugins")

from qgis.core import QgsApplication, QgsProcessingFeedback  # noqa: E402

APP = QgsApplication([], False)
APP.initQgis()

import clone  # noqa: E402

clone.load()

import faults  # noqa: E402
import jobs  # noqa: E402
import processing  # noqa: E402
from processing.core.Processing import Processing  # noqa: E402

SHARE = 0.6
"""Of the log, for the faults: it holds a change of range, passes and picks."""
MOMENTS = 5
ROOMS = (0.1, 0.5, 0.9)
"""Share of what the outputs need that the small disk has."""
DAYS = 8
"""For the gaps: so many days of the same outing, so that no run is over in a moment."""
LONGEST, CLOSING = 0.05, 0.15
"""Share of a run's work that may lie between two looks for a cancel: with layers in memory, and with files.

Closing a GeoPackage is one call in which GDAL builds the spatial index (8 to 10 % of a run); nothing can ask meanwhile.
"""
UNFELT_S = 0.1
"""Nobody waits longer than this to be heard (0.1 s feels instant: Card, Moran and Newell 1983, from memory)."""


def run(tool, parameters, feedback=None):
    return processing.run(f"athwart:{tool}", parameters, feedback=feedback or QgsProcessingFeedback(False))


class Clock(faults.Heard):
    """Longest stretch of processor time between two looks for a cancel."""

    def __init__(self):
        super().__init__()
        self.began = self.last = time.process_time()
        self.gap = 0.0

    def isCanceled(self):
        self.look()
        return super().isCanceled()

    def look(self):
        now = time.process_time()
        self.gap, self.last = max(self.gap, now - self.last), now


def outputs(endings, folder, as_tables):
    """Where the outputs of a job go: files of their own, or tables of a GeoPackage where they are layers."""
    text = "ogr:dbname='{}' table=\"{}\" (geom)"
    return {name: text.format(folder / "lake.gpkg", name.lower()) if as_tables and ending == "gpkg"
            else str(folder / f"{name}.{ending}") for name, ending in endings.items()}


def lay_ready(folder, endings, as_tables):
    """An earlier result in the place of every output."""
    if as_tables:
        shutil.copy(jobs.SAMPLE / "lake.gpkg", folder)
    for name, ending in endings.items():
        if not (as_tables and ending == "gpkg"):
            (folder / f"{name}.{ending}").write_text(f"earlier {name}")


def contents(folder):
    """What must not change: bytes of files, rows of the GeoPackage (a killed transaction is taken back when opened)."""
    lake = folder / "lake.gpkg"
    rows = faults.tables(lake) if lake.exists() else None
    return rows, {name: told for name, told in faults.state(folder).items()
                  if not name.startswith("lake.gpkg") and "unfinished" not in name}


def full_disk(tool, parameters, endings, folder, as_tables):
    """(tried, kept, ran): the last counts those that had room after all."""
    good = folder / "good"
    good.mkdir()
    lay_ready(good, endings, as_tables)
    before = sum(path.stat().st_size for path in good.iterdir())
    run(tool, {**parameters, **outputs(endings, good, as_tables)})
    needed = sum(path.stat().st_size for path in good.iterdir()) - before
    kept = fitted = 0
    for number, share in enumerate(ROOMS):
        room = 8 * len(endings) + int((before + share * needed) / 1024)
        with faults.small_disk(folder / f"disk{number}", room) as disk:
            lay_ready(disk, endings, as_tables)
            earlier = contents(disk)
            said = faults.said(run, tool, {**parameters, **outputs(endings, disk, as_tables)})
            fitted += not said
            leftover = list(disk.glob("*unfinished*"))
            kept += not said or (said.startswith("The disk is full:") and contents(disk) == earlier and not leftover)
            if said and not said.startswith("The disk is full:"):
                print("   ", tool, said[:300])
    return len(ROOMS), kept, fitted


def read_only(tool, parameters, endings, folder, as_tables):
    with faults.small_disk(folder / "shut", 4000) as disk:
        lay_ready(disk, endings, as_tables)
        earlier = contents(disk)
        with faults.read_only(disk):
            said = faults.said(run, tool, {**parameters, **outputs(endings, disk, as_tables)})
            return 1, int("may not be written" in said and str(disk) in said and contents(disk) == earlier)


def struck(tool, parameters, endings, folder, as_tables, how):
    """(tried, kept) of kills or cancels; then the run must succeed."""
    quiet = faults.Heard()
    (folder / f"{how}0").mkdir()
    lay_ready(folder / f"{how}0", endings, as_tables)
    run(tool, {**parameters, **outputs(endings, folder / f"{how}0", as_tables)}, quiet)
    place = folder / how
    place.mkdir()
    lay_ready(place, endings, as_tables)
    earlier, there = contents(place), {**parameters, **outputs(endings, place, as_tables)}
    kept = 0
    for at in faults.moments(quiet.steps, MOMENTS):
        if how == "kill":
            done = faults.killed(run, tool, there, at)
        else:
            done = ("Stopped at your request; no output was written" in faults.said(run, tool, there, faults.Heard(at))
                    and not list(place.glob("*unfinished*")))
        kept += done and contents(place) == earlier
    run(tool, there)
    return MOMENTS, kept


def longest_gap(tool, parameters, endings, folder, in_memory):
    """(share of the run, seconds) of the longest stretch without a look, the least of two runs."""
    found = []
    for number in range(2):
        place = folder / f"clock{number}{in_memory}"
        place.mkdir()
        places = outputs(endings, place, False)
        if in_memory:
            places = {name: "memory:" if endings[name] == "gpkg" else path for name, path in places.items()}
        clock = Clock()
        run(tool, {**parameters, **places}, clock)
        clock.look()
        found.append((clock.gap / (clock.last - clock.began), clock.gap))
    return min(found)


def gaps(jobs_of_days, folder):
    """Print the longest gap of every tool; how many are too long."""
    late = 0
    print(f"\nlongest work between two looks for a cancel, {DAYS} days of the outing: layers in memory; in files")
    for tool, (parameters, endings) in jobs_of_days.items():
        here = pathlib.Path(folder, f"{tool}_clock")
        here.mkdir()
        cells = []
        for in_memory, limit in ((True, LONGEST), (False, CLOSING)):
            share, seconds = longest_gap(tool, parameters, endings, here, in_memory)
            slow = share > limit and seconds > UNFELT_S
            late += slow
            cells.append(f"{100 * share:.1f} % {1000 * seconds:.0f} ms{' TOO LONG' if slow else ''}")
        print(f"{tool:19} {cells[0]:>20} {cells[1]:>20}", flush=True)
    return late


def main():
    Processing.initialize()
    plugin = sys.modules["athwart"].classFactory(None)
    plugin.initProcessing()
    failed = 0
    with tempfile.TemporaryDirectory() as folder, open(os.devnull, "w") as nothing, contextlib.redirect_stderr(nothing):
        for name in ("one", "many"):
            pathlib.Path(folder, name).mkdir()
        prepared = jobs.prepare(pathlib.Path(folder, "one"), run, SHARE)
        tools = [tool.name() for tool in plugin.provider.algorithms() if ":" not in tool.name()]
        missing = [tool for tool in tools if tool not in prepared and any((ROOT / "algorithms").glob(f"*/{tool}.py"))]
        print("what was there before is as it was, of so many tries; of full disks also how many had room after all")
        print(f"{'tool':19} {'outputs':8} {'full disk':>12} {'read-only':>10} {'killed':>8} {'cancelled':>10}")
        for tool, (parameters, endings) in prepared.items():
            for as_tables in (False, True):
                if as_tables and "gpkg" not in endings.values():
                    continue
                here = pathlib.Path(folder, f"{tool}_{as_tables}")
                here.mkdir()
                cells = []
                if faults.may_mount():
                    tried, kept, fitted = full_disk(tool, parameters, endings, here, as_tables)
                    cells.append((kept, tried, f" ({fitted})"))
                    tried, kept = read_only(tool, parameters, endings, here, as_tables)
                    cells.append((kept, tried, ""))
                else:
                    cells += [(0, 0, " NOT RUN"), (0, 0, " NOT RUN")]
                for how in ("kill", "cancel"):
                    tried, kept = struck(tool, parameters, endings, here, as_tables, how)
                    cells.append((kept, tried, ""))
                failed += sum(kept < tried for kept, tried, _ in cells)
                texts = [f"{kept}/{tried}{more}" for kept, tried, more in cells]
                print(f"{tool:19} {'tables' if as_tables else 'files':8} {texts[0]:>12} {texts[1]:>10} {texts[2]:>8} "
                      f"{texts[3]:>10}", flush=True)
        failed += gaps(jobs.prepare(pathlib.Path(folder, "many"), run, days=DAYS), folder)
        for tool in missing:
            print(f"{tool}: no job is known for it (tests/plugins/jobs.py)")
    if not faults.may_mount():
        print("full disk, read-only: NOT RUN, a small disk can be mounted by root on Linux only")
    return 1 if failed or missing else 0


if __name__ == "__main__":
    code = main()
    sys.stdout.flush()
    os._exit(code)  # before QGIS is torn down, whose layers failed runs still hold
