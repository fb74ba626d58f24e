"""Athwart: side-scan outings turned into maps that can be trusted. The front door: every name is here, by subject.

Nothing is loaded before it is asked for (PEP 562), so that importing this costs nothing. Metres, seconds, degrees
clockwise from true north; port -1, starboard +1; NaN is "unknown". Never imports qgis: the same package is ``athwart``
where it was installed by pip, and ``athwart.survey`` inside the QGIS plugin.
"""
from __future__ import annotations

import importlib
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from .adjustment.repeated import AdjustSettings, adjust
    from .bottom.bathymetry import DepthConversion
    from .bottom.depthgrid import DepthGrid
    from .bottom.rasters import metric_crs
    from .casts.card import cast_card
    from .casts.from_places import Boat, StandOff, plan_casts
    from .casts.plan import CastSettings
    from .coverage.cover import Swaths
    from .coverage.gaps import GapSettings, PassLayer, find_gaps
    from .coverage.looks_raster import LooksRaster
    from .district.district import survey_district
    from .district.settings import DistrictSettings
    from .ensonify.bottom_map import map_bottom
    from .ensonify.detection import DetectionSettings
    from .fixes.arrange import Fixes
    from .fixes.logged import fixes_of
    from .io.gpxwrite import GpxLine, Waypoint, gpx_text, write_gpx
    from .io.logs import read_logs
    from .model.errors import Cancelled, InputError, SurveyError
    from .model.times import parse_times
    from .model.track import Track
    from .planning.calibration import CalibrationSettings
    from .planning.fill_in import FillSettings
    from .planning.from_map import Surroundings, calibrate, calibration_told, fill_gaps, fill_rows, paper_of
    from .planning.plan_rows import plan_columns, plan_gpx, plan_places, shore_columns, uncovered_rows
    from .planning.polygons import ground_of
    from .planning.range_page import range_page
    from .planning.range_rule import RangeRule, choose_range
    from .planning.range_table import TableSettings, range_table
    from .planning.sheet import plan_sheet
    from .planning.shore_run import ShoreRunSettings, plan_shore_run
    from .planning.simulate import simulated_fixes
    from .planning.spacing import ReachRule
    from .planning.survey_plan import LinePlanSettings, plan_lines
    from .record.bottom_depth import BottomPicks
    from .record.check import CheckSettings, check_record
    from .record.draw_targets import KnownTargets, draw_on_record
    from .record.image_picks import Marks, row_words
    from .record.map_picks import MapSource, picks_from_map
    from .record.measure import MeasureSettings, measure_objects
    from .record.object_readings import ObjectLines, ObjectReadings, read_object_lines
    from .record.picture import Record, read_dropped
    from .record.reading import read_picture
    from .record.record_image import RecordImage
    from .record.record_map import MapSettings, RecordMap
    from .report.layers import ReportLayer
    from .report.pages import CAUTION
    from .report.written import Report, write_report
    from .shore.contour_floor import contour_floor
    from .shore.unscanned import find_unscanned
    from .swaths.draw import draw_swaths
    from .swaths.edges import SwathSettings
    from .targets.locate import LocateSettings, locate
    from .targets.picknames import read_ranges, read_sides
    from .targets.picks import Picks
    from .tracks.prepare import prepare
    from .tracks.settings import RangeRows, TrackSettings

__all__ = [
    # the track: a log read, its fixes, what is stated of the outing, and what comes of them
    "read_logs", "fixes_of", "Fixes", "TrackSettings", "RangeRows", "prepare", "Track", "metric_crs",
    "parse_times",
    # the bottom seen
    "SwathSettings", "draw_swaths", "DetectionSettings", "map_bottom",
    # the floor of the lake
    "DepthGrid", "DepthConversion", "contour_floor",
    # coverage
    "GapSettings", "find_gaps", "Swaths", "PassLayer", "LooksRaster", "find_unscanned",
    # targets
    "Picks", "read_sides", "read_ranges", "Record", "read_dropped", "Marks", "read_picture", "LocateSettings", "locate",
    "AdjustSettings", "adjust",
    # before the trip: ranges, lines that close gaps, runs that calibrate, a sheet
    "RangeRule", "TableSettings", "range_table", "range_page", "FillSettings", "fill_gaps", "fill_rows",
    "CalibrationSettings", "Surroundings", "calibrate", "calibration_told", "paper_of", "plan_sheet",
    "MapSource", "picks_from_map", "CheckSettings", "check_record", "KnownTargets", "draw_on_record",
    # the record on the map, objects on it
    "RecordImage", "BottomPicks", "MapSettings", "RecordMap", "row_words",
    "ObjectLines", "ObjectReadings", "read_object_lines", "MeasureSettings", "measure_objects",
    # casts
    "Boat", "StandOff", "CastSettings", "plan_casts", "cast_card",
    # before the trip
    "ground_of", "ReachRule", "choose_range", "LinePlanSettings", "plan_lines", "ShoreRunSettings", "plan_shore_run",
    "plan_columns", "shore_columns", "plan_places", "uncovered_rows", "plan_gpx", "simulated_fixes",
    # to take along
    "Waypoint", "GpxLine", "gpx_text", "write_gpx", "ReportLayer", "Report", "write_report", "CAUTION",
    # a season of outings on many lakes
    "DistrictSettings", "survey_district",
    # what can go wrong
    "SurveyError", "InputError", "Cancelled",
]

