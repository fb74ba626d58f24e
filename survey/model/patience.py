"""A cancel heard while a single long operation runs, such as the union of a thousand polygons.

Who starts the work says how it is to be asked (``listening``). The overlays of ``plane`` then run beside the thread
that asks (``heard``): the geometry library lets other threads of Python go on meanwhile. Code that loops asks now and
then (``look``).
"""
from __future__ import annotations

import contextlib
import threading
from collections.abc import Callable, Iterator
from typing import Any

from .errors import Cancelled

__all__ = ["heard", "listening", "look"]

_EVERY_S = 0.05
_here = threading.local()
_left_alone: list[threading.Thread] = []
"""Threads whose result nobody wants any more; a geometry library that is not made for it never meets two at once."""


@contextlib.contextmanager
def listening(ask: Callable[[], None]) -> Iterator[None]:
    """Within the block this thread asks by calling ``ask()``, which may raise Cancelled.

    Examples
    --------
    >>> from athwart.model.patience import listening
    >>> from athwart.model.patience import look
    >>> asked = []
    >>> with listening(lambda: asked.append("goes on")):
    ...     look()
    ...
    >>> asked
    ['goes on']
    """
    before, _here.ask = getattr(_here, "ask", None), ask
    try:
        while _left_alone:
            _wait_for(_left_alone[-1], ask)
            _left_alone.pop()
        yield
    finally:
        _here.ask = before


def look() -> None:
    """Ask whether to go on; nothing happens where nobody listens.

    Examples
    --------
    >>> from athwart.model.patience import look
    >>> look()
    """
    ask = getattr(_here, "ask", None)
    if ask is not None:
        ask()


def heard(function: Callable[..., Any], *arguments: Any) -> Any:
    """``function(*arguments)``; while it runs, this thread keeps asking whether to go on.

    Raises
    ------
    Cancelled
        At once; what was begun is left to end by itself, or at its next ``look``.

    Examples
    --------
    >>> from athwart.model.patience import heard
    >>> heard(sum, [1, 2, 3])
    6
    """
    ask = getattr(_here, "ask", None)
    if ask is None:
        return function(*arguments)
    ask()
    told: dict[str, Any] = {}
    given_up = threading.Event()

    def go_on() -> None:
        if given_up.is_set():
            raise Cancelled

    def work() -> None:
        _here.ask = go_on
        try:
            told["made"] = function(*arguments)
        except BaseException as error:  # handed over below, whatever it is
            told["failed"] = error

    thread = threading.Thread(target=work, daemon=True)
    thread.start()
    try:
        _wait_for(thread, ask)
    except BaseException:
        given_up.set()
        _left_alone.append(thread)
        raise
    if "failed" in told:
        raise told["failed"]
    return told["made"]


def _wait_for(thread: threading.Thread, ask: Callable[[], None]) -> None:
    thread.join(_EVERY_S)
    while thread.is_alive():
        ask()
        thread.join(_EVERY_S)
