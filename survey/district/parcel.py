"""What a worker hands back: layers and facts as one block of bytes that holds arrays and texts, and no code.

A parcel is NumPy's own archive of plain arrays (NEP 1), read with ``allow_pickle=False``: one that came from somebody
else's folder can be wrong, but it cannot run anything.
"""
from __future__ import annotations

import io
import json
import zipfile
from dataclasses import dataclass, field
from typing import Any

import numpy as np

from ..geometry import shapes
from ..model.errors import InputError

__all__ = ["Part", "Parcel"]

_FACTS = "facts"


@dataclass
class Part:
    """One layer: ``columns`` (n,) arrays by field name; ``places`` (x, y) arrays of points, a list of shapely
    geometries with None where empty, or None for a table."""

    columns: dict
    places: Any = None

    def __len__(self) -> Any:
        if isinstance(self.places, tuple):
            return len(self.places[0])
        if self.places is not None:
            return len(self.places)
        return max(map(len, self.columns.values()), default=0)


@dataclass
class Parcel:
    """``parts``: {name of the layer: Part}; ``facts``: plain values by name, of which JSON can be made; ``crs``: WKT.

    Examples
    --------
    >>> import numpy as np
    >>> from athwart.district.parcel import Parcel, Part
    >>> sent = Parcel("EPSG:32619", {"marks": Part({"label": np.array(["log"])}, (np.ones(1), np.zeros(1)))}, {"n": 1})
    >>> Parcel.of(sent.packed()).parts["marks"].columns["label"].tolist()
    ['log']
    """

    crs: str
    parts: dict = field(default_factory=dict)
    facts: dict = field(default_factory=dict)

    def packed(self) -> Any:
        """The parcel as bytes."""
        arrays: dict[str, Any] = {}
        kinds = {}
        for name, part in self.parts.items():
            kinds[name] = "table" if part.places is None else "points" if isinstance(part.places, tuple) else "shapes"
            for column, given in part.columns.items():
                values = np.asarray(given)
                arrays[f"{name}/{column}"] = values.astype(str) if values.dtype.kind in "OU" else values
            if kinds[name] == "points":
                arrays[f"{name}//x"], arrays[f"{name}//y"] = (np.asarray(values, float) for values in part.places)
            elif kinds[name] == "shapes":
                blocks = [b"" if one is None or one.is_empty else shapes.to_wkb(one) for one in part.places]
                arrays[f"{name}//wkb"] = np.frombuffer(b"".join(blocks), np.uint8)
                arrays[f"{name}//sizes"] = np.array([len(block) for block in blocks], np.int64)
        told = json.dumps({"crs": self.crs, "kinds": kinds, "facts": self.facts})
        arrays[_FACTS] = np.frombuffer(told.encode("utf-8"), np.uint8)
        block = io.BytesIO()
        np.savez_compressed(block, **arrays)
        return block.getvalue()

    @classmethod
    def of(cls, data: Any) -> Any:
        """The parcel of such bytes; InputError where they are none."""
        try:
            with np.load(io.BytesIO(data), allow_pickle=False) as archive:
                arrays = {name: archive[name] for name in archive.files}
            told = json.loads(arrays.pop(_FACTS).tobytes().decode("utf-8"))
        except (ValueError, KeyError, OSError, EOFError, zipfile.BadZipFile) as error:
            raise InputError(f"This is no result of an outing or a lake ({error}). Delete it, and it is worked "
                             "again.") from None
        made = cls(told["crs"], facts=told["facts"])
        for name, kind in told["kinds"].items():
            own = {key.split("/", 1)[1]: values for key, values in arrays.items() if key.split("/", 1)[0] == name}
            columns = {key: values.astype(object) if values.dtype.kind == "U" else values
                       for key, values in own.items() if not key.startswith("/")}
            places: Any = None
            if kind == "points":
                places = own["/x"], own["/y"]
            elif kind == "shapes":
                ends = np.cumsum(own["/sizes"])
                wkb = own["/wkb"].tobytes()
                places = [shapes.from_wkb(wkb[end - size:end]) if size else None
                          for size, end in zip(own["/sizes"].tolist(), ends.tolist())]
            made.parts[name] = Part(columns, places)
        return made
