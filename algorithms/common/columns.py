"""Attributes of features, row by row -> columns by field name."""
from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from .compat import is_null

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence
    from typing import Any

    from ...survey.model.layers import Field

__all__ = ["Columns"]

_AT_ONCE = 2000

_NUMBERS = ("double", "int", "int64")

_PLAIN = frozenset((bool, float, int, str))


class Columns:
    """Rows of attributes on their way to the columns of a Table, some thousand rows at a time.

    Python's garbage collector looks through every list and every NULL that is kept, over and over.

    Parameters
    ----------
    qgs_fields : QgsFields
        Of the layer.
    only : sequence of survey.model.schemas.Field, or None
        The fields wanted, see ``read.table``.
    """

    def __init__(self, qgs_fields: Any, only: Iterable[Field] | None) -> None:
        there = {field.name(): index for index, field in enumerate(qgs_fields)}
        asked = dict.fromkeys(there, "") if only is None else {f.name: f.kind for f in only if f.name in there}
        self.names, self.indices = list(asked), [there[name] for name in asked]
        self._kinds = [float if asked[name] in _NUMBERS and qgs_fields[there[name]].isNumeric() else object
                       for name in asked]
        self._rows: list[Sequence[Any]] = []
        self._done = [[np.empty(0, kind)] for kind in self._kinds]

    def add(self, attributes: Sequence[Any]) -> None:
        """One more row, as long as all fields of the layer."""
        self._rows.append(attributes)
        if len(self._rows) == _AT_ONCE:
            self._turn()

    def by_name(self) -> dict[str, np.ndarray]:
        """The columns."""
        self._turn()
        return {name: np.concatenate(parts) for name, parts in zip(self.names, self._done)}

    def _turn(self) -> None:
        values = list(zip(*self._rows)) or [()] * (max(self.indices, default=-1) + 1)
        for index, kind, parts in zip(self.indices, self._kinds, self._done):
            part = np.empty(len(self._rows), kind)
            plain = _PLAIN.issuperset(map(type, values[index]))
            part[:] = values[index] if plain else [None if is_null(value) else value for value in values[index]]
            parts.append(part)
        self._rows = []
