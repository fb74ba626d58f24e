"""What was left out, and where: a count and the first five places for each reason."""
from __future__ import annotations

from collections.abc import Iterable

from .messages import Message

__all__ = ["Rejections"]

_SHOWN = 5


class Rejections:
    """Counts by reason, with the first five places of each; a place is a line of a log or a point of a track."""

    def __init__(self) -> None:
        self._counts: dict[str, int] = {}
        self._places: dict[str, list[tuple[str, int]]] = {}

    def add(self, reason: str, place: str, numbers: Iterable[int]) -> None:
        """Count one entry for each of ``numbers`` (line or point numbers, ints) in ``place`` (a file's name)."""
        numbers = list(numbers)
        if numbers:
            self._counts[reason] = self._counts.get(reason, 0) + len(numbers)
            places = self._places.setdefault(reason, [])
            places.extend((place, int(number)) for number in numbers[:_SHOWN - len(places)])

    def count(self, reason: str | None = None) -> int:
        """Entries for one reason, or for all of them."""
        return sum(self._counts.values()) if reason is None else self._counts.get(reason, 0)

    def lines(self) -> list[Message]:
        """One text for each reason: how many, why, and the first five places."""
        return [Message("{count} {reason} ({where})", count=count, reason=reason, where=self._where(reason))
                for reason, count in self._counts.items()]

    def _where(self, reason: str) -> str:
        by_file: dict[str, list[str]] = {}
        for place, number in self._places[reason]:
            by_file.setdefault(place, []).append(str(number))
        shown = "; ".join(f"{place}: {', '.join(numbers)}" for place, numbers in by_file.items())
        more = self._counts[reason] > len(self._places[reason])
        return f"first at {shown}" if more else shown
