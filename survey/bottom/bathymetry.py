"""Depth maps as people have them -> metres down from the surface of the day, and what is refused on sight."""
from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from ..model.errors import InputError
from ..model.messages import Message
from ..model.units import LENGTHS, metres

if TYPE_CHECKING:
    from numpy.typing import ArrayLike

__all__ = ["KINDS", "DepthConversion", "judged", "nice_cell", "refuse_other_unit"]

KINDS = ("depth", "elevation")

DEEPEST_M = 1700.0
"""A little more than the deepest lake, Baikal (1642 m; common knowledge, no source)."""

MOSTLY, FLAT_M, DEEP_SHORE_M = 0.5, 0.1, 100.0
"""Shares and depths at which a map is taken for something else; judgements."""

_UNIT_WORDS = {
    "m": "m", "meter": "m", "metre": "m", "meters": "m", "metres": "m", "ft": "ft", "foot": "ft", "feet": "ft",
    "us survey foot": "ft", "us-ft": "ft", "ftus": "ft", "yd": "yd", "yard": "yd", "yards": "yd", "fathom": "fathom",
    "fathoms": "fathom", "fm": "fathom",
}


@dataclass(frozen=True)
class DepthConversion:
    """depth = ``scale`` value + ``shift``, in metres.

    ``kind``: 'depth' (down from the map's own water level) or 'elevation' (up from a datum); ``unit`` of the map;
    ``surface``: elevation of the map's water level, ``rise``: how much higher the water stood on the day, both in that
    unit.

    Examples
    --------
    >>> import athwart
    >>> athwart.DepthConversion("elevation", "m", surface=332.9).depths([320.0]).round(1).tolist()
    [12.9]
    >>> athwart.DepthConversion("depth", "ft", rise=1.0).depths([9.0]).round(3).tolist()
    [3.048]
    """

    kind: str
    unit: str
    surface: float = None
    rise: float = 0.0

    def __post_init__(self) -> None:
        if self.kind not in KINDS:
            raise InputError(Message("{kind} is not given: say what the numbers of the map are, depth, counted down "
                                     "from the water, or elevation, counted up from sea level or another datum."))
        if self.unit not in LENGTHS:
            raise InputError(Message("{unit} is not given: say in what unit the map is, {known}.",
                                     known=", ".join(LENGTHS)))
        if self.kind == "elevation" and self.surface is None:
            raise InputError(Message("A map of elevations needs {surface}, the elevation of the water surface, in the "
                                     "map's unit and from the same datum. Depths written as negative numbers have "
                                     "0."))
        if self.kind == "depth" and self.surface is not None:
            raise InputError(Message("{surface} goes with elevations only. If the map holds elevations, choose {kind} "
                                     "elevation; if it holds depths, leave {surface} out."))

    @property
    def scale(self) -> float:
        """Metres of depth for one unit of the map."""
        return LENGTHS[self.unit] * (1 if self.kind == "depth" else -1)

    @property
    def shift(self) -> float:
        """Depth (m) of the value 0."""
        return float(metres(self.rise + (self.surface if self.kind == "elevation" else 0.0), self.unit))

    @property
    def shore(self) -> float:
        """The map's value at its own shore."""
        return 0.0 if self.kind == "depth" else float(self.surface)

    def below(self, values: ArrayLike) -> np.ndarray:
        """Metres below the map's own water level; negative above it, NaN kept."""
        return self.scale * (np.asarray(values, float) - self.shore)

    def values(self, below: ArrayLike) -> np.ndarray:
        """The map's own values at metres below its own water level; the inverse of ``below``."""
        return np.asarray(below, float) / self.scale + self.shore

    def depths(self, values: ArrayLike) -> np.ndarray:
        """Metres down from the surface of the day; negative on dry land, NaN kept."""
        return self.scale * np.asarray(values, float) + self.shift

    def judged(self, values: np.ndarray, what: str, stated_unit: str = "") -> str:
        """Judge a map by a sample of its values, and by the unit it says it is in: see the functions of the module.

        Returns
        -------
        str
            A sentence for the log: how deep it is.
        """
        refuse_other_unit(stated_unit, self.unit, what)
        return judged(values, self, what)


def refuse_other_unit(stated: str, unit: str, what: str) -> None:
    """Refuse a map that says itself that it is in another unit; ``stated`` is its own text, '' if it says nothing.

    Examples
    --------
    >>> from athwart.bottom.bathymetry import refuse_other_unit
    >>> refuse_other_unit("", "m", "The map")
    >>> refuse_other_unit("metre", "m", "The map")
    """
    own = _UNIT_WORDS.get(str(stated).strip().lower())
    if own is not None and own != unit:
        raise InputError(Message("{what} says that its values are in '{stated}', but {unit} is '{given}'. Choose "
                                 "{unit} '{own}', or correct the map if that is wrong.", what=what, stated=stated,
                                 given=unit, own=own))


