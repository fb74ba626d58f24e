"""The style files that come with the plugin, and whose a style is that lies beside a layer's file."""
from __future__ import annotations

import hashlib
import os
import pathlib
import re

__all__ = ["STYLES", "has_users_style", "made_by_tool", "marked"]

STYLES = pathlib.Path(__file__).resolve().parents[2] / "plugin" / "styles"

_MARK = re.compile(rb"\n<!-- made by Athwart: ([0-9a-f]{64}); a style that you change is yours and stays -->\n$")


def marked(style: bytes) -> bytes:
    """Bytes of a style with the mark by which ``made_by_tool`` knows it again."""
    told = hashlib.sha256(style).hexdigest().encode()
    return style + b"\n<!-- made by Athwart: " + told + b"; a style that you change is yours and stays -->\n"


def made_by_tool(path: str) -> bool:
    """True for a style file as a tool wrote it: a change by anybody else breaks its mark."""
    with open(path, "rb") as file:
        found = file.read()
    mark = _MARK.search(found)
    if mark:
        return hashlib.sha256(found[:mark.start()]).hexdigest().encode() == mark[1]
    return any(found == style.read_bytes() for style in STYLES.glob("*.qml"))  # of versions that set no mark


def has_users_style(source: str) -> bool:
    """True if a style of the user's lies beside a layer's file; QGIS has taken it when it loaded the layer."""
    beside = os.path.splitext(source)[0] + ".qml"
    return "|" not in source and os.path.isfile(beside) and not made_by_tool(beside)
