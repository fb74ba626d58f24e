"""The colours of styles, report and card: one meaning, one colour, wherever it is drawn.

The strong ones are of the Okabe-Ito set, told apart with any colour vision. Blue is depth and water: ground that was
seen is a bed of no hue, so that neither is taken for the other.
"""
from __future__ import annotations

__all__ = ["AMBER", "BED", "BLUE", "GREY", "INK", "PAPER", "PURPLE", "SEEN", "SHARES", "TWICE", "UNSEEN", "VERMILION",
           "WATER"]

INK, PAPER, GREY = "#22303a", "#ffffff", "#8a979f"
BLUE, AMBER, VERMILION, PURPLE = "#0072b2", "#f0c000", "#d55e00", "#8f3b76"

BED = "#8c8470"
"""Of the bed where it is laid over a map and lets it show."""

SEEN, TWICE = "#ddd8cc", "#c3bcab"
"""Ground seen, and ground seen by two passes and more."""

SHARES = ("#524a3a", BED, TWICE)
"""Of lakes of which much, less, and hardly half of the bed was seen: dark to pale in print, too."""

WATER = "#e4f0f5"
"""What a plan is drawn on: water, without depth."""

UNSEEN = "#fbfaf7"
"""What hatching of unseen ground is drawn on."""