_HOMES = {
    "adjustment.repeated": ("AdjustSettings", "adjust"),
    "bottom.bathymetry": ("DepthConversion",),
    "bottom.depthgrid": ("DepthGrid",),
    "bottom.rasters": ("metric_crs",),
    "casts.card": ("cast_card",),
    "casts.plan": ("CastSettings",),
    "casts.from_places": ("Boat", "StandOff", "plan_casts"),
    "coverage.cover": ("Swaths",),
    "coverage.gaps": ("GapSettings", "PassLayer", "find_gaps"),
    "coverage.looks_raster": ("LooksRaster",),
    "district.district": ("survey_district",),
    "district.settings": ("DistrictSettings",),
    "ensonify.bottom_map": ("map_bottom",),
    "ensonify.detection": ("DetectionSettings",),
    "fixes.arrange": ("Fixes",),
    "fixes.logged": ("fixes_of",),
    "io.gpxwrite": ("GpxLine", "Waypoint", "gpx_text", "write_gpx"),
    "io.logs": ("read_logs",),
    "model.errors": ("Cancelled", "InputError", "SurveyError"),
    "model.times": ("parse_times",),
    "model.track": ("Track",),
    "planning.plan_rows": ("plan_columns", "plan_gpx", "plan_places", "shore_columns", "uncovered_rows"),
    "planning.polygons": ("ground_of",),
    "planning.shore_run": ("ShoreRunSettings", "plan_shore_run"),
    "planning.simulate": ("simulated_fixes",),
    "planning.spacing": ("ReachRule",),
    "planning.survey_plan": ("LinePlanSettings", "plan_lines"),
    "planning.calibration": ("CalibrationSettings",),
    "planning.fill_in": ("FillSettings",),
    "planning.from_map": ("Surroundings", "calibrate", "calibration_told", "fill_gaps", "fill_rows", "paper_of"),
    "planning.range_page": ("range_page",),
    "planning.range_rule": ("RangeRule", "choose_range"),
    "planning.range_table": ("TableSettings", "range_table"),
    "planning.sheet": ("plan_sheet",),
    "record.bottom_depth": ("BottomPicks",),
    "record.image_picks": ("Marks", "row_words"),
    "record.check": ("CheckSettings", "check_record"),
    "record.draw_targets": ("KnownTargets", "draw_on_record"),
    "record.map_picks": ("MapSource", "picks_from_map"),
    "record.measure": ("MeasureSettings", "measure_objects"),
    "record.object_readings": ("ObjectLines", "ObjectReadings", "read_object_lines"),
    "record.picture": ("Record", "read_dropped"),
    "record.record_image": ("RecordImage",),
    "record.record_map": ("MapSettings", "RecordMap"),
    "record.reading": ("read_picture",),
    "report.pages": ("CAUTION",),
    "report.written": ("Report", "write_report"),
    "report.layers": ("ReportLayer",),
    "shore.contour_floor": ("contour_floor",),
    "shore.unscanned": ("find_unscanned",),
    "swaths.draw": ("draw_swaths",),
    "swaths.edges": ("SwathSettings",),
    "targets.locate": ("LocateSettings", "locate"),
    "targets.picknames": ("read_ranges", "read_sides"),
    "targets.picks": ("Picks",),
    "tracks.prepare": ("prepare",),
    "tracks.settings": ("RangeRows", "TrackSettings"),
}
_HOME_OF = {name: home for home, names in _HOMES.items() for name in names}


if not TYPE_CHECKING:  # checkers know the names from the imports above, and refuse others
    def __getattr__(name):
        if name not in _HOME_OF:
            raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
        value = getattr(importlib.import_module(f".{_HOME_OF[name]}", __name__), name)
        globals()[name] = value  # asked once, there for good
        return value


def __dir__():
    return sorted({*globals(), *__all__})
