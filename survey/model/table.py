"""A table: named columns of one length, one row for each fix, sample, pick or beam. What all such classes share.

A table is a dataclass. What it is made of stands in its annotations, once: a field of type ``Floats``, ``Ints``,
``Bools``, ``Texts``, ``Objects`` or of another table is a column; one with ``| None`` may be unknown for all rows;
a field of any other type, such as ``crs``, belongs to the table as a whole.
"""
from __future__ import annotations

import functools
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import MISSING, fields
from typing import Any, NamedTuple, TypeVar

import numpy as np
from numpy.typing import NDArray

from .errors import InputError

__all__ = ["Bools", "Floats", "Ints", "Objects", "Table", "Texts"]

Floats = NDArray[np.float64]
"""Numbers, NaN where one is unknown; (n,) or (n, k)."""

Ints = NDArray[np.int64]
"""Whole numbers, all of them known."""

Bools = NDArray[np.bool_]

Texts = NDArray[np.object_]
"""str, '' where one is unknown."""

Objects = NDArray[np.object_]
"""Anything else, one for each row: polygons, windows, None."""

_BLANK = {"Floats": np.nan, "Texts": "", "Bools": False, "Objects": None}
"""What stands in a column that only the other tables know. There is no whole number that means unknown."""

_T = TypeVar("_T", bound="Table")


class _Column(NamedTuple):
    """``kind``: the name of its type; ``optional``: may be None; ``demanded``: has no default."""

    name: str
    kind: str
    optional: bool
    demanded: bool


class Table:  # noqa: PLW1641  its columns can change: not to be hashed
    """Base of every table; derive with ``@dataclass(eq=False, repr=False)``.

    Columns are checked and brought to their type when a table is made: numbers in a list become an array, one value
    for all rows is spread over them. What cannot be is refused by name.

    Examples
    --------
    >>> from dataclasses import dataclass
    >>> @dataclass(eq=False, repr=False)
    ... class Marks(Table):
    ...     crs: str
    ...     x: Floats
    ...     label: Texts | None = None
    >>> marks = Marks("EPSG:4326", [1, 2, 3], label="snag")
    >>> marks
    <Marks: 3 rows; columns x, label; crs 'EPSG:4326'>
    >>> marks.take([0, 2]).x.tolist(), list(marks), len(Marks.concatenate([marks, marks]))
    ([1.0, 3.0], ['x', 'label'], 6)
    """

    def __init_subclass__(cls, **more: Any) -> None:
        super().__init_subclass__(**more)
        _TABLES.add(cls.__name__)

    def __post_init__(self) -> None:
        self.check()

    def __len__(self) -> int:
        own = self.__dict__
        return next((len(own[one.name]) for one in _columns(type(self)) if own[one.name] is not None), 0)

    def __iter__(self) -> Iterator[str]:
        """Names of the columns that are known."""
        return (one.name for one in _columns(type(self)) if self.__dict__[one.name] is not None)

    def __eq__(self, other: object) -> bool:
        """Of one kind, with the same columns; unknown numbers are alike."""
        if type(other) is not type(self):
            return NotImplemented
        return all(_alike(values, other.__dict__[name]) for name, values in self.__dict__.items())

    def __repr__(self) -> str:
        known = list(self)
        unknown = [name for name in self.column_names() if name not in known]
        parts = [f"{len(self)} row{'s' * (len(self) != 1)}", f"columns {', '.join(known)}"]
        if unknown:
            parts.append(f"unknown {', '.join(unknown)}")
        parts += [f"{name} {str(self.__dict__[name])[:40]!r}" for name in _whole(type(self))]
        return f"<{type(self).__name__}: {'; '.join(parts)}>"

    @classmethod
    def column_names(cls) -> list[str]:
        """Names of all columns it may have, in order."""
        return [one.name for one in _columns(cls)]

    @classmethod
    def from_dict(cls: type[_T], columns: Mapping[str, Any], **whole: Any) -> _T:
        """A table from columns by name; others among them are left alone.

        Parameters
        ----------
        columns : mapping of str to (n,) array
        **whole
            What belongs to the table as a whole, such as ``crs``.

        Raises
        ------
        InputError
            If columns are missing, all of them by name.
        """
        missing = [one.name for one in _columns(cls) if one.demanded and one.name not in columns]
        if missing:
            raise InputError(f"{cls.__name__}: the column{'s' * (len(missing) > 1)} {', '.join(missing)} "
                             f"{'are' if len(missing) > 1 else 'is'} missing. There are "
                             f"{', '.join(sorted(columns)) or 'no columns'}.", field=missing[0])
        return cls(**{name: columns[name] for name in cls.column_names() if name in columns}, **whole)

    def to_dict(self) -> dict[str, Any]:
        """The columns that are known, by name."""
        return {name: self.__dict__[name] for name in self}

    def check(self) -> None:
        """Bring every column to its type and length.

        Raises
        ------
        InputError
            Naming the column that is missing, of another length, or holds what is not of its type.
        """
        own, whose = self.__dict__, type(self).__name__
        single, length, first = [], -1, ""
        for one in _columns(type(self)):
            values = own[one.name]
            if values is None:
                if not one.optional:
                    raise InputError(f"{whose}: the column {one.name} is missing.", field=one.name)
                continue
            if one.kind not in _NUMPY:
                if not isinstance(values, Table):
                    raise InputError(f"{whose}: {one.name} is no {one.kind}.", field=one.name)
            else:
                values = own[one.name] = _of_kind(values, one.kind, whose, one.name)
                if not values.ndim:
                    single.append(one.name)
                    continue
            if length < 0:
                length, first = len(values), one.name
            elif len(values) != length:
                raise InputError(f"{whose}: {one.name} has {len(values)} rows, {first} has {length}; all columns of a "
                                 "table are of one length.", field=one.name)
        for name in single:  # one value for all
            own[name] = np.full(max(length, 0) if first else 1, own[name], own[name].dtype)

    def take(self: _T, index: Any) -> _T:
        """The rows at ``index`` (int or bool array, or slice) as a new table."""
        index = self._rows(index)
        own, made = self.__dict__, object.__new__(type(self))
        new = made.__dict__
        for name in _whole(type(self)):
            new[name] = own[name]
        for name, kind, _, _ in _columns(type(self)):
            values = own[name]
            new[name] = None if values is None else values[index] if kind in _NUMPY else values.take(index)
        return made

    @classmethod
    def concatenate(cls: type[_T], tables: Iterable[_T]) -> _T:
        """The rows of all tables, one after the other; a column that only some know is blank for the others.

        Raises
        ------
        InputError
            If there is none, if they differ in what belongs to a table as a whole (such as ``crs``), or if whole
            numbers are unknown for some.
        """
        tables = list(tables)
        if not tables:
            raise InputError(f"{cls.__name__}: nothing was given to put together.")
        given = {}
        for name in _whole(cls):
            given[name] = tables[0].__dict__[name]
            if not all(_alike(given[name], table.__dict__[name]) for table in tables[1:]):
                raise InputError(f"{cls.__name__}: tables of different {name} cannot be put together.", field=name)
        for one in _columns(cls):
            parts = [table.__dict__[one.name] for table in tables]
            given[one.name] = None if all(part is None for part in parts) else _put_together(one, parts, tables)
        made = object.__new__(cls)
        made.__dict__.update(given)
        return made

    def _rows(self, index: Any) -> Any:
        """An index that is asked for often, made ready once."""
        if isinstance(index, slice):
            return index
        index = np.asarray(index)
        if index.dtype == bool:
            if len(index) != len(self):
                raise IndexError(f"{len(index)} flags for {len(self)} rows of {type(self).__name__}")
            return np.flatnonzero(index)
        return index if index.size else index.astype(np.intp)


