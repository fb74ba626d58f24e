"""Full disks, read-only folders, kills and cancels for every registered tool: what was there before is as it was.

Each tool runs on the whole sample outing, its outputs once as files and once as tables of one GeoPackage that holds the
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
sys.path[:0] = [str(ROOT / "tests" / "plugins"), "/usr/share/qgis/python/plugins"]

from qgis.core import QgsApplication, QgsProcessingFeedback  # noqa: E402

APP = QgsApplication([], False)
APP.initQgis()

import clone  # noqa: E402

clone.load()

import faults  # noqa: E402
import jobs  # noqa: E402
import processing  # noqa: E402
from processing.core.Processing import Processing  # noqa: E402

MOMENTS = 5
ROOMS = (0.1, 0.5, 0.9)
"""Share of what the outputs need that the small disk has."""
LONGEST = 0.05
"""Share of a run's work that may lie between two looks for a cancel."""
OVERHEAD_S = 0.02
"""What QGIS itself takes to open a layer or a sink, and no tool can cut: gaps under this are none."""


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


def longest_gap(tool, parameters, endings, folder):
    """(share of the run, seconds) of the longest stretch without a look, the least of three runs."""
    found = []
    for number in range(3):
        place = folder / f"clock{number}"
        place.mkdir()
        clock = Clock()
        run(tool, {**parameters, **outputs(endings, place, False)}, clock)
        clock.look()
        found.append((clock.gap / (clock.last - clock.began), clock.gap))
    return min(found)


def main():
    Processing.initialize()
    plugin = sys.modules["athwart"].classFactory(None)
    plugin.initProcessing()
    failed = 0
    with tempfile.TemporaryDirectory() as folder, contextlib.redirect_stderr(open(os.devnull, "w")):
        prepared = jobs.prepare(pathlib.Path(folder), run)
        tools = [tool.name() for tool in plugin.provider.algorithms() if ":" not in tool.name()]
        missing = [tool for tool in tools if tool not in prepared and (ROOT / "algorithms").glob(f"*/{tool}.py")]
        missing = [tool for tool in missing if any((ROOT / "algorithms").glob(f"*/{tool}.py"))]
        print("kept/tried; of full disks also how many had room after all; gap: longest work without a look for a cancel")
        print(f"{'tool':19} {'outputs':8} {'full disk':>12} {'read-only':>10} {'killed':>8} {'cancelled':>10} {'gap':>14}")
        for tool, (parameters, endings) in prepared.items():
            for as_tables in (False, True):
                if as_tables and "gpkg" not in endings.values():
                    continue
                here = pathlib.Path(folder, f"{tool}_{as_tables}")
                here.mkdir()
                gap, cells = "", []
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
                if not as_tables:
                    share, seconds = longest_gap(tool, parameters, endings, here)
                    late = share > LONGEST and seconds > OVERHEAD_S
                    failed += late
                    gap = f"{100 * share:.0f} % {1000 * seconds:.0f} ms{' !' if late else ''}"
                failed += sum(kept < tried for kept, tried, _ in cells)
                texts = [f"{kept}/{tried}{more}" for kept, tried, more in cells]
                print(f"{tool:19} {'tables' if as_tables else 'files':8} {texts[0]:>12} {texts[1]:>10} {texts[2]:>8} "
                      f"{texts[3]:>10} {gap:>14}", flush=True)
        for tool in missing:
            print(f"{tool}: no job is known for it (tests/plugins/jobs.py)")
    if not faults.may_mount():
        print("full disk, read-only: NOT RUN, a small disk can be mounted by root on Linux only")
    return 1 if failed or missing else 0


if __name__ == "__main__":
    code = main()
    sys.stdout.flush()
    os._exit(code)  # before QGIS is torn down, whose layers failed runs still hold
