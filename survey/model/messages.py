"""Sentences that name what is to be set, in the words of whoever reads them: a program's names or a form's labels."""
from __future__ import annotations

import string
from collections.abc import Callable, Iterable, Iterator
from typing import Any, NamedTuple

__all__ = ["Function", "Message", "Setting"]

_UNIT = ".unit"


class Setting(NamedTuple):
    """A setting named in a message: an argument or settings field, of ``function`` where it is another's.

    ``range_m.unit`` is the unit that ``range_m`` is given in; where a form has a box for it, that is named.
    """

    name: str
    function: str = ""

    def __str__(self) -> str:
        return f"the unit of {self.name[:-len(_UNIT)]}" if self.name.endswith(_UNIT) else self.name


class Function(NamedTuple):
    """A function named in a message, such as the one that makes what is missing."""

    name: str

    def __str__(self) -> str:
        return f"{self.name}()"


class Message(str):
    """A text that names settings and functions; as a string it speaks of them by their names in Python.

    Parameters
    ----------
    template : str
        ``{range_m}`` names a setting, ``{prepare(range_m)}`` a setting of another function, ``{prepare()}`` a function.
    **values
        What else stands in braces, with a format if need be, as in ``{given:.1f}``. Values are quoted as they are, so
        braces of the user's do no harm; a value that is a Message or a Setting stays one.

    Attributes
    ----------
    parts : tuple of str, Setting or Function

    Examples
    --------
    >>> from athwart.model.messages import Message
    >>> text = Message("{range_m} is {given:g} m; see {prepare()}.", given=-3)
    >>> print(text)
    range_m is -3 m; see prepare().
    >>> text.rendered(lambda name: f"'{name.name.upper()}'")
    "'RANGE_M' is -3 m; see 'PREPARE'."
    """

    parts: tuple[Any, ...]

    def __new__(cls, template: str, **values: Any) -> Message:
        return cls.of(_parts(template, values))

    @classmethod
    def of(cls, parts: Iterable[Any]) -> Message:
        """A message of these parts in their order; messages among them keep their names."""
        flat: list[Any] = []
        for part in parts:
            flat += getattr(part, "parts", [part])
        message = super().__new__(cls, "".join(map(str, flat)))
        message.parts = tuple(flat)
        return message

    @classmethod
    def joined(cls, separator: str, texts: Iterable[str | Setting]) -> Message:
        """Texts and messages in a row, as ``separator.join(texts)`` is for texts."""
        return cls.of([part for text in texts for part in (separator, text)][1:])

    def __add__(self, other: str) -> Message:
        return Message.of([self, other])

    def __radd__(self, other: str) -> Message:
        return Message.of([other, self])

    def __reduce__(self) -> tuple[Any, ...]:
        return Message.of, (self.parts,)

    def rstrip(self, chars: str | None = None) -> Message:
        """As of texts; a name at the end stays."""
        *head, last = self.parts
        return Message.of([*head, last.rstrip(chars) if isinstance(last, str) else last])

    def rendered(self, word: Callable[[Any], str]) -> str:
        """The text, with ``word(name)`` for every Setting and Function in it."""
        return "".join(part if isinstance(part, str) else word(part) for part in self.parts)


def _parts(template: str, values: dict[str, Any]) -> Iterator[Any]:
    """Parts of a template: what stands in braces and is not a value is a name."""
    for text, name, spec, conversion in string.Formatter().parse(template):
        yield text
        if name is None:
            continue
        if name in values:
            value = values[name]
            named = isinstance(value, (Message, Setting, Function))
            yield value if named else format(repr(value) if conversion else value, spec or "")
        elif name.endswith("()"):
            yield Function(name[:-2])
        else:
            function, _, setting = name.rstrip(")").rpartition("(")
            yield Setting(setting, function)