_TABLES: set[str] = set()

_NUMPY = {"Floats": "f", "Ints": "iu", "Bools": "b", "Texts": "O", "Objects": "O"}
"""Kinds of dtype that are of each type as they are."""


def _columns(cls: Any) -> tuple[_Column, ...]:
    return _columns_of(cls)


@functools.cache
def _columns_of(cls: Any) -> tuple[_Column, ...]:
    found = []
    for field in fields(cls):
        kind, *more = (word.strip() for word in str(field.type).split("|"))
        if kind in _NUMPY or kind in _TABLES:
            demanded = field.default is MISSING and field.default_factory is MISSING
            found.append(_Column(field.name, kind, "None" in more, demanded))
    return tuple(found)


def _whole(cls: Any) -> tuple[str, ...]:
    return _whole_of(cls)


@functools.cache
def _whole_of(cls: Any) -> tuple[str, ...]:
    names = {one.name for one in _columns(cls)}
    return tuple(field.name for field in fields(cls) if field.name not in names)


def _of_kind(values: Any, kind: str, whose: str, name: str) -> NDArray[Any]:
    if type(values) is np.ndarray and values.dtype.kind in _NUMPY[kind]:
        return values
    try:
        return _MAKERS[kind](values)
    except (TypeError, ValueError, OverflowError):
        raise InputError(f"{whose}: {name} holds what is no {_WORDS[kind]}.", field=name) from None


def _floats(values: Any) -> NDArray[Any]:
    return np.asarray(values, float)


def _ints(values: Any) -> NDArray[Any]:
    given = np.asarray(values)
    if given.dtype.kind == "f" and not (np.isfinite(given) & (given == np.floor(given))).all():
        raise ValueError
    return np.asarray(given, np.int64)


def _bools(values: Any) -> NDArray[Any]:
    given = np.asarray(values)
    if not np.isin(given, (0, 1)).all():
        raise ValueError
    return given.astype(bool)


def _texts(values: Any) -> NDArray[Any]:
    made = np.asarray(values, object)
    if not all(isinstance(value, str) for value in made.flat):
        raise ValueError
    return made


def _objects(values: Any) -> NDArray[Any]:
    """One by one: numpy would look into polygons of many parts."""
    values = list(values)
    made = np.empty(len(values), object)
    for row, value in enumerate(values):
        made[row] = value
    return made


_MAKERS = {"Floats": _floats, "Ints": _ints, "Bools": _bools, "Texts": _texts, "Objects": _objects}
_WORDS = {"Floats": "number", "Ints": "whole number", "Bools": "yes or no", "Texts": "text", "Objects": "row"}


def _put_together(one: _Column, parts: list[Any], tables: list[Any]) -> Any:
    known = next(part for part in parts if part is not None)
    if one.kind not in _NUMPY:
        if any(part is None for part in parts):
            raise InputError(f"{one.name} is unknown for some of the tables that are to be put together.",
                             field=one.name)
        return type(known).concatenate(parts)
    if any(part is None for part in parts):
        if one.kind not in _BLANK:
            raise InputError(f"{one.name} is unknown for some of the tables that are to be put together, and no whole "
                             "number can stand for that.", field=one.name)
        parts = [np.full((len(table), *known.shape[1:]), _BLANK[one.kind], known.dtype) if part is None else part
                 for part, table in zip(parts, tables)]
    return np.concatenate(parts)


def _alike(one: Any, other: Any) -> bool:
    if one is other:
        return True
    if isinstance(one, np.ndarray) and isinstance(other, np.ndarray):
        numbers = one.dtype.kind == "f" and other.dtype.kind == "f"
        return np.array_equal(one, other, equal_nan=numbers)
    return bool(one == other)
