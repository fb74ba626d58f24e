"""Places as plotters show them: degrees and decimal minutes."""
from __future__ import annotations

__all__ = ["degrees_minutes"]


def degrees_minutes(degrees: float, letters: str, digits: int = 3) -> str:
    """Degrees as '45\u00b0 12.345\u2032 N'; rounding never leaves 60 minutes.

    Parameters
    ----------
    degrees : float
        North or east positive.
    letters : str
        The letters of the positive and the negative half, 'NS' or 'EW'.
    digits : int
        Decimals of a minute; 0.001 of a minute of latitude is 1.9 m.

    Examples
    --------
    >>> from athwart.model.coordinates import degrees_minutes
    >>> degrees_minutes(-93.25, "EW").split(chr(160)), degrees_minutes(44.9999999, "NS").split(chr(160))
    (['93\u00b0', '15.000\u2032', 'W'], ['45\u00b0', '00.000\u2032', 'N'])
    """
    whole = 10 ** digits
    parts = round(abs(degrees) * 60 * whole)
    minutes = parts / whole
    width = digits + 3 if digits else 2
    return (f"{parts // (60 * whole)}\u00b0\u00a0{minutes % 60:0{width}.{digits}f}\u2032\u00a0"
            f"{letters[1 if degrees < 0 else 0]}")
