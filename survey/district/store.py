"""What is done already, by the hash of what it was made from: an outing or lake that nothing changed is not done again.

A part is written beside its place, read back and moved there, so that a run that was cut off leaves whole parts only.
"""
from __future__ import annotations

import contextlib
import hashlib
import json
import os
import pathlib
from dataclasses import asdict
from typing import Any

from ..model.errors import InputError
from .parcel import Parcel

__all__ = ["Store", "write_whole"]

_BLOCK = 1 << 20
_MISSING = "not there"


class Store:
    """Parts in a folder, ``<hash>.npz`` each.

    Parameters
    ----------
    folder : path
        Made if it is not there.
    version : str
        Of the program: another one may reckon otherwise, so all is done again.
    settings : settings.DistrictSettings
    """

    def __init__(self, folder: Any, version: Any, settings: Any) -> None:
        self.folder = pathlib.Path(folder)
        self.folder.mkdir(parents=True, exist_ok=True)
        told = asdict(settings)
        told.pop("title")  # no number depends on it
        self._common = json.dumps([version, told], sort_keys=True)
        self._files: dict[str, str] = {}

    def outing_key(self, row: Any, lake: Any) -> Any:
        """Hash of all that the results of an outing depend on."""
        values = {name: value for name, value in row.values.items() if name not in ("who", "gear")}
        people = [row.values.get(name, "") for name in ("who", "gear")]
        return self._hash("outing", row.name, values, people, lake.crs, lake.water,
                          [self._content(path) for path in (*row.files, *lake.files)])

    def lake_key(self, lake: Any, outings: Any) -> Any:
        """Hash of all that the results of a lake depend on; ``outings``: keys of those that count."""
        return self._hash("lake", lake.name, lake.crs, lake.area, lake.water, *lake.shore, list(outings))

    def _hash(self, *parts: Any) -> Any:
        made = hashlib.sha256(self._common.encode("utf-8"))
        for part in parts:
            data = part if isinstance(part, bytes) else json.dumps(part, sort_keys=True).encode("utf-8")
            made.update(len(data).to_bytes(8, "big") + data)
        return made.hexdigest()[:32]

    def _content(self, path: Any) -> Any:
        """Hash of a file's content; one that several rows name is read once."""
        if path not in self._files:
            made = hashlib.sha256()
            try:
                with open(path, "rb") as file:
                    while block := file.read(_BLOCK):
                        made.update(block)
                self._files[path] = made.hexdigest()
            except OSError:
                self._files[path] = _MISSING
        return self._files[path]

    def path(self, key: Any) -> Any:
        """Where a part lies, or would."""
        return self.folder / f"{key}.npz"

    def has(self, key: Any) -> Any:
        """True if the part is there and whole; a damaged one is taken away."""
        path = self.path(key)
        if not path.is_file():
            return False
        try:
            Parcel.of(path.read_bytes())
        except InputError:
            path.unlink()
            return False
        return True

    def get(self, key: Any) -> Any:
        """The Parcel of a part."""
        return Parcel.of(self.path(key).read_bytes())

    def put(self, key: Any, data: Any) -> None:
        """Keep the bytes of a Parcel."""
        write_whole(self.path(key), data)

    def forget_others(self, keys: Any) -> Any:
        """Take away parts that no row needs any more; how many."""
        kept, gone = {self.path(key).name for key in keys}, 0
        for path in self.folder.glob("*.npz"):
            if path.name not in kept:
                path.unlink()
                gone += 1
        return gone


def write_whole(path: Any, data: Any) -> None:
    """Write bytes beside their place, read them back and move them there; nobody sees half of a file.

    Examples
    --------
    >>> import pathlib, tempfile
    >>> from athwart.district.store import write_whole
    >>> path = pathlib.Path(tempfile.mkdtemp(), "page.html")
    >>> write_whole(path, b"<p>")
    >>> path.read_bytes(), len(list(path.parent.iterdir()))
    (b'<p>', 1)
    """
    path = pathlib.Path(path)
    aside = path.with_name(f".{path.name}.{os.getpid()}.part")
    try:
        with open(aside, "wb") as file:
            file.write(data)
            file.flush()
            os.fsync(file.fileno())
        if aside.read_bytes() != data:
            raise InputError(f"{path} could not be written whole. Is the disk full?")
        os.replace(aside, path)
    finally:
        with contextlib.suppress(OSError):
            aside.unlink()
