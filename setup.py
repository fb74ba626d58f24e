"""The core as a Python package without QGIS: the folder survey/ under the name athwart, with the styles of its layers.

See pyproject.toml.
"""
from __future__ import annotations

import configparser
import pathlib

from setuptools import find_packages, setup

ROOT = pathlib.Path(__file__).resolve().parent
CORE = "survey"
STYLES = "plugin/styles"

metadata = configparser.ConfigParser(interpolation=None)
metadata.read(ROOT / "metadata.txt", encoding="utf-8")

setup(
    version=metadata["general"]["version"],
    packages=["athwart", "athwart.styles", *(f"athwart.{room}" for room in find_packages(str(ROOT / CORE)))],
    package_dir={"athwart": CORE, "athwart.styles": STYLES},
    package_data={"athwart": ["py.typed"], "athwart.ext": ["*.dist-info/*"], "athwart.district": ["*.js"],
                  "athwart.styles": ["*.qml"]},
)
