"""The Processing tools: parameters -> arrays -> survey -> arrays -> layers. A file a tool, a folder a toolbox group.

A tool is a class in the folder of its group that derives ``common.base.AthwartAlgorithm`` and has an ``ID``. There it
is found: no list names it. What the toolbox, the guide, the models and the tests know of it, they read from its class.
"""
from __future__ import annotations

import pathlib
import pkgutil
from importlib import import_module

__all__ = ["all_tools", "maker_of", "tool_classes", "tool_of"]

HERE = pathlib.Path(__file__).resolve().parent


def tool_classes():
    """The class of every tool, in the order of the job: group by group, in each by ``STEP``."""
    from .common.base import GROUPS, AthwartAlgorithm

    found = []
    for group in GROUPS:
        for part in pkgutil.iter_modules([str(HERE / group)]):
            module = import_module(f".{group}.{part.name}", __package__)
            own = [each for each in vars(module).values()
                   if isinstance(each, type) and each.__module__ == module.__name__]
            found += [each for each in own if issubclass(each, AthwartAlgorithm) and each.ID]
    order = list(GROUPS)
    return sorted(found, key=lambda tool: (order.index(tool.GROUP), tool.STEP, tool.ID))


def all_tools():
    """A fresh instance of every tool: QGIS takes ownership, so none may be kept."""
    return [tool() for tool in tool_classes()]


def tool_of(function):
    """A tool, with its parameters, by the function of the core that it stands for; None where none does."""
    return next((tool().create() for tool in tool_classes() if function == tool.FUNCTION), None)


def maker_of(layer):
    """The class of the first tool, in the order of the job, that makes a layer (``survey.model.schemas``), or None.

    One whose main output it is comes before one that makes it beside another.
    """
    makers = [tool for tool in tool_classes() if layer in tool.LAYERS.values()]
    return next((tool for tool in makers if tool.LAYERS.get("OUTPUT") is layer), makers[0] if makers else None)
