"""The layers of a district's result: those of the tools with the lake at the end, and three of its own."""
from __future__ import annotations

from dataclasses import replace
from typing import Any

from ..model import schemas
from ..model.layers import Field, Layer

__all__ = ["FAILURES", "LAKE", "LAKES", "LAYERS", "OF_LAKES", "OF_OUTINGS", "OUTINGS", "of_district"]

LAKE = Field("lake", "string", "", "name of the lake")
_OUTING = Field("outing", "string", "", "name of the outing")

LAKES = Layer("lakes", "Lakes", "multipolygon", (
    LAKE,
    Field("state", "string", "", "surveyed, incomplete (an outing of it failed), failed or no outing"),
    Field("outings", "int", "", "outings that count in it"),
    Field("failed", "int", "", "outings of it that failed"),
    Field("area_m2", "double", "m2", "ground area that was to be seen"),
    Field("covered_m2", "double", "m2", "ground area seen"),
    Field("covered_pct", "double", "%", "share of the area seen"),
    Field("low_pct", "double", "%", "low end of the 95 % interval of the share seen"),
    Field("high_pct", "double", "%", "high end of the 95 % interval of the share seen"),
    Field("expected_pct", "double", "%", "mean of the draws: the share to expect if the boat steered by its receiver"),
    Field("worst_pct", "double", "%", "share seen with every edge moved inwards at once by 1.645 sigma"),
    Field("best_pct", "double", "%", "share seen with every edge moved outwards at once by 1.645 sigma"),
    Field("gaps", "int", "", "gaps listed"),
    Field("gap_m2", "double", "m2", "ground missed, gaps not listed included"),
    Field("shore_m", "double", "m", "shoreline"),
    Field("unscanned_m", "double", "m", "shoreline that no swath came near"),
    Field("unscanned_pct", "double", "%", "share of the shoreline that no swath came near"),
    Field("targets", "int", "", "objects, several looks at one combined"),
    Field("track_m", "double", "m", "ground length of all passes"),
    Field("report", "string", "", "page of the lake, beside the GeoPackage"),
), style="lakes")

OUTINGS = Layer("outings", "Outings", "table", (
    _OUTING, LAKE,
    Field("state", "string", "", "done, or failed"),
    Field("start_time", "datetime", "", "first sample, UTC"),
    Field("end_time", "datetime", "", "last sample, UTC"),
    Field("who", "string", "", "who was out"),
    Field("gear", "string", "", "boat and sounder"),
    Field("passes", "int", "", "passes"),
    Field("track_m", "double", "m", "ground length of all passes"),
    Field("seen_m2", "double", "m2", "ground seen, each place once"),
    Field("targets", "int", "", "picks located"),
    Field("rejected", "int", "", "picks that have no place"),
    Field("worked_s", "double", "s", "processor time it took, when it was worked"),
    Field("warnings", "string", "", "what was dropped, guessed or doubtful"),
))

FAILURES = Layer("failures", "Failures", "table", (
    Field("kind", "string", "", "outing or lake"),
    LAKE, _OUTING,
    Field("cause", "string", "", "what went wrong"),
    Field("remedy", "string", "", "what to do"),
))


def of_district(layer: Any) -> Any:
    """A layer of the tools as a district writes it: with the name of the lake after its own fields.

    Examples
    --------
    >>> from athwart.district.layers import of_district
    >>> from athwart.model.layers import Field, Layer
    >>> marks = Layer("marks", "Marks", "table", (Field("label", "string", "", "what it is"),))
    >>> [field.name for field in of_district(marks)]
    ['label', 'lake']
    """
    return replace(layer, fields=(*layer.fields, LAKE))


OF_OUTINGS = ("track", "passes", "swaths", "targets", "ellipses", "rejected")
OF_LAKES = ("areas", "gaps", "shore", "combined", "combined_ellipses")

LAYERS = {"lakes": LAKES, "outings": OUTINGS, "failures": FAILURES, **{
    name: of_district(getattr(schemas, name.upper())) for name in (*OF_OUTINGS, *OF_LAKES[:-1])},
    "combined_ellipses": replace(of_district(schemas.ELLIPSES), title="Combined ellipses")}
"""By the name of its table in the GeoPackage."""
