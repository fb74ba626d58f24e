"""The form of ready-made models: that of the tools, with what it reads of a tool for all models at once."""
from __future__ import annotations

from typing import TYPE_CHECKING

from ...survey.model import schemas
from .base import AthwartAlgorithm
from .kinds import OWN

if TYPE_CHECKING:
    from typing import Any

__all__ = ["ReadyForm"]

_TAKES = {"TRACK": (schemas.TRACK,), "PICKS": (schemas.PICKS, schemas.MARKS, schemas.WAYPOINTS, OWN),
          "LAKE": (OWN, schemas.AREAS), "AREA": (OWN, schemas.AREAS), "SHORELINE": (OWN, schemas.AREAS, schemas.SHORE)}


class ReadyForm:
    """Mixed into a model; see ``AthwartAlgorithm`` for what the attributes are."""

    SECTIONS = (
        ("The log", ("LOGS", "OUTING")),
        ("What is to be covered", ("AREA",)),
        ("The water", ("LAKE", "SHORELINE")),
        ("Where the boat was", ("TRACK",)),
        ("Range of the record", ("RANGE", "RANGE_UNIT", "SETTINGS")),
        ("Depth", ("DEPTH_GRID", "DEPTH", "DEPTH_UNIT")),
        ("What was picked", ("PICKS", "TIME_FIELD")),
        ("The pictures of the record", ("IMAGE", "LAYOUT")),
        ("Where to cast from, and how far", ("STAND_OFF", "BOAT_POINT")),
        ("The boat, and the hours there are", ("SPEED", "BUDGET")),
        ("Boat and transducer", ("TRANSDUCER_DRAFT",)),
        ("Sound speed", ("ASSUMED_SOUND_SPEED",)),
    )
    NEEDED = ("RANGE", "RANGE_UNIT", "DEPTH", "DEPTH_UNIT", "SIDE_FIELD", "RANGE_FIELD", "LAYOUT", "NEWEST",
              "FIRST_TIME", "LAST_TIME", "STAND_OFF", "WIND_FROM")
    OFFERED: tuple = ()

    @property
    def FILLS(self: Any) -> tuple:
        """What picks of our own bring, as 'Locate targets' has it; of the boxes that this model has."""
        from ..targets.locatetargets import LocateTargets

        return tuple(row for row in LocateTargets.FILLS if self.parameterDefinition(row[0])
                     and self.parameterDefinition(row[1]))

    @property
    def TAKES(self: Any) -> dict[str, Any]:
        """Of the boxes that this model has."""
        return {name: kinds for name, kinds in _TAKES.items() if self.parameterDefinition(name)}

    def createCustomParametersWidget(self: Any, parent: Any = None) -> Any:
        """The tools' dialog; None lets QGIS make its plain one."""
        return AthwartAlgorithm.createCustomParametersWidget(self, parent)
