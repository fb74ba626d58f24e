"""The report's rows for spreadsheets: one for each area, gap and target, in metres and plain numbers."""
from __future__ import annotations

import numpy as np

from ..model import spreadsheets

__all__ = ["all_rows"]

_NUMBERS = (
    "area_m2", "covered_m2", "covered_pct", "low_pct", "high_pct", "expected_pct", "worst_pct", "best_pct", "width_m",
    "length_m", "certain_m2", "open_pct", "semi_major_m", "semi_minor_m", "azimuth_deg", "confidence_pct", "radius_m",
    "bottom_m", "depth_m", "height_m", "looks", "passes")
_KIND = {"area": "grade", "gap": "kind", "target": "status"}
_NUMBER = {"gap": "gap_id", "target": "target_id"}


def all_rows(layers):
    """(head, rows) of areas, gaps and targets; unknown, and what a row of its kind does not have, as empty text.

    Places are WGS 84 or whatever the layers' own degrees are: a point inside each, with six decimals.

    Examples
    --------
    >>> import numpy as np
    >>> import athwart
    >>> from athwart.geometry.frame import Frame
    >>> from athwart.report.layers import Layers
    >>> from athwart.report.rows import all_rows
    >>> from shapely.geometry import box
    >>> gaps = athwart.ReportLayer("gaps", {"gap_id": np.array([7]), "kind": ["edge"], "area_m2": np.array([100.0]),
    ...                                     "certain": np.array([True])}, [box(0, 0, 10, 10)])
    >>> head, rows = all_rows(Layers(Frame("EPSG:32619", -69.0, 44.0), gaps=gaps))
    >>> rows[0][:4], rows[0][head.index("area_m2")], rows[0][head.index("certain")]
    (['gap', 7, '', 'edge'], 100.0, 'yes')
    """
    head = ["what", "number", "name", "kind", "latitude", "longitude", *_NUMBERS, "certain", "at_least", "main_cause"]
    rows = []
    for what, layer in (("area", layers.areas), ("gap", layers.gaps), ("target", layers.targets)):
        if layer is not None:
            rows += _rows(what, layer, layers)
    return head, rows


def _rows(what, layer, layers):
    numbers = {name: layer.numbers(name) for name in _NUMBERS}
    ids = layer.numbers(_NUMBER[what]) if what in _NUMBER else np.arange(1.0, len(layer) + 1)
    names = layer.labels("Area") if what == "area" else layer.words("label")
    kinds, causes = layer.words(_KIND[what]), layer.words("main_cause")
    for i, geometry in enumerate(layer.geometries):
        lon, lat = (np.nan, np.nan) if geometry.is_empty else layers.lonlat(geometry.representative_point())
        yield [what, _whole(ids[i]), spreadsheets.cell(names[i]), spreadsheets.cell(kinds[i]), _plain(lat, 6),
               _plain(lon, 6), *(_plain(column[i]) for column in numbers.values()), _yes(layer, "certain", i),
               _yes(layer, "height_at_least", i), spreadsheets.cell(causes[i])]


def _yes(layer, name, i):
    return ("yes" if layer.columns[name][i] else "no") if layer.has(name) else ""


def _whole(value: float) -> int | str:
    """The number as it stands on the map: 7, not 7.0."""
    return "" if np.isnan(value) else int(value)


def _plain(value, digits=3):
    return "" if np.isnan(value) else round(float(value), digits)
