"""Combine repeated targets: several looks at an object -> one place, and the offsets of the boat they betray."""
from __future__ import annotations

from dataclasses import replace

from qgis.core import QgsFields, QgsProcessingOutputNumber

from ...survey.model import schemas
from ...survey.model.errors import InputError
from ..common import parameters as make
from ..common import read, values
from ..common.base import AthwartAlgorithm, stepper
from ..common.write import Carried, write_layer

__all__ = ["AdjustTargets"]

OFFSETS = ["latency", "beam azimuth", "lever arm forward", "lever arm to starboard", "range scale", "trim"]
"""In the order of ``AdjustSettings.OFFSETS``; plain words, because they are also what scripts and models say."""


class AdjustTargets(AthwartAlgorithm):
    """See the module."""

    ID, TITLE, GROUP = "adjusttargets", "Combine repeated targets", "targets"
    STEP, GUIDE = 2, ("errors", "return")
    TAKES = {"TARGETS": (schemas.TARGETS, schemas.COMBINED)}  # the combined have a refusal of their own
    SECTIONS = (
        ("What was located", ("TARGETS", "GROUP_FIELD", "BOAT_FIELD", "GATE")),
        ("What the passes are to find", ("SOLVE",)),
        ("How sure", ("CONFIDENCE",)),
    )
    LAYERS = {"OUTPUT": schemas.COMBINED, "ELLIPSES": schemas.ELLIPSES, "OFFSETS": schemas.OFFSETS}
    FUNCTION = "adjust"
    FIELDS = {"boats": "BOAT_FIELD"}
    CAUTIOUS = True
    SUMMARY = "Make one place of the looks at each object, and find latency and other offsets of the boat from them."
    TAGS = "combine,merge,fuse,repeated,average,adjust,least squares,calibrate,patch test,latency,offset,duplicate"
    HELP = """Looks at the same object from several passes are combined into one place with its error ellipse, in one
    least squares over all of them: places, errors of each pass and offsets of each outing are unknowns together. A look
    that hangs in the water column is joined to nothing by the gate; where the names join it to looks at the bottom, the
    object's field doubt says so.

    Looks belong together when they carry the same value in the field that names the object; without it, when the
    distance between them, measured in their own uncertainty, stays inside the gate. Inside one pass, looks and objects
    are matched one to one.

    What all looks of an outing share (a bias of the receiver, a latency on one course) does not shrink with the number
    of looks: ten looks are not three times as good as one. It stays in every ellipse, whether an offset is solved or
    not.

    Offsets of the boat are solved when you ask for them. An offset is solved only where the passes say more about it
    than is assumed beforehand; one that they cannot separate from another is refused by name, with the pass that
    would separate them. Each outing has offsets of its own, unless a field says which outings share a boat; then they
    are tested to agree, and outings that do not are named. Lines in both directions, objects on both sides and two
    speeds are what it takes. The table of offsets goes into 'Prepare track': a boat is calibrated once. Locating and
    combining again with these offsets, their sigmas set to zero, gives the same places.

    A look that disagrees with the others by more than chance allows (normalised residual over 3.29, once in a thousand)
    is named, not dropped, the worst first, with the chi-square without it and, where the other side of the track would
    explain it, that slip: look at its record. The ellipses that such a look moves do not hold until it is fixed; their
    field doubt says so. The chi-square shows whether the standard deviations fit the outing as a
    whole; under 10 degrees of freedom it is not judged, and nothing is rescaled."""
    OUTPUT_HELP = {
        "OUTPUT": "One point for each object, with all fields of targets, the number of looks and passes, the largest "
                  "normalised residual and your own fields of its first pick. What describes one pick only (range, "
                  "side, heading) is kept where its looks agree.",
        "ELLIPSES": "The ellipse of each object at the stated confidence.",
        "OFFSETS": "Offsets solved: name, value in force, sigma, what was applied before, prior sigma, correlations, "
                   "the boat and its outings. Input of 'Prepare track', which takes the rows of its outing.",
        "TARGET_COUNT": "Number of objects.",
        "CHI2": "Weighted sum of squared residuals.",
        "DOF": "Degrees of freedom: twice the looks less twice the objects.",
        "CHI2_LOW": "Lower end of what 95 % of outings give.",
        "CHI2_HIGH": "Upper end of what 95 % of outings give.",
    }

    def initAlgorithm(self, config=None):
        self.add(
            make.source("TARGETS", "Targets", "Output of 'Locate targets', of one outing or several merged, every look "
                        "of an object still apart.", make.POINTS),
            make.field("GROUP_FIELD", "Field that names the object", "Looks with the same value are one object; blank "
                       "values stand alone. Without it the gate decides.", "TARGETS"),
            make.choice("SOLVE", "Offsets to solve", "Offsets of the boat that the passes are to find. 'beam azimuth' "
                        "is the mount angle together with the bias of the compass. Leave empty to combine only.",
                        OFFSETS, many=True),
            make.number("CONFIDENCE", "Confidence (%)", "Probability that an object lies inside its ellipse, and "
                        "inside its circle; 0.95 counts as 95.", 95.0, 0, 99.99),
            *make.advanced(make.field(
                "BOAT_FIELD", "Field that names the boat", "Outings with the same value share a boat: one set of "
                "offsets is solved for them together, and they are tested to agree. Blank: each outing's offsets are "
                "its own.", "TARGETS"), make.number(
                "GATE", "Gate (%)", "Looks at one object pass the gate with this probability. A narrower gate splits "
                "objects, a wider one joins neighbours.", 99.9, 50, 99.9999)),
            make.sink("OUTPUT", "Combined targets", self.OUTPUT_HELP["OUTPUT"], "point"),
            make.sink("ELLIPSES", "Combined ellipses", self.OUTPUT_HELP["ELLIPSES"], "polygon", optional=True),
            make.sink("OFFSETS", "Solved offsets", self.OUTPUT_HELP["OFFSETS"], "table", optional=True),
        )
        for name, label in (("TARGET_COUNT", "Number of objects"), ("CHI2", "Chi-square"),
                            ("DOF", "Degrees of freedom"), ("CHI2_LOW", "Chi-square, lower limit"),
                            ("CHI2_HIGH", "Chi-square, upper limit")):
            self.addOutput(QgsProcessingOutputNumber(name, label))

    def _settings(self, parameters, context):
        """AdjustSettings of the form; raises InputError for values out of bounds."""
        from ...survey import AdjustSettings

        asked = self.parameterAsEnumStrings(parameters, "SOLVE", context)
        return AdjustSettings(
            solve=tuple(AdjustSettings.OFFSETS[OFFSETS.index(word)] for word in asked if word),
            gate=values.number(self, parameters, "GATE", context) / 100,
            confidence=values.percent(self, parameters, "CONFIDENCE", context))

    def refusal(self, parameters, context):
        gate = values.number(self, parameters, "GATE", context)
        if not 50 <= gate < 100:
            return f"The gate (GATE) is {gate:g} %; give at least 50 and less than 100, usually 99.9."
        self._settings(parameters, context)
        return ""

    def run_tool(self, parameters, context, feedback):
        from ...survey import adjust

        table = read.table(self, parameters, "TARGETS", context, feedback, geometry="point", contract=True)
        if not len(table):
            raise InputError(f"Targets '{table.name}' are empty; there is nothing to combine. Choose another layer; "
                             "an outing without targets goes on without this step.")
        named, boats = (self._texts(parameters, context, table, name) for name in ("GROUP_FIELD", "BOAT_FIELD"))
        combined = adjust(read.wkt(table.crs), table.x, table.y, self._columns(table),
                          self._settings(parameters, context), names=named, boats=boats, step=stepper(feedback))
        self.tell(feedback, combined.notes, combined.warnings)
        return self._write(parameters, context, feedback, table, combined)

    def _texts(self, parameters, context, table, name):
        """Texts of the field that a parameter names, None where it is blank."""
        field = values.text(self, parameters, name, context)
        return read.texts(table, field) if field else None

    def _columns(self, table):
        """Columns of the contract, in the core's terms."""
        read.require(table, ["target_id", "label", "status", "t_s", "height_m", "sigma_height_m"], "Targets",
                     "Use the output of 'Locate targets'.")
        kinds = {field.name: field.kind for field in schemas.TARGETS if field.kind != "datetime"}
        return {name: (read.texts if kind == "string" else read.numbers)(table, name)
                for name, kind in kinds.items() if table.has(name)}

    def _write(self, parameters, context, feedback, table, combined):
        columns = combined.columns
        return {
            "OUTPUT": write_layer(self, parameters, "OUTPUT", context, feedback, fields=schemas.COMBINED,
                                  columns=columns, crs=table.crs, places=(combined.x, combined.y),
                                  carried=Carried(_own_fields(table), combined.first)),
            "ELLIPSES": write_layer(self, parameters, "ELLIPSES", context, feedback, fields=schemas.ELLIPSES,
                                    columns={name: columns[name] for name in schemas.names(schemas.ELLIPSES)},
                                    crs=table.crs, places=combined.outlines),
            "OFFSETS": write_layer(self, parameters, "OFFSETS", context, feedback, fields=schemas.OFFSETS,
                                   columns=combined.offsets, crs=table.crs),
            "TARGET_COUNT": len(combined.x), "CHI2": combined.chi2, "DOF": combined.dof, "CHI2_LOW": combined.chi2_low,
            "CHI2_HIGH": combined.chi2_high,
        }


def _own_fields(table):
    """The table with the user's fields only."""
    ours = set(schemas.names(schemas.COMBINED))
    kept = QgsFields()
    for field in table.qgs_fields:
        if field.name() not in ours:
            kept.append(field)
    return replace(table, qgs_fields=kept)
