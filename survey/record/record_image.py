"""An image of the record and everything that stands in its rows, ready to be laid on the map."""
from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING

import numpy as np

from ..model.errors import InputError
from ..model.messages import Message
from .picture import Record

if TYPE_CHECKING:
    from typing import Any

__all__ = ["RecordImage", "grey_of"]


@dataclass(frozen=True)
class RecordImage:
    """``name``: what the user calls it. ``record``: how it shows the record. ``pixels``: (rows, columns) or (rows,
    columns, bands) uint8 or uint16, of which 1 band is grey and 3 are red, green and blue; may be a memory map.
    ``clear``: (rows, columns) bool, True where a pixel is transparent and shows nothing, or None.

    Examples
    --------
    >>> import numpy as np
    >>> import athwart
    >>> record = athwart.Record(width=4, height=2, edge_range_m=40.0, first_ping=1, newest="bottom")
    >>> image = athwart.RecordImage("morning.png", record, np.zeros((2, 4, 3), np.uint8))
    >>> image.bands, image.greys().shape
    (3, (2, 4))
    """

    name: str
    record: Record
    pixels: np.ndarray = field(repr=False)
    clear: np.ndarray = field(default=None, repr=False)

    def __post_init__(self) -> None:
        if self.pixels.dtype not in (np.uint8, np.uint16):
            raise InputError(Message("The image '{name}' holds {kind} numbers; save it with 8 or 16 bits a pixel.",
                                     name=self.name, kind=str(self.pixels.dtype)), field="images")
        if self.pixels.shape[:2] != (self.record.height, self.record.width):
            raise InputError(f"The image '{self.name}' has {self.pixels.shape[1]} x {self.pixels.shape[0]} pixels, but "
                             f"was described as {self.record.width} x {self.record.height}.", field="images")

    @property
    def bands(self) -> int:
        """Number of bands."""
        return 1 if self.pixels.ndim == 2 else self.pixels.shape[2]

    def greys(self) -> Any:
        """Something that can be cut like a (rows, columns) array of greys; colours are weighed when they are cut."""
        return self.pixels if self.bands == 1 and self.pixels.ndim == 2 else _Greys(self.pixels)


class _Greys:
    """Greys of a coloured image, made where they are asked for."""

    def __init__(self, pixels: np.ndarray) -> None:
        self._pixels, self.dtype, self.shape = pixels, pixels.dtype, pixels.shape[:2]

    def __getitem__(self, index: Any) -> np.ndarray:
        return grey_of(self._pixels[index])


def grey_of(pixels: np.ndarray) -> np.ndarray:
    """Luma of pixels (..., 3), ITU-R BT.601 weights, in their own type; the one band of (..., 1).

    Examples
    --------
    >>> import numpy as np
    >>> from athwart.record.record_image import grey_of
    >>> grey_of(np.array([[255, 255, 255], [255, 0, 0]], np.uint8)).tolist()
    [255, 76]
    """
    if pixels.shape[-1] == 1:
        return pixels[..., 0]
    wide = pixels[..., :3].astype(np.uint32)  # numpy before 2 would multiply in the pixels' own type
    return ((77 * wide[..., 0] + 150 * wide[..., 1] + 29 * wide[..., 2]) >> 8).astype(pixels.dtype)
