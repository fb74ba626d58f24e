"""Who surveyed what, when, with what and in what weather: what a report is filed with."""
from __future__ import annotations

import datetime

import numpy as np

from . import pages
from .pages import number

__all__ = ["record_section"]

_NO_SURVEY_BEFORE = 315_532_800.0  # 1980, as in words
_TITLES = {"people": "People", "gear": "Gear", "water_level": "Water level", "datum": "Datum of the level",
           "weather": "Weather", "notes": "Notes"}


def record_section(layers, record=None):
    """HTML of the section, '' where nothing is known.

    Parameters
    ----------
    layers : survey.report.layers.Layers
    record : dict, optional
        Texts by ``people``, ``gear``, ``water_level``, ``datum``, ``weather``, ``notes``; under ``rows`` an outing's
        table: a list of dicts with the table's own heads.

    Examples
    --------
    >>> from athwart.report.layers import Layers
    >>> from athwart.report.record import record_section
    >>> "A. Person" in record_section(Layers(None), {"people": "A. Person"})
    True
    """
    record = record or {}
    rows = [[title, record[name]] for name, title in _TITLES.items() if record.get(name)]
    parts = [pages.table("As written down.", ["What", "As said"], rows)] if rows else []
    outings = _outings(layers)
    if outings:
        parts.insert(0, pages.table("Outings, from the layers; times are UTC.",
                                    ["Outing", "From", "To", "Hours", "Passes", "Run"], outings, (3, 4, 5), (1, 2)))
    told = record.get("rows") or []
    if told:
        heads = list(told[0])
        parts.append(pages.table("The outings' own table.", [head.replace("_", " ") for head in heads],
                                 [[row.get(head, "") for head in heads] for row in told]))
    return pages.section("The survey", *parts) if parts else ""


def _outings(layers):
    """A row an outing: from the first to the last sample or pass, hours between them, passes and length."""
    timed, names = (layers.track, ("t_s", "t_s")) if layers.track is not None else (
        layers.passes, ("start_time", "end_time"))
    if timed is None or not len(timed):
        return []
    first, last = (timed.numbers(name) for name in names)
    outing = timed.words("outing")
    rows = []
    for name in dict.fromkeys(outing):
        here = (outing == name) & (first >= _NO_SURVEY_BEFORE) & (last >= first)
        when = [_when(first[here].min()), _when(last[here].max()),
                number((last[here].max() - first[here].min()) / 3600, 1)] if here.any() else ["unknown"] * 3
        count, run = "", ""
        if layers.passes is not None:
            of = layers.passes.words("outing") == name
            count = number(int(of.sum()))
            run = layers.units.way(float(np.nansum(layers.passes.numbers("length_m")[of])))
        rows.append([name or "without a name", *when, count, run])
    return rows


def _when(t_s):
    at = datetime.datetime.fromtimestamp(float(t_s), datetime.timezone.utc)
    return f"{at:%Y-%m-%d %H:%M}".replace("-", pages.NO_BREAK)
