"""What a public layer is: its fields with type, unit and meaning, its geometry, its style, what its map tip shows."""
from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from typing import NamedTuple

__all__ = ["GEOMETRIES", "KINDS", "STARTS", "Field", "Layer", "names"]

KINDS = ("double", "int", "int64", "string", "bool", "datetime")

GEOMETRIES = ("point", "line", "multiline", "polygon", "multipolygon", "table")

_TIP_ROWS = 12

STARTS = ("start_time", "time")
"""Fields by which a layer plays, the first that it has."""

_DEPTHS = ("depth_m", "bottom_m")
"""Of a target: its tip tells one of them, in words that say of which place."""


class Field(NamedTuple):
    """One attribute; ``kind`` is one of ``KINDS``, ``unit`` empty where there is none, ``text`` its meaning."""

    name: str
    kind: str
    unit: str
    text: str

    @property
    def alias(self) -> str:
        """What tables, forms and map tips call it: its meaning, and its unit where it has one."""
        return f"{self.text} ({self.unit})" if self.unit else self.text


@dataclass(frozen=True)
class Layer:
    """A layer that tools write. Going through it gives its fields; ``layer["depth_m"]`` is one of them.

    Parameters
    ----------
    name : str
        Lower case; the constant of ``schemas`` is the same in upper case.
    title : str
        For people.
    geometry : str
        One of ``GEOMETRIES``: what it is as a rule. A tool may write another where its input asks for it.
    fields : tuple of Field
        In the order they are written in.
    style : str
        ``plugin/styles/<style>.qml``, '' where it needs none.
    tip : tuple of str
        Names of the fields that its map tip shows. Default: the first twelve.

    Examples
    --------
    >>> marks = Layer("marks", "Marks", "point", (Field("t_s", "double", "s", "seconds since 1970"),
    ...                                           Field("time", "datetime", "", "the same for people")))
    >>> [field.name for field in marks], marks["t_s"].alias, marks.time_field
    (['t_s', 'time'], 'seconds since 1970 (s)', 'time')
    """

    name: str
    title: str
    geometry: str
    fields: tuple[Field, ...]
    style: str = ""
    tip: tuple[str, ...] = ()

    def __post_init__(self) -> None:
        if not self.tip:
            left_out = _DEPTHS if self.tells_depth else ()
            shown = [field.name for field in self.fields if field.name not in left_out]
            object.__setattr__(self, "tip", tuple(shown[:_TIP_ROWS]))
        unknown = [name for name in self.tip if name not in self]
        if unknown or self.geometry not in GEOMETRIES:
            raise ValueError(f"{self.name}: {unknown or self.geometry} is none of its own")

    def __iter__(self) -> Iterator[Field]:
        return iter(self.fields)

    def __len__(self) -> int:
        return len(self.fields)

    def __contains__(self, name: object) -> bool:
        """Whether there is a field of that name."""
        return any(field.name == name for field in self.fields)

    def __getitem__(self, name: str) -> Field:
        for field in self.fields:
            if field.name == name:
                return field
        raise KeyError(f"the layer {self.name} has no field {name}")

    @property
    def tells_depth(self) -> bool:
        """True for targets: their tip says of which place the depth is."""
        return "target_id" in self

    @property
    def time_field(self) -> str:
        """The field by which the temporal controller plays it, '' where it has no times."""
        return next((name for name in STARTS if name in self), "")


def names(fields: Iterable[Field]) -> list[str]:
    """Names of fields, in order.

    Examples
    --------
    >>> from athwart.model.schemas import Field, names
    >>> names((Field("label", "string", "", "what it is"), Field("depth_m", "double", "m", "water over it")))
    ['label', 'depth_m']
    """
    return [field.name for field in fields]
