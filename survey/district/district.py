"""A district from its two tables to its results: who is to be worked, in which order, and what became of each."""
from __future__ import annotations

import pathlib
import re
import time
from collections import Counter
from dataclasses import dataclass, field
from typing import Any

from ..model.errors import InputError, SurveyError
from . import results
from .engine import Here, Job, Lost
from .lake import judge_lake
from .outing import survey_outing
from .settings import DistrictSettings
from .store import Store
from .tables import read_lake, read_rows, the_outings
from .version import version

__all__ = ["District", "Failure", "survey_district"]

_PARTS = "parts"
_OF_THE_PROGRAM = ("This is a fault of the program, not of the data. Report it with the table's row and its files; all "
                   "other outings and lakes are done.")
_ROW = "Correct the row or its files, then run the same command again: what is done is not done again."


@dataclass(frozen=True)
class Failure:
    """``kind`` outing or lake, what it is called, ``cause`` and ``remedy`` as sentences."""

    kind: str
    lake: str
    outing: str
    cause: str
    remedy: str


@dataclass
class District:
    """What a run came to.

    ``outings``, ``lakes``: {name: facts} of those that are done; ``failures``; ``states``: {lake: state}.
    ``worked``, ``kept``: how many outings and lakes were done now, and earlier. ``folder``: of the results, ``files``
    written in it. ``warnings``: sentences.
    """

    folder: pathlib.Path
    outings: dict = field(default_factory=dict)
    lakes: dict = field(default_factory=dict)
    failures: list = field(default_factory=list)
    states: dict = field(default_factory=dict)
    worked: int = 0
    kept: int = 0
    files: list = field(default_factory=list)
    warnings: list = field(default_factory=list)
    seconds: float = 0.0


def survey_district(outings: Any, lakes: Any, folder: Any, settings: DistrictSettings | None = None,
                    engine: Any = None, *, send: bool = False, progress: Any = None,
                    layers: bool = True) -> District:
    """Survey a district: every outing by itself, then every lake over all its outings, then the whole.

    Parameters
    ----------
    outings, lakes : path, or (path, layer)
        Tables; see the guide's page on districts for their columns.
    folder : path
        For the results, and for the parts that are done; run again with the same one, only what changed is done.
    settings : DistrictSettings, optional
    engine : engine.Here, engine.Dask, or distributed.Client, optional
        Who does the work; this process by default.
    send : bool
        Send the workers what is in the files, for those that cannot read the paths.
    progress : callable, optional
        ``progress(done, of, sentence)`` after each outing and lake.
    layers : bool
        False leaves out the GeoPackage, the project and the pages.

    Returns
    -------
    District

    Raises
    ------
    InputError
        If a table as a whole cannot be used. What is wrong with one outing or lake is a failure of that alone.

    Examples
    --------
    >>> import pathlib, tempfile
    >>> import athwart
    >>> folder = pathlib.Path(tempfile.mkdtemp())
    >>> lake = "POLYGON ((500000 4500000, 500100 4500000, 500100 4500100, 500000 4500000))"
    >>> _ = (folder / "lakes.csv").write_text(chr(10).join(["lake;crs;area", f"Mill Pond;EPSG:32619;{lake}"]))
    >>> _ = (folder / "outings.csv").write_text(chr(10).join(["outing,lake,logs,unit", "north,Mill Pond,a.nmea,m"]))
    >>> made = athwart.survey_district(folder / "outings.csv", folder / "lakes.csv", folder / "made", layers=False)
    >>> print(made.failures[0].outing, made.failures[0].remedy)
    north Check that it exists, is a file, and is not open in another program.
    """
    began = time.monotonic()
    settings, engine = settings or DistrictSettings(), engine or Here()
    if not hasattr(engine, "work"):
        from .engine import Dask
        engine = Dask(client=engine)
    run = _Run(outings, lakes, pathlib.Path(folder), settings, send, progress or (lambda done, of, text: None))
    engine.work(run.first_jobs(), run.report, run.more)
    made = run.finished()
    if layers:
        results.write(made, run.rows, run.lakes, run.part_of, settings)
    made.seconds = time.monotonic() - began
    return made


