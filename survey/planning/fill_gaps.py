"""Which gaps a plan takes on, each piece of ground once; what is left out is counted."""
from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from ..geometry import shapes
from ..model import patience
from ..model.errors import InputError

if TYPE_CHECKING:
    from collections.abc import Sequence
    from typing import Any

    from numpy.typing import ArrayLike

__all__ = ["WantedGaps", "wanted_gaps"]

_LEAST_M2 = 1.0


@dataclass(frozen=True)
class WantedGaps:
    """``taken``: (k,) numbers of the gaps taken on; ``gaps``: k polygons, none over another; ``share`` (k,),
    how surely each is open; ``ignored`` and ``ignored_m2``: gaps left alone, since they are closed too surely;
    ``notes``."""

    taken: np.ndarray
    gaps: list
    share: np.ndarray
    ignored: int
    ignored_m2: float
    notes: list


def wanted_gaps(gaps: Sequence[Any], open_share: ArrayLike, least_open: float, water: Any) -> WantedGaps:
    """Gaps to close.

    Parameters
    ----------
    gaps : list of shapely polygons, frame metres
    open_share : (g,) array or None
        0 to 1; NaN counts as 1.
    least_open : float
        Gaps less surely open are left alone, and those that never are.
    water : shapely polygon

    Raises
    ------
    InputError
        Where there are gaps, and all of them lie off the water.
    """
    share = np.ones(len(gaps)) if open_share is None else np.nan_to_num(np.asarray(open_share, float), nan=1.0)
    area = np.array([0.0 if gap.is_empty else gap.area for gap in gaps])
    wet, notes = [], []
    for gap in gaps:
        patience.look()
        wet.append(shapes.polygonal(gap.intersection(water)))
    afloat = np.array([g.area for g in wet])
    if (area > 0).any() and not (afloat > 0).any():
        raise InputError("There is no gap to fill: all of them lie off the water. Choose the gaps of this water.",
                         field="gaps")
    dry = area.sum() - afloat.sum()
    if dry > _LEAST_M2:
        notes.append(f"{dry:.0f} m2 of the gaps lie off the water, and are left out of all figures. Check whether gaps "
                     "and water belong together.")
    sure = (share >= least_open) & (share > 0)
    ignored = ~sure & (afloat > 0)
    taken = np.flatnonzero(sure & (afloat > 0))
    kept, before = _apart(taken[np.argsort(-share[taken], kind="stable")], wet)
    twice = float(afloat[taken].sum() - sum(g.area for g in kept.values()))
    if twice > _LEAST_M2:
        notes.append(f"{before} gaps overlap others: {twice:.0f} m2 that they share are counted once, with the gap "
                     "more surely open. Merge the swaths of all outings and find gaps once for them all.")
    numbers = [k for k in taken.tolist() if kept[k].area > 0]
    taken = np.array(numbers, int)
    return WantedGaps(taken, [kept[k] for k in numbers], share[taken], int(ignored.sum()), float(afloat[ignored].sum()),
                      notes)


def _apart(order: np.ndarray, gaps: list[Any]) -> tuple[dict[int, Any], int]:
    """{number: gap without what overlaps those before it in the order}, and how many lost some."""
    found: dict[int, Any] = {}
    cut = 0
    bounds = np.array([gaps[k].bounds for k in order]).reshape(-1, 4)
    for at, number in enumerate(order):
        patience.look()
        low, high = bounds[:at, :2], bounds[:at, 2:]
        near_by = np.flatnonzero((low < bounds[at, 2:]).all(axis=1) & (high > bounds[at, :2]).all(axis=1))
        gap = gaps[number]
        others = [found[order[k]] for k in near_by if found[order[k]].intersects(gap)]
        if others:
            rest = shapes.polygonal(gap.difference(shapes.union(others)))
            cut += gap.area - rest.area > _LEAST_M2
            gap = rest if rest.area > 0.01 else shapes.empty()
        found[number] = gap
    return found, cut
