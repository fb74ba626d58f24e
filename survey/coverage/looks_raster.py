"""A raster of looks as the ground it says was seen: cells to codes, and polygons of equal code to levels of looks."""
from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from ..ensonify.grades import BANDS, GRADES, HIDDEN, WEAK, codes
from ..geometry import overlap
from ..model.errors import InputError
from .gaps import SeenGround

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence
    from typing import Any

    import numpy as np
    from shapely.geometry.base import BaseGeometry

__all__ = ["LooksRaster"]


@dataclass(frozen=True)
class LooksRaster:
    """How a raster that ``map_bottom`` made is judged: ``required_looks`` of a ``grade``, 'seen' or 'detection'.

    Whoever reads the raster makes polygons of its ``codes`` (0 left out) and hands them to ``ground``.

    Examples
    --------
    >>> import numpy as np
    >>> import athwart
    >>> from shapely.geometry import box
    >>> judged = athwart.LooksRaster(required_looks=2)
    >>> judged.codes({"looks": np.array([[0.0, 1.0, 3.0]]), "hidden": np.array([[1.0, 0.0, 0.0]])}).tolist()
    [[255, 1, 2]]
    >>> ground = judged.ground({1: [box(1, 0, 2, 1)], 2: [box(2, 0, 3, 1)], 255: [box(0, 0, 1, 1)]}, cell_m=1.0)
    >>> [level.area for level in ground.looks], ground.causes["hidden"].area
    ([2.0, 1.0], 1.0)
    """

    required_looks: int = 1
    grade: str = "seen"

    def __post_init__(self) -> None:
        if self.grade not in GRADES:
            raise InputError(f"The grade '{self.grade}' is not one of {', '.join(GRADES)}.", field="grade")

    @property
    def bands(self) -> tuple[str, ...]:
        """Names of the bands that the verdict rests on."""
        return BANDS[self.grade]

    def codes(self, bands: Mapping[str, Any]) -> np.ndarray:
        """One code for each cell, see ``survey.ensonify.grades.codes``; ``bands``: (rows, cols) arrays by name."""
        return codes(bands, self.required_looks, self.grade)

    def ground(self, polygons: Mapping[int, list[BaseGeometry]], cell_m: float = 0.0) -> SeenGround:
        """SeenGround of the polygons of equal code.

        Parameters
        ----------
        polygons : dict of {code: list of shapely polygons in crs units}
        cell_m : float
            Side of the raster's cells on the ground.
        """
        looks = self.required_looks

        def joined(wanted: Sequence[int]) -> BaseGeometry:
            return overlap.merged([polygon for code in wanted for polygon in polygons.get(code, [])])

        levels = [joined([*range(n, looks + 1), *range(WEAK + n, WEAK + looks)]) for n in range(1, looks + 1)]
        causes = {"hidden": joined([HIDDEN])}
        if self.grade == "detection":
            causes["weak"] = joined(range(WEAK, WEAK + looks))
        return SeenGround(levels, causes, cell_m)
