"""Read NMEA 0183 and GPX logs: instrument files -> fixes and waypoints."""
from __future__ import annotations

from qgis.core import QgsCoordinateReferenceSystem, QgsProcessingOutputNumber

from ...survey.model import schemas
from ..common import parameters as make
from ..common import values
from ..common.base import AthwartAlgorithm, stepper
from ..common.write import write_layer

__all__ = ["ReadLogs"]


class ReadLogs(AthwartAlgorithm):
    """See the module."""

    ID, TITLE, GROUP = "readlogs", "Read NMEA 0183 and GPX logs", "track"
    STEP, JOB, GUIDE = 1, 1, ("record",)
    SECTIONS = (
        ("The log", ("INPUT",)),
        ("Times and headings in it", ("LOG_DATE", "TIME_OFFSET", "MAGNETIC_VARIATION")),
    )
    LAYERS = {"OUTPUT": schemas.FIXES, "WAYPOINTS": schemas.WAYPOINTS}
    FUNCTION = "read_logs"
    SUMMARY = "Turn instrument logs into a layer of fixes with depth, heading and temperature, and one of waypoints."
    TAGS = "nmea,gpx,log,gps,gnss,depth,sounder,track,waypoints,import,rmc,gga,dpt,dbt"
    HELP = """Reads logs of NMEA 0183 sentences and GPX files, several at once; what a file is, its content shows, not
    its name. Each moment with a position becomes a fix. Sentences with a wrong checksum, positions without a fix and
    values that cannot be read are left out and counted, and messages name the first lines of each kind. Sentences
    without a checksum are read only where no other of their kind in the file carries one; else they were cut short.

    Depth, heading, temperature and speed have no time of their own in NMEA 0183: a reading goes to the fix nearest to
    it in the log, and of several depths for one fix the median is kept. A source whose clock stands still, or is not
    the log's, is left out by name; where the clock ticks less often than positions come, those between two ticks are
    placed by the order of their lines. Depths stay as logged, in metres, with what
    they are measured from; 'Prepare track' removes bad ones and brings them to the transducer.

    A segment ends where the log falls silent for more than 30 seconds (and three usual intervals), where time steps
    back, and where a GPX track segment ends. Points without a time are kept in their order. A GPX route is a plan and
    not a track, and is refused."""
    OUTPUT_HELP = {
        "OUTPUT": "Fixes, points in EPSG:4326, in the order they were recorded; the input of 'Prepare track'.",
        "WAYPOINTS": "Waypoints of the GPX files, points in EPSG:4326, with their names, comments and times.",
        "FIX_COUNT": "Number of fixes.",
        "DEPTH_COUNT": "Number of depth readings that stand behind the depths of the fixes.",
        "REJECTED_COUNT": "Number of sentences, points and values that were left out; the messages say why.",
    }

    def initAlgorithm(self, config=None):
        self.add(
            make.files("INPUT", "Log files", "One or more files of NMEA 0183 sentences or GPX, in any order and with "
                       "any names. Text in UTF-16 is read too."),
            make.text("LOG_DATE", "Date of undated logs",
                      "Only for NMEA logs that hold times but no date: the day of their first position on the log's "
                      "own clock, as year-month-day, such as 2024-05-31. Also moves dates that are too early by a "
                      "whole number of GPS week rollovers (1024 weeks). Logs with a right date of their own keep it."),
            make.number("TIME_OFFSET", "Time offset (hours)",
                        "Hours to add to clocks without a zone to get UTC. NMEA 0183 is in UTC by its standard, so "
                        "leave 0 unless your instrument sends local time; a clock at UTC-5 needs 5, one at UTC+2 needs "
                        "-2. GPX times with a zone or Z are never moved.", 0.0),
            make.number("MAGNETIC_VARIATION", "Magnetic variation (degrees, east positive)",
                        "Makes true headings of magnetic ones that come without a variation of their own. Blank: taken "
                        "from RMC sentences; where those have none, such headings are left out.", None, -180, 180),
            make.sink("OUTPUT", "Fixes", self.OUTPUT_HELP["OUTPUT"], "point"),
            make.sink("WAYPOINTS", "Waypoints", self.OUTPUT_HELP["WAYPOINTS"], "point", optional=True),
        )
        for name, label in (("FIX_COUNT", "Number of fixes"), ("DEPTH_COUNT", "Number of depth readings"),
                            ("REJECTED_COUNT", "Number of rejected sentences, points and values")):
            self.addOutput(QgsProcessingOutputNumber(name, label))

    def packages(self, parameters):
        return ("numpy",)

    def refusal(self, parameters, context):
        from ...survey.model.times import parse_date

        parse_date(values.text(self, parameters, "LOG_DATE", context))
        values.number(self, parameters, "TIME_OFFSET", context)
        variation = values.number(self, parameters, "MAGNETIC_VARIATION", context)
        if variation is not None and abs(variation) > 180:
            return (f"The magnetic variation (MAGNETIC_VARIATION) is {variation:g}; give degrees between -180 and 180, "
                    "east positive.")
        if not self._paths(parameters, context):
            return "No log was given (INPUT); choose one or more NMEA 0183 or GPX files."
        return ""

    def _paths(self, parameters, context):
        """The files named; QGIS makes one blank name of an empty list."""
        return [path for path in self.parameterAsFileList(parameters, "INPUT", context) if path]

    def run_tool(self, parameters, context, feedback):
        from ...survey import read_logs

        logs = read_logs(
            self._paths(parameters, context), log_date=values.text(self, parameters, "LOG_DATE", context),
            time_offset=values.number(self, parameters, "TIME_OFFSET", context),
            magnetic_variation=values.number(self, parameters, "MAGNETIC_VARIATION", context),
            step=stepper(feedback, 0, 80))
        self.tell(feedback, (*logs.files, *logs.notes),
                  (*logs.warnings, *("Left out: " + text + "." for text in logs.rejected)))
        results: dict[str, object] = {"FIX_COUNT": len(logs.fixes["t_s"]), "DEPTH_COUNT": logs.depth_count,
                   "REJECTED_COUNT": logs.rejected_count}
        for name, layer, columns in (("OUTPUT", schemas.FIXES, logs.fixes),
                                     ("WAYPOINTS", schemas.WAYPOINTS, logs.waypoints)):
            results[name] = write_layer(
                self, parameters, name, context, feedback, fields=layer, columns=columns,
                crs=QgsCoordinateReferenceSystem("EPSG:4326"), places=(columns["lon"], columns["lat"]))
        return results
