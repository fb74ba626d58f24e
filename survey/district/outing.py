"""One outing from its logs to its track, passes, swaths and targets: what a worker does, and the toolbox in five steps.

Everything goes through the same functions as the tools, in the same order; nothing is computed here.
"""
from __future__ import annotations

import contextlib
import os
import pathlib
import tempfile
import time
from dataclasses import replace
from typing import Any

import numpy as np

from ..bottom.depthgrid import DepthGrid
from ..fixes.logged import fixes_of
from ..geometry import shapes
from ..geometry.frame import carried
from ..io.logs import read_logs
from ..model.errors import InputError
from ..model.schemas import TRACK, names
from ..swaths.draw import draw_swaths
from ..swaths.edges import SwathSettings
from ..targets.locate import LocateSettings, locate
from ..tracks.prepare import prepare
from .parcel import Parcel, Part
from .statements import number, picks_of, settings_of, water_temperature

__all__ = ["read_depth_map", "survey_outing"]


def survey_outing(row: Any, lake: Any, settings: Any, files: Any = None) -> Any:
    """Work one outing.

    Parameters
    ----------
    row : tables.OutingRow
    lake : tables.Lake
    settings : settings.DistrictSettings
    files : dict of {path: bytes}, optional
        Contents of the files that the row and the lake name, where they cannot be read here.

    Returns
    -------
    bytes
        Of a Parcel: track, passes, swaths, targets, ellipses, rejected; and facts.

    Raises
    ------
    InputError
        What is wrong with the row or its files, and the way out.
    """
    began = time.process_time()
    with _placed(files) as read:
        logs_paths = row.paths("logs")
        if not logs_paths:
            raise InputError("The column logs is blank. Write the path of the log, several parted by semicolons.",
                             field="logs")
        logs = read_logs([read(path) for path in logs_paths], row.values.get("log_date") or None,
                         number(row, "time_offset_h") or 0.0)
        how, picks = settings_of(row, read), picks_of(row, logs, read)
        grid = read_depth_map(read(lake.depth_map), lake.crs) if lake.depth_map else None
    if how.temperature_c is None:
        how = replace(how, temperature_c=water_temperature(logs))
    water = shapes.from_wkb(lake.water)
    fixes = fixes_of(logs, lake.crs)
    if fixes.depth_m is None and how.depth_m is None and grid is None:
        raise InputError("The logs carry no depth, and the row gives none. Write one depth for the outing in the "
                         "column depth, or give the lake a depth_map.", field="depth")
    made = prepare(fixes, how, None if grid is None else lambda x, y: grid.depth_at(x, y, fixes.crs))
    swaths = draw_swaths(made.track, SwathSettings(blind_deg=settings.blind_deg), water)
    parcel = Parcel(lake.crs, _ground(made, swaths))
    warnings = [*logs.warnings, *logs.rejected, *made.warnings, *swaths.warnings]
    located = rejected = 0
    if picks is not None:
        if np.isfinite(picks.x).any():
            picks.x, picks.y = carried("EPSG:4326", lake.crs, picks.x, picks.y)
        found = locate(made.track, picks, LocateSettings(errors=settings.errors, confidence=settings.confidence),
                       water)
        located, rejected = len(found.x), len(found.rejected["reason"])
        parcel.parts.update(_targets(found, picks))
        warnings += found.warnings
    t_s = made.track.t_s[np.isfinite(made.track.t_s)]
    parcel.facts = {
        "outing": row.name, "lake": row.lake, "who": row.values.get("who", ""), "gear": row.values.get("gear", ""),
        "start_time": float(t_s.min()) if len(t_s) else None, "end_time": float(t_s.max()) if len(t_s) else None,
        "passes": len(made.lines), "track_m": float(made.length_m), "seen_m2": float(swaths.area_m2),
        "targets": located, "rejected": rejected, "worked_s": time.process_time() - began,
        "warnings": [str(one) for one in warnings]}
    return parcel.packed()


def _ground(made: Any, swaths: Any) -> Any:
    track = made.track
    columns = {name: getattr(track, name) for name in names(TRACK) if name != "time"}
    return {"track": Part(columns, (track.x, track.y)), "passes": Part(dict(made.passes), list(made.lines)),
            "swaths": Part(dict(swaths.columns), list(swaths.geometries))}


def _targets(found: Any, picks: Any) -> Any:
    by_id = dict(zip(picks.source_id.tolist(), picks.label.tolist()))
    lost = found.rejected
    return {"targets": Part(dict(found.columns), (found.x, found.y)),
            "ellipses": Part({**{name: found.columns[name] for name in ("target_id", "confidence_pct")},
                              "doubt": found.doubt}, list(found.outlines)),
            "rejected": Part({"source_id": lost["source_id"], "reason": [str(why) for why in lost["reason"]],
                              "name": [by_id.get(one, "") for one in lost["source_id"].tolist()]})}


@contextlib.contextmanager
def _placed(files: Any) -> Any:
    """A function from a path as the table has it to one that can be opened here; sent files lie in a folder that goes
    again."""
    if files is None:
        yield str
        return
    with tempfile.TemporaryDirectory(prefix="athwart-") as folder:
        places = {}
        for count, (path, data) in enumerate(files.items()):
            # a folder each: names may be the same, and messages are to show them
            place = pathlib.Path(folder, str(count), os.path.basename(path))
            place.parent.mkdir()
            place.write_bytes(data)
            places[path] = str(place)
        yield lambda path: places.get(path, path)


def read_depth_map(path: Any, crs: Any) -> Any:
    """The depth grid of an Esri ASCII grid: metres, positive down, in the lake's own system.

    Examples
    --------
    >>> import pathlib, tempfile
    >>> import numpy as np
    >>> from athwart.district.outing import read_depth_map
    >>> path = pathlib.Path(tempfile.mkdtemp(), "depths.asc")
    >>> head = ["ncols 2", "nrows 2", "xllcorner 500000", "yllcorner 4500000", "cellsize 10", "nodata_value -9999"]
    >>> _ = path.write_text(chr(10).join([*head, "4 6", "4 -9999"]))
    >>> read_depth_map(path, "EPSG:32619").depth_at(np.array([500005.0]), np.array([4500015.0])).tolist()
    [4.0]
    """
    try:
        with open(path, encoding="ascii") as file:
            head, first = {}, ""
            for line in file:
                words = line.split()
                if len(words) != 2 or not words[0][:1].isalpha():
                    first = line
                    break
                head[words[0].lower()] = float(words[1])
            values = np.loadtxt([first, *file], ndmin=2)
        cell, (rows, cols) = head["cellsize"], values.shape
        if (rows, cols) != (head["nrows"], head["ncols"]):
            raise ValueError(f"{rows} rows of {cols} values")
        left, bottom = (head[f"{axis}llcorner"] if f"{axis}llcorner" in head else head[f"{axis}llcenter"] - cell / 2
                        for axis in "xy")
    except (OSError, ValueError, KeyError, UnicodeDecodeError) as error:
        raise InputError(f"The depth map {path} cannot be read ({error}). Save the depth grid as an Esri ASCII grid "
                         "(gdal_translate -of AAIGrid) in the lake's coordinate system.", field="depth_map") from None
    values[values == head.get("nodata_value", -9999.0)] = np.nan
    return DepthGrid.from_array(crs, (left, cell, 0.0, bottom + rows * cell, 0.0, -cell), values, str(path))
