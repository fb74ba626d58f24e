"""Outputs of one run: made beside their places, proved whole, and moved over together once the run has succeeded.

A run that is stopped, fails or is killed leaves what was there before as it was, and nothing under the final names.
"""
from __future__ import annotations

import contextlib
import os
import shutil
import tempfile
import threading
from typing import TYPE_CHECKING

from qgis.core import QgsProcessingException

from ...survey.model import patience
from ...survey.model.errors import Cancelled
from .disk import not_written
from .geopackage import put_tables

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator

    from qgis.core import QgsProcessingFeedback

__all__ = ["Stage", "shared", "staged"]

_STALE = (".aux.xml", ".ovr", ".msk", "-wal", "-shm", "-journal")
"""What belongs to the file that is replaced, and would be taken for the new one's."""

_thread = threading.local()


class Stage:
    """See the module. ``feedback`` (or None) is that of the run."""

    def __init__(self, feedback: QgsProcessingFeedback | None = None) -> None:
        self.feedback = feedback
        self._rooms: dict[str, str] = {}
        self._files: list[tuple[str, str]] = []
        self._tables: dict[str, list[tuple[str, str, str, int, bool]]] = {}

    def check(self) -> None:
        """Raise Cancelled when the user has asked to stop."""
        if self.feedback is not None and self.feedback.isCanceled():
            raise Cancelled

    def warn(self, text: str) -> None:
        """Tell the user."""
        if self.feedback is not None:
            self.feedback.pushWarning(text)

    def pace(self, size: int, every: int = 200) -> Callable[[int], None]:
        """``tell(done)`` for loops over ``size`` things: every so many it moves the bar on and looks for a cancel.

        The bar goes half of the way that is left: nobody knows how many outputs are to come.
        """
        begin = max(0.0, self.feedback.progress()) if self.feedback is not None else 0.0

        def tell(done: int) -> None:
            if done % every == 0 or done == size:
                if self.feedback is not None:
                    self.feedback.setProgress(begin + 0.5 * (100.0 - begin) * done / max(size, 1))
                self.check()
        return tell

    def move_on(self) -> None:
        """A file is done: the bar goes half of the way that is left."""
        self.check()
        if self.feedback is not None:
            self.feedback.setProgress((max(0.0, self.feedback.progress()) + 100.0) / 2)

    def room(self, path: str) -> str:
        """Where to make a file: under its own name, in a new folder on the disk of its place."""
        folder = os.path.dirname(os.path.realpath(path))
        name = os.path.basename(path)
        try:
            room = tempfile.mkdtemp(prefix=f"{name}.unfinished-", dir=folder)
        except OSError as error:
            raise QgsProcessingException(not_written(path, error)) from error
        self._rooms[room] = os.path.dirname(path)
        return os.path.join(room, name)

    def keep(self, scratch: str, path: str) -> None:
        """A file that is whole, with all that lies beside it in its room, is to go to ``path``."""
        self._files.append((scratch, path))

    def keep_table(self, scratch: str, path: str, table: str, rows: int, append: bool = False) -> None:
        """The only table of a GeoPackage that is whole is to become, or to be appended to, one of another."""
        self._tables.setdefault(os.path.realpath(path), []).append((scratch, path, table, rows, append))

    def in_place(self, text: str) -> str:
        """A message with every file where the user wanted it."""
        for room, folder in self._rooms.items():
            text = text.replace(room, folder)
        return text

    def commit(self) -> None:
        """Move everything over; QgsProcessingException says what could not be."""
        self.check()
        for found in self._tables.values():
            tell = self.pace(sum(entry[3] for entry in found))
            if not os.path.exists(found[0][1]):  # a new file: the first brings it, the others come in there
                put_tables(found[0][0], found[1:], tell)
                self._files.append(found[0][:2])
            else:
                put_tables(found[0][1], found, tell)
        for scratch, path in self._files:
            try:
                _move(scratch, path)
            except OSError as error:
                raise QgsProcessingException(not_written(path, error)) from error

    def discard(self) -> None:
        """Take away what was not moved over."""
        for room in self._rooms:
            shutil.rmtree(room, ignore_errors=True)


def _move(scratch: str, path: str) -> None:
    final = os.path.realpath(path)
    if os.path.exists(final):
        shutil.copymode(final, scratch)
    for ending in _STALE:
        with contextlib.suppress(FileNotFoundError):
            os.remove(path + ending)
    room = os.path.dirname(scratch)
    for name in os.listdir(room):
        if name != os.path.basename(scratch) and not name.endswith(("-wal", "-shm", "-journal")):
            shutil.move(os.path.join(room, name), os.path.join(os.path.dirname(path), name))
    os.replace(scratch, final)


@contextlib.contextmanager
def staged(feedback: QgsProcessingFeedback) -> Iterator[Stage]:
    """The Stage of a run: all of it is moved over if the block ends well, and none of it if it does not."""
    stage, before = Stage(feedback), getattr(_thread, "stage", None)
    _thread.stage = stage
    try:
        with patience.listening(stage.check):
            yield stage
            stage.commit()
    finally:
        _thread.stage = before
        stage.discard()


@contextlib.contextmanager
def shared() -> Iterator[Stage]:
    """The Stage of the run that this thread is in; outside a run one of its own."""
    stage = getattr(_thread, "stage", None)
    if stage is not None:
        yield stage
        return
    with staged(None) as own:
        yield own
