"""How a district is judged: one set of settings for all its lakes, with the defaults of the tools."""
from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from ..adjustment.repeated import AdjustSettings
from ..coverage.gaps import GapSettings
from ..model.errors import InputError
from ..targets.locate import LocateSettings

__all__ = ["DistrictSettings"]


@dataclass(frozen=True)
class DistrictSettings:
    """``blind_deg``: ground within this angle of the vertical is not counted. ``required_looks`` .. ``draws``: see
    ``GapSettings``. ``reach``, ``min_length``: see ``find_unscanned``. ``errors``, ``confidence``: see
    ``LocateSettings``. ``by_label``: looks with the same label are one object; else the gate decides. ``gate``: see
    ``AdjustSettings``. ``title``: of the district, for people.

    Examples
    --------
    >>> import athwart
    >>> athwart.DistrictSettings(min_area=20.0).gaps().min_area
    20.0
    """

    blind_deg: float = 20.0
    required_looks: int = 1
    min_width: float = 1.0
    min_area: float = 1.0
    position_error: float = 2.0
    draws: int = 200
    reach: float = 5.0
    min_length: float = 0.0
    errors: str = "ordinary"
    confidence: float = 0.95
    by_label: bool = False
    gate: float = 0.999
    title: str = "District"

    def __post_init__(self) -> None:
        self.gaps()
        self.combining()
        LocateSettings(errors=self.errors, confidence=self.confidence).check()
        if not 0 <= self.blind_deg < 90:
            raise InputError(f"blind_deg is {self.blind_deg:g}; give 0 or more and less than 90.", field="blind_deg")
        if not self.reach > 0 or self.min_length < 0:
            raise InputError(f"reach is {self.reach:g} and min_length {self.min_length:g}; give a reach above 0, and a "
                             "length of 0 or more.", field="reach")

    def gaps(self) -> Any:
        """Settings of the gaps."""
        return GapSettings(self.required_looks, self.min_width, self.min_area, self.position_error, self.draws)

    def combining(self) -> Any:
        """Settings of the targets' combination."""
        return AdjustSettings(gate=self.gate, confidence=self.confidence)
