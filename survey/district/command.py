"""The command ``athwart district TABLE``: a district from a terminal, on this machine or on a cluster."""
from __future__ import annotations

import argparse
import contextlib
import dataclasses
import logging
import os
import pathlib
import sys
import time
from typing import Any

from ..model.errors import SurveyError
from .settings import DistrictSettings

__all__ = ["main"]

DONE, FAILURES, REFUSED = 0, 1, 2
"""Exit status: all done; done but for what stands in the table of failures; nothing was done."""

_LOG = "athwart.district"
_BETWEEN_S = 10.0
"""Least time between two lines of progress where there is no bar."""

_HELP = {
    "blind_deg": "ground within this angle of the vertical is not counted (degrees)",
    "required_looks": "passes that must have seen a place", "min_width": "narrowest gap to list (m)",
    "min_area": "smallest gap to list (m2)", "position_error": "standard deviation that an outing's passes share (m)",
    "draws": "draws of the errors for the interval of the share", "reach": "how near to the shore the ground seen must "
    "come (m)", "min_length": "shortest stretch of shore to list (m)", "errors": "errors to expect: ordinary, careful, "
    "survey", "confidence": "of ellipses, 0 to 1", "by_label": "looks with the same label are one object",
    "gate": "probability with which looks at one object are taken for one", "title": "of the district"}


def main(arguments: Any = None) -> Any:
    """Run the command.

    Parameters
    ----------
    arguments : sequence of str, optional
        Those of the command line if None.

    Returns
    -------
    int
        Exit status: 0 all done, 1 something failed and all else is done, 2 nothing could be done.

    Examples
    --------
    >>> from athwart.district.command import main
    >>> main(["district", "no-such-table.csv", "--quiet"])
    2
    """
    given = _parser().parse_args(arguments)
    folder = pathlib.Path(given.output or pathlib.Path(given.table).with_suffix("").name + "_district")
    log = _log(folder if pathlib.Path(given.table).is_file() else None, given.quiet)
    try:
        return _run(given, folder, log)
    except SurveyError as error:
        log.error("%s", error)
        return REFUSED
    except OSError as error:
        log.error("%s Correct that and run the same command again: work that is done is kept.", error)
        return REFUSED
    except KeyboardInterrupt:
        log.error("Stopped. Run the same command again to go on: what is done is not done again.")
        return REFUSED
    finally:
        for handler in list(log.handlers):
            log.removeHandler(handler)
            handler.close()


def _parser() -> Any:
    parser = argparse.ArgumentParser(prog="athwart", description="Side-scan outings turned into maps.")
    district = parser.add_subparsers(dest="command", required=True).add_parser(
        "district", help="survey many outings on many lakes",
        description="Surveys every outing of a table and judges every lake. Exit status: 0 all done, 1 something "
                    "failed and all else is done, 2 nothing could be done.")
    add = district.add_argument
    add("table", metavar="TABLE", help="outings: CSV, or GeoPackage (layer outings)")
    add("--lakes", metavar="TABLE", help="lakes: CSV or GeoPackage; the layer lakes of TABLE if that is a GeoPackage")
    add("--output", metavar="FOLDER", help="for the results; run again with the same one, only what changed is done")
    add("--scheduler", metavar="ADDRESS", help="a scheduler of dask.distributed, tcp://host:port or tls://host:port; "
        "without it the work is done here")
    add("--workers", type=int, metavar="N", help="processes on this machine (all cores); 1 works without dask")
    add("--memory", default="auto", metavar="SIZE", help="limit of each worker here, such as 2GB")
    add("--dashboard", metavar="ADDRESS", nargs="?", const="127.0.0.1:8787", help="serve dask's dashboard, for this "
        "machine only unless an address says otherwise; it has no password")
    add("--send", action="store_true", help="send what is in the files to workers that cannot read the paths")
    add("--wait", type=float, default=300.0, metavar="S", help="how long a scheduler that went away is waited for")
    add("--quiet", action="store_true", help="no progress; the log is written all the same")
    group = district.add_argument_group("settings, for all lakes")
    for field in dataclasses.fields(DistrictSettings):
        name = "--" + field.name.replace("_", "-")
        if isinstance(field.default, bool):
            group.add_argument(name, action="store_true", help=_HELP[field.name])
        else:
            group.add_argument(name, type=type(field.default), default=field.default, metavar="V",
                               help=f"{_HELP[field.name]} ({field.default})")
    return parser


