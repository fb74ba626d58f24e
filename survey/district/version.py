"""Which version of the core this is, installed or inside the plugin."""
from __future__ import annotations

import configparser
import pathlib
from typing import Any

__all__ = ["version"]


def version() -> Any:
    """The version as text.

    Examples
    --------
    >>> from athwart.district.version import version
    >>> version().count(".") >= 1
    True
    """
    told = configparser.ConfigParser(interpolation=None)
    told.read(pathlib.Path(__file__).resolve().parents[2] / "metadata.txt", encoding="utf-8")
    if told.has_option("general", "version"):  # inside the plugin
        return told["general"]["version"]
    from importlib.metadata import PackageNotFoundError
    from importlib.metadata import version as installed
    try:
        return installed("athwart")
    except PackageNotFoundError:
        return "0.0"
