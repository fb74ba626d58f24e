"""The ready-made model from a picture of the record to the record on the map and measured targets."""
from __future__ import annotations

from .parts import Ask, Draft, Give, fixed, given, of

__all__ = ["record_to_targets"]

MEASURED = """From a prepared track, a picture of the record and lines drawn on its objects to three things that belong
together: the record on the map, a box for each object with its length, width and height, and targets with error
ellipses that carry these sizes. It runs, one after the other: 'Georeference record image', 'Measure objects',
'Centroids' of the boxes, and 'Locate targets', which finds back on the map's source which side, range and moment each
object was seen at.

Say how the picture shows the record: which sides, where the newest row stands, and which ping or time the rows begin
with. Draw the lines on the same picture: along, across and shadow, as 'Make a layer for picks' lays out a layer for
them."""

_TEXT, _NUMBER, _TRUTH = 10, 6, 1  # QVariant's types, as this tool of QGIS has them in its files


def _sizes():
    """Fields of measured objects that the targets carry; a target has a height of its own, from a pick's shadow."""
    taken = [("object", "label", _TEXT)]
    for ours, field in (("length", "length"), ("width", "width"), ("shadow_height", "height")):
        taken += [(f"{ours}_{part}", f"{field}_{part}", _NUMBER) for part in ("m", "lo_m", "hi_m")]
        taken.append((f"{ours}_at_least", f"{field}_at_least", _TRUTH))
    return [{"expression": f'"{field}"', "length": 0, "name": name, "precision": 0, "type": kind}
            for name, field, kind in taken]


def record_to_targets(group, paragraphs, colours):
    """Track, picture and lines -> the record on the map, measured objects, targets.

    Parameters
    ----------
    group : str
    paragraphs : callable
        Texts -> help in HTML.
    colours : sequence of three str
        Of the stages.
    """
    draft = Draft("Record to measured targets", group, "From a prepared track, a picture of the record and lines drawn "
                  "on it to the record on the map, the sizes of objects, and targets with error ellipses.",
                  paragraphs(MEASURED))
    told = ("LAYOUT", "NEWEST", "FIRST_TIME", "LAST_TIME", "FIRST_PING", "PINGS_PER_ROW", "EDGE_RANGE", "RANGE_UNIT",
            "CENTRE_COLUMN", "DROPPED_ROWS", "TIME_OFFSET")
    layout = {name: given(name) for name in told}
    draft.stage("The record on the map", colours[0])
    draft.step(
        "record", "athwart:georeferenceimage", "Of several looks the nearest is shown, and sharp turns are cut. The "
        "source of each cell leads the targets back to the record.",
        asks=[Ask("TRACK"), *(Ask(name, folded=name not in told[:5] or None) for name in told),
              Ask("CELL_SIZE"), Ask("BOTTOM_FROM", folded=True), Ask("BALANCE", folded=True)],
        gives=[Give("OUTPUT", "Record", "Mapped record"), Give("SOURCE", "Source", "Source of each cell", spared=True)],
        IMAGE=given("IMAGE"))
    draft.stage("The objects measured", colours[1])
    draft.step(
        "objects", "athwart:measureobjects", "The length less the beam's footprint, the width over the ground, the "
        "height from the shadow; each with its interval of 95 %.",
        asks=[Ask("IMAGE", text="The picture that the lines were drawn on, loaded without a georeference.",
                  needed=True),
              Ask("MARKS", text="Lines of two points drawn on the picture: along each object, across it, and along its "
                  "shadow."),
              Ask("KIND_FIELD", parent="MARKS"), Ask("OBJECT_FIELD", parent="MARKS", folded=True),
              Ask("DEPTH_GRID", folded=True), Ask("ERRORS", folded=True)],
        gives=[Give("OUTPUT", "Objects", "Measured objects"),
               Give("REJECTED", "Unmeasured", "Objects not measured", spared=True)],
        TRACK=given("TRACK"), **layout)
    draft.stage("The targets", colours[2])
    draft.step("middles", "native:centroids", "The middle of each box.", INPUT=of("objects", "OUTPUT"))
    draft.step("sizes", "native:refactorfields", "Label and sizes go along with the targets; the rest stays with the "
               "boxes.", INPUT=of("middles", "OUTPUT"), FIELDS_MAPPING=fixed(_sizes()))
    draft.step(
        "targets", "athwart:locatetargets", "Side, range and moment come from the map's source; the errors are those "
        "of a pick on the picture.",
        gives=[Give("OUTPUT", "Targets"), Give("ELLIPSES", "Ellipses", "Error ellipses"),
               Give("REJECTED", "Rejected", "Objects without a place", spared=True)],
        PICKS=of("sizes", "OUTPUT"), TRACK=given("TRACK"), TIE=fixed("object point"), SOURCE=of("record", "SOURCE"),
        LABEL_FIELD=fixed("object"), DEPTH_GRID=given("DEPTH_GRID"), ERRORS=given("ERRORS"))
    return draft