def judged(values: np.ndarray, conversion: DepthConversion, what: str) -> str:
    """Judge a map by a sample of its values.

    Parameters
    ----------
    values : (n,) array
        In the map's own unit; NaN for nodata.
    conversion : DepthConversion
    what : str
        What the user calls the map.

    Returns
    -------
    str
        A sentence for the log: how deep it is.

    Raises
    ------
    InputError
        If the values look negative down, in another unit, from another datum, or are of the surface of the water
        instead of its floor; says which and what to do.

    Examples
    --------
    >>> import numpy as np
    >>> from athwart.bottom.bathymetry import DepthConversion
    >>> from athwart.bottom.bathymetry import judged
    >>> judged(np.array([2.0, 4.0, 9.0]), DepthConversion("depth", "m"), "The map").split(", ")[0]
    'The map: half of the water is deeper than 4.0 m'
    """
    values = np.asarray(values, float)
    values = values[np.isfinite(values)]
    if not values.size:
        raise InputError(f"{what} has no values: all of it is nodata. Choose another raster, or check the nodata value "
                         "in its properties (Transparency).")
    depth = conversion.depths(values)
    wet = depth[depth > 0]
    if conversion.kind == "depth":
        _refuse_negative_down(values, what)
    else:
        _refuse_other_datum(values, conversion, what)
    if not wet.size:
        raise InputError(f"{what} holds no depth above 0, so there is no lake floor in it.")
    deepest = np.percentile(wet, 99.9)
    if deepest > DEEPEST_M:
        hint = Message("Is it in feet (see {unit}), or does it hold elevations (see {kind})?"
                       if conversion.kind == "depth" else "Check {surface} and {unit}.")
        raise InputError(Message("{what} would be {deepest:.0f} m deep; the deepest lake has 1642 m. {hint}", what=what,
                                 deepest=deepest, hint=hint))
    return Message("{what}: half of the water is deeper than {half:.1f} m, the deepest place {deepest:.1f} m. If that "
                   "is not your lake, check {unit} and {kind}.", what=what, half=np.median(wet), deepest=wet.max())


def _refuse_negative_down(values: np.ndarray, what: str) -> None:
    share = np.mean(values < 0)
    if share > MOSTLY:
        raise InputError(Message(
            "{what} looks negative down: {share:.0f} % of its values are below 0, the median is {middle:.1f}. Choose "
            "{kind} elevation, with {surface} 0 if these are depths written as negative numbers, else with the "
            "elevation of the water. If the negative values are land, cut the map to the lake first.", what=what,
            share=100 * share, middle=np.median(values)))


def _refuse_other_datum(values: np.ndarray, conversion: DepthConversion, what: str) -> None:
    """Elevations that all lie above the water, far below it, or on it."""
    below, low, high = conversion.below(values), values.min(), values.max()
    hint = _other_unit_hint(low, high, conversion)
    if not (below > 0).any():
        raise InputError(Message("{what} lies all above the water surface: its lowest value is {low:g}, {surface} is "
                                 "{given:g}.{hint} A map of the land alone has no lake floor.", what=what, low=low,
                                 given=conversion.surface, hint=hint))
    shallow = np.percentile(below[below > 0], 5)
    if shallow > DEEP_SHORE_M:
        raise InputError(Message("{what} lies far below the water: even its shallow parts would be {shallow:.0f} m "
                                 "deep. Its values run from {low:g} to {high:g}, {surface} is {given:g}.{hint}",
                                 what=what, shallow=shallow, low=low, high=high, given=conversion.surface, hint=hint))
    level = np.count_nonzero(np.abs(below) < FLAT_M)
    if level > MOSTLY * np.count_nonzero(below > -FLAT_M):
        raise InputError(Message("{what} shows the surface of the water, not its floor: {level} of {size} values tried "
                                 "lie within {flat:g} m of {surface} {given:g}. Look for a map of depths.", what=what,
                                 level=level, size=values.size, flat=FLAT_M, given=conversion.surface))


def _other_unit_hint(low: float, high: float, conversion: DepthConversion) -> str:
    """Says so when the surface would fit the map in another unit."""
    own, margin = LENGTHS[conversion.unit], 1.0 + 0.5 * (high - low)
    for unit, factor in LENGTHS.items():
        other = conversion.surface * factor / own
        if unit != conversion.unit and low - margin <= other <= high + margin:
            return f" In {unit} it would be {other:.1f} {conversion.unit}, which fits: give it in the map's unit."
    return ""


def nice_cell(length_m: float, cells: int = 1500, least: float = 0.5) -> float:
    """A round cell size (1, 2 or 5 times a power of ten, m) that cuts a length into about that many cells.

    Examples
    --------
    >>> from athwart.bottom.bathymetry import nice_cell
    >>> nice_cell(1600.0), nice_cell(100.0)
    (1.0, 0.5)
    """
    wanted = max(float(length_m) / cells, least)
    power = 10.0 ** np.floor(np.log10(wanted))
    steps = [step * power for step in (1, 2, 5, 10)]
    return float(min(steps, key=lambda step: abs(np.log(step / wanted))))
