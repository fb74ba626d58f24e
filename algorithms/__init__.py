"""The Processing tools: parameters -> arrays -> survey -> arrays -> layers. A file a tool, a folder a toolbox group."""
from __future__ import annotations

from importlib import import_module

__all__ = ["TOOLS", "all_tools", "tool_of"]

TOOLS = (
    ("track.readlogs", "ReadLogs"),
    ("track.preparetrack", "PrepareTrack"),
    ("track.preparebathymetry", "PrepareBathymetry"),
    ("coverage.swathfootprint", "SwathFootprint"),
    ("coverage.ensonify", "Ensonify"),
    ("coverage.coveragegaps", "CoverageGaps"),
    ("coverage.unscannedshoreline", "UnscannedShoreline"),
    ("coverage.coveragereport", "CoverageReport"),
    ("imagery.picksfromimage", "PicksFromImage"),
    ("targets.locatetargets", "LocateTargets"),
    ("targets.adjusttargets", "AdjustTargets"),
    ("targets.castplan", "CastPlan"),
    ("targets.exportgpx", "ExportGpx"),
)
"""(module below this package, class) of every tool, in the order of the job."""


def all_tools():
    """A fresh instance of every tool: QGIS takes ownership, so none may be kept."""
    return [getattr(import_module(f".{module}", __package__), name)() for module, name in TOOLS]


def tool_of(function):
    """A tool, with its parameters, by the function of the core that it stands for; None where none does."""
    return next((tool.create() for tool in all_tools() if tool.FUNCTION == function), None)
