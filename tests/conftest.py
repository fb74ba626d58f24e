"""Shared by every test: the clone as package `athwart`, and the real recordings."""
import pathlib
import sys

import pytest

ROOT = pathlib.Path(__file__).resolve().parents[1]
sys.path.insert(0, str(ROOT / "tests" / "plugins"))

import clone  # noqa: E402

clone.load()


@pytest.fixture
def root():
    """The clone's folder."""
    return ROOT


@pytest.fixture
def fixtures():
    """Folder of the real recordings and maps."""
    return ROOT / "tests" / "fixtures"