class _Run:
    """What is known of each outing and each lake while the work goes on."""

    def __init__(self, outings: Any, lakes: Any, folder: Any, settings: Any, send: Any, progress: Any) -> None:
        rows, _ = read_rows(*_table(outings))
        self.rows, unread = the_outings(rows, _table(outings)[0].parent)
        self.made = District(folder)
        if unread:
            self.made.warnings.append(f"Columns of the outings that nothing reads: {', '.join(unread)}.")
        self.store = Store(folder / _PARTS, version(), settings)
        self.settings, self.send, self._progress = settings, send, progress
        self.lakes: dict[str, Any] = {}
        own, crs = read_rows(*_table(lakes))
        self._read_lakes(own, crs, _table(lakes)[0].parent)
        self._keys: dict[str, str] = {}
        self._left: dict[str, int] = {}
        self._new: list[Job] = []
        self._rows_of: dict[str, list[Any]] = {}
        self._row_of: dict[str, Any] = {}
        self._done = 0
        self._all = len(self.rows) + len(self.lakes)

    def _read_lakes(self, rows: Any, crs: Any, folder: Any) -> None:
        if not rows or "lake" not in rows[0]:
            raise InputError("The table of lakes has no row, or no column lake. Write one row for each lake.",
                             field="lakes")
        for number, row in enumerate(rows, 1):
            name = row["lake"]
            if not name or name in self.lakes:
                raise InputError(f"Row {number} of the lakes has {'the name of an earlier one' if name else 'no name'}"
                                 f"{f': {name}' if name else ''}. Give every lake a name of its own.", field="lakes")
            try:
                self.lakes[name] = read_lake(row, crs, folder)
            except SurveyError as error:
                self.lakes[name] = None
                self._fail("lake", name, "", error)

    def first_jobs(self) -> Any:
        """Outings that are to be worked; those done earlier are counted, and lakes that wait for none follow."""
        jobs = []
        self._row_of = {row.name: row for row in self.rows}
        for row in self.rows:
            self._rows_of.setdefault(row.lake, []).append(row)
        counts = Counter(row.lake for row in self.rows)
        self._left = {name: counts[name] for name in self.lakes}
        for name, lake in self.lakes.items():
            if lake is None or not counts[name]:
                self._judge(name)
        for row in self.rows:
            if row.lake not in self.lakes:
                self._fail("outing", row.lake, row.name, InputError(
                    f"The table of lakes has no lake '{row.lake}'. Add it there, or correct the name."))
                self._count(f"{row.name}: no such lake")
                continue
            lake = self.lakes[row.lake]
            if lake is None:
                self._fail("outing", row.lake, row.name, InputError(
                    f"The lake '{row.lake}' could not be read. Correct the lake's own row first."))
                self._count(f"{row.name}: its lake failed")
                continue
            key = self.store.outing_key(row, lake)
            self._keys[row.name] = key
            if self.store.has(key):
                self.made.kept += 1
                self._outing_done(row)
                continue
            jobs.append(Job(f"outing:{row.name}", survey_outing,
                            (row, lake, self.settings, self._sent(row, lake))))
        return [*self.more(), *jobs]

    def _sent(self, row: Any, lake: Any) -> Any:
        if not self.send:
            return None
        files = {}
        for path in (*row.files, *lake.files):
            try:
                files[path] = pathlib.Path(path).read_bytes()
            except OSError:
                continue  # the worker says so, as it does without sending
        return files

    def more(self) -> Any:
        """Lakes whose outings are all settled."""
        jobs, self._new = self._new, []
        return jobs

    def report(self, job: Any, data: Any, error: Any) -> None:
        """What became of a job."""
        kind, name = job.key.split(":", 1)
        if kind == "outing":
            row = self._row_of[name]
            if error is None:
                self.store.put(self._keys[name], data)
                self.made.worked += 1
                self._outing_done(row)
            else:
                self._fail("outing", row.lake, name, _unseen(error, (*row.files, *self.lakes[row.lake].files)))
                self._settle(row.lake)
                self._count(f"outing {name} failed")
            return
        if error is None:
            self.store.put(self._keys[job.key], data)
            self.made.worked += 1
            self._lake_done(name)
        else:
            self._fail("lake", name, "", error)
            self._count(f"lake {name} failed")

    def _outing_done(self, row: Any) -> None:
        self.made.outings[row.name] = self.store.get(self._keys[row.name]).facts
        self._count(f"outing {row.name}")
        self._settle(row.lake)

    def _settle(self, lake: Any) -> None:
        self._left[lake] -= 1
        if not self._left[lake]:
            self._judge(lake)

    def _judge(self, name: str) -> None:
        """All outings of a lake are settled: what is to be done with it."""
        lake = self.lakes[name]
        own = [row.name for row in self._rows_of.get(name, ()) if row.name in self.made.outings]
        if lake is None or not own:
            self._count(f"lake {name}: {'not read' if lake is None else 'no outing'}")
            return
        key = f"lake:{name}"
        self._keys[key] = self.store.lake_key(lake, [self._keys[one] for one in own])
        if self.store.has(self._keys[key]):
            self.made.kept += 1
            self._lake_done(name)
            return
        places = [self.store.path(self._keys[one]).resolve() for one in own]
        given = [place.read_bytes() for place in places] if self.send else [str(place) for place in places]
        self._new.append(Job(key, judge_lake, (lake, given, self.settings)))

    def _lake_done(self, name: str) -> None:
        facts = self.store.get(self._keys[f"lake:{name}"]).facts
        facts.pop("page")  # long, and wanted once
        self.made.lakes[name] = facts
        self._count(f"lake {name}: {facts['covered_pct']:.1f} % seen")

    def _count(self, text: str) -> None:
        self._done += 1
        self._progress(self._done, self._all, text)

    def _fail(self, kind: str, lake: Any, outing: Any, error: Any) -> None:
        self.made.failures.append(Failure(kind, lake, outing, *cause_and_remedy(error, kind)))

    def part_of(self, kind: str, name: str) -> Any:
        """Parcel of an outing or lake that is done."""
        return self.store.get(self._keys[name if kind == "outing" else f"lake:{name}"])

    def finished(self) -> Any:
        """The District, its states told; parts that nothing needs are gone."""
        made, order = self.made, {row.name: k for k, row in enumerate(self.rows)}
        made.outings = {name: made.outings[name] for name in order if name in made.outings}
        made.lakes = {name: made.lakes[name] for name in self.lakes if name in made.lakes}
        made.failures.sort(key=lambda one: (one.kind != "lake", one.lake, order.get(one.outing, -1)))
        lost = {one.lake for one in made.failures if one.kind == "outing"}
        failed = {one.lake for one in made.failures if one.kind == "lake"}
        for name in self.lakes:
            made.states[name] = ("failed" if name in failed or (name in lost and name not in made.lakes) else
                                 "incomplete" if name in lost else "surveyed" if name in made.lakes else "no outing")
        self.store.forget_others(self._keys.values())
        return made