def _log(folder: Any, quiet: Any) -> Any:
    """The log: a file in the folder, and what matters on the terminal."""
    log = logging.getLogger(_LOG)
    log.setLevel(logging.INFO)
    log.propagate = False
    if folder is not None:
        folder.mkdir(parents=True, exist_ok=True)
        file = logging.FileHandler(folder / "district.log", encoding="utf-8")
        file.setFormatter(logging.Formatter("%(asctime)s %(message)s", "%Y-%m-%d %H:%M:%S"))
        log.addHandler(file)
    shown = logging.StreamHandler(sys.stderr)
    shown.setFormatter(logging.Formatter("%(message)s"))
    shown.addFilter(lambda record: record.levelno >= logging.ERROR or not (quiet or getattr(record, "aside", False)))
    log.addHandler(shown)
    return log


def _run(given: Any, folder: Any, log: Any) -> Any:
    from .district import survey_district

    settings = DistrictSettings(**{field.name: getattr(given, field.name)
                                   for field in dataclasses.fields(DistrictSettings)})
    packed = pathlib.Path(given.table).suffix.lower() == ".gpkg"
    outings = (given.table, "outings") if packed else given.table
    lakes = given.lakes or ((given.table, "lakes") if packed else None)
    if lakes is None:
        raise SurveyError("Give the table of lakes: --lakes TABLE, a CSV or a GeoPackage of their areas.")
    with _engine(given, folder, log) as engine, _Progress(log, given.quiet) as progress:
        log.info("District of %s, worked by %s.", given.table, engine.name)
        made = survey_district(outings, lakes, folder, settings, engine, send=given.send, progress=progress)
    _close(made, log)
    return FAILURES if made.failures else DONE


@contextlib.contextmanager
def _engine(given: Any, folder: Any, log: Any) -> Any:
    from .engine import Dask, Here, local_cluster

    if given.scheduler is None and (given.workers or os.cpu_count() or 1) == 1:
        yield Here()
        return
    with contextlib.ExitStack() as stack:
        address = given.scheduler
        if address is None:
            cluster = stack.enter_context(local_cluster(given.workers, given.memory, given.dashboard,
                                                        folder / "workers"))
            address = cluster.scheduler_address
            if given.dashboard:
                log.info("Dashboard: %s. Whoever reaches it sees file names and places; do not open it to others.",
                         cluster.dashboard_link)
        engine = Dask(address, patience_s=given.wait, say=log.warning)
        stack.callback(engine.close)
        yield engine


class _Progress:
    """A bar with the time left on a terminal, a line now and then elsewhere; every step stands in the log."""

    def __init__(self, log: Any, quiet: Any) -> None:
        self._log, self._quiet, self._bar = log, quiet, None
        self._began = self._told = time.monotonic()
        self._first = None
        if not quiet and sys.stderr.isatty():
            with contextlib.suppress(ImportError):
                from tqdm import tqdm
                self._bar = tqdm(total=0, unit="", file=sys.stderr)

    def __enter__(self) -> Any:
        return self

    def __exit__(self, *_: Any) -> None:
        if self._bar is not None:
            self._bar.close()

    def __call__(self, done: Any, of: Any, text: str) -> None:
        now = time.monotonic()
        if self._first is None:
            self._first = done - 1
        left = (now - self._began) / (done - self._first) * (of - done)
        self._log.info("%d of %d: %s", done, of, text, extra={"aside": True})
        if self._bar is not None:
            self._bar.total = of
            self._bar.update(done - self._bar.n)
        elif not self._quiet and now - self._told >= _BETWEEN_S:
            self._told = now
            self._log.info("%d of %d, about %s left", done, of, _span(left))


def _span(seconds: Any) -> Any:
    if seconds < 90:
        return f"{seconds:.0f} s"
    return f"{seconds / 60:.0f} min" if seconds < 5400 else f"{seconds / 3600:.1f} h"


def _close(made: Any, log: Any) -> None:
    for text in made.warnings:
        log.warning("%s", text)
    for name, facts in made.outings.items():
        for text in facts["warnings"]:
            log.info("outing %s: %s", name, text, extra={"aside": True})
    for name, facts in made.lakes.items():
        for text in facts["warnings"]:
            log.info("lake %s: %s", name, text, extra={"aside": True})
    log.info("%d outings and lakes worked, %d kept from earlier, %d failed, in %s.", made.worked, made.kept,
             len(made.failures), _span(made.seconds))
    for one in made.failures[:5]:
        log.error("FAILED %s %s: %s %s", one.kind, one.outing or one.lake, one.cause, one.remedy)
    if len(made.failures) > 5:
        log.error("... and %d more; all stand in failures.csv.", len(made.failures) - 5)
    log.info("Results: %s", made.folder / "index.html")
