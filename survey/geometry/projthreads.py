"""PROJ in threads that Python did not start, such as those in which QGIS runs tools on the desktop."""
from __future__ import annotations

import threading

import pyproj

__all__ = ["keep_context"]

_kept: dict[object, object] = {}
"""Keeper of the PROJ context by thread; a thread that takes the number of one that has ended takes its place."""


def keep_context():
    """Keep this thread's PROJ context for as long as the thread may come back; call it after any use of pyproj.

    pyproj 3.7 finds its context again by the operating system's thread, but frees it with Python's state of the
    thread. In a thread that Python did not start, that state ends with each call from outside, so that the next call
    in the same thread would be given a context that is gone, and end the whole program. Other versions do without.

    Examples
    --------
    >>> from athwart.geometry.projthreads import keep_context
    >>> keep_context()
    """
    if pyproj.__version__.startswith("3.7."):
        from pyproj._context import get_context_manager

        manager = get_context_manager()
        if manager is not None:
            _kept[threading.get_ident()] = manager