def _table(given: Any) -> Any:
    path, *layer = given if isinstance(given, (tuple, list)) else (given,)
    return (pathlib.Path(path).absolute(), *layer)  # workers were started in folders of their own


def _unseen(error: Any, files: Any) -> Any:
    """The error of a worker that cannot read a file which is here, with the remedy for that."""
    for path in files:
        if isinstance(error, InputError) and f"{path} cannot be read" in str(error) and pathlib.Path(path).is_file():
            return InputError(f"{path} is here, but the worker cannot read it. Give the workers the same folder, or "
                              "send the data to them.", field="send")
    return error


def cause_and_remedy(error: Any, kind: str = "outing") -> Any:
    """What went wrong and what to do, as two texts.

    Examples
    --------
    >>> import athwart
    >>> from athwart.district.district import cause_and_remedy
    >>> cause_and_remedy(athwart.InputError("The range is -3. Give a range above zero."))
    ('The range is -3.', 'Give a range above zero.')
    """
    if isinstance(error, Lost):
        return str(error), "Start the scheduler and run the same command again: what is done is not done again."
    if isinstance(error, SurveyError):
        parts = re.split(r"(?<=[.!?]) (?=[A-Z])", str(error), maxsplit=1)
        return parts[0], parts[1] if len(parts) > 1 else _ROW
    if isinstance(error, MemoryError) or type(error).__name__ == "KilledWorker":
        what = "lake" if kind == "lake" else "outing"
        return (f"The worker died twice over this {what}, most likely because it needs more memory than a worker has.",
                "Give workers more memory (fewer workers, or a higher memory limit), or cut the "
                f"{what} in parts; then run the same command again.")
    return f"{type(error).__name__}: {error}", _OF_THE_PROGRAM
