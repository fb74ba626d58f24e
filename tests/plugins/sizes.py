"""Sizes of tests that draw many cases: few in the suite, all of them in ``make proof`` (full_sizes)."""
import os

FULL = bool(os.environ.get("ATHWART_FULL_SIZES"))


def full(few, many):
    """``many`` where the sizes are full, else ``few``."""
    return many if FULL else few
