"""Figures of the report in the units its reader thinks in: metres and hectares, or feet and acres."""
from __future__ import annotations

from dataclasses import dataclass

from ..model.errors import InputError
from ..model.messages import Message
from ..model.quantities import ACRE_M2
from ..model.units import LENGTHS, MILE_M, SPEEDS
from .pages import number

__all__ = ["METRES", "UNITS", "Figures"]

UNITS = ("m", "ft")


@dataclass(frozen=True)
class Figures:
    """``unit``: 'm' or 'ft'. In feet a figure has one decimal fewer, which is as fine.

    Examples
    --------
    >>> from athwart.report.figures import Figures
    >>> Figures("ft").length(30.48, 1).split(), Figures("ft").ground(8093.7128).split()
    (['100', 'ft'], ['2.00', 'ac'])
    """

    unit: str = "m"

    def __post_init__(self):
        if self.unit not in UNITS:
            raise InputError(Message("{unit} is '{given}'; choose one of {known}.", given=self.unit,
                                     known=", ".join(UNITS)), field="unit")

    @property
    def metric(self):
        """True for metres."""
        return self.unit == "m"

    @property
    def unit_m(self):
        """Metres in the unit of lengths."""
        return LENGTHS[self.unit]

    def digits(self, metric):
        """Decimals of a length that has ``metric`` of them in metres."""
        return metric if self.metric else max(0, metric - 1)

    def length(self, metres, digits=0, unit=True):
        """A length, NaN as unknown."""
        return number(_over(metres, self.unit_m), self.digits(digits), self.unit if unit else "")

    def way(self, metres):
        """A length to travel: kilometres or miles."""
        return number(_over(metres, 1000 if self.metric else MILE_M), 2, "km" if self.metric else "mi")

    def area(self, m2):
        """A small area: square metres or square feet."""
        return number(_over(m2, self.unit_m ** 2), 0, "m\u00b2" if self.metric else "ft\u00b2")

    def ground(self, m2):
        """A large area: hectares or acres."""
        return number(_over(m2, 1e4 if self.metric else ACRE_M2), 2, "ha" if self.metric else "ac")

    def speed(self, mps):
        """Metres per second or miles per hour."""
        return number(mps, 2, "m/s") if self.metric else number(_over(mps, SPEEDS["mph"]), 1, "mph")

    def per_ground(self, per_ha):
        """So many a hectare, or an acre; a bare number."""
        return number(per_ha if self.metric else _over(per_ha, 1e4 / ACRE_M2), 2)

    @property
    def ground_word(self):
        """What the densities are of."""
        return "hectare" if self.metric else "acre"


METRES = Figures()


def _over(value, divisor):
    return None if value is None else value / divisor
