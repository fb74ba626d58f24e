"""Draws a Processing model step by step, left to right: inputs beside each tool, outputs and a note below it."""
from __future__ import annotations

import uuid
from dataclasses import dataclass, field

from qgis.core import (
    QgsApplication,
    QgsProcessingModelAlgorithm,
    QgsProcessingModelChildAlgorithm,
    QgsProcessingModelChildParameterSource,
    QgsProcessingModelComment,
    QgsProcessingModelGroupBox,
    QgsProcessingModelOutput,
    QgsProcessingModelParameter,
    QgsProcessingParameterDefinition,
)
from qgis.PyQt.QtCore import QPointF, QSizeF
from qgis.PyQt.QtGui import QColor

__all__ = ["Ask", "Draft", "Give", "fixed", "formula", "given", "of"]

FOLDED = QgsProcessingParameterDefinition.Flag.FlagAdvanced
OPTIONAL = QgsProcessingParameterDefinition.Flag.FlagOptional

BOX = QSizeF(220, 34)
TOOL = QSizeF(240, 44)
NOTE = QSizeF(240, 74)
COLUMN, BESIDE, ROW, TOP = 280.0, 250.0, 44.0, 70.0
ASKED, ABOVE = 58.0, 100.0  # rows of inputs and their height over the tool: QGIS 3.44 writes 'Out' below each input

given = QgsProcessingModelChildParameterSource.fromModelParameter
of = QgsProcessingModelChildParameterSource.fromChildOutput
fixed = QgsProcessingModelChildParameterSource.fromStaticValue
formula = QgsProcessingModelChildParameterSource.fromExpression


@dataclass(frozen=True)
class Ask:
    """An input of the model, made like the parameter of the tool it feeds.

    Attributes
    ----------
    parameter : str
        Parameter of the tool; its type, limits, default and help are taken over.
    name, label, text : str
        Name, label and help in the model, where they differ from the tool's.
    folded, needed : bool, optional
        Under 'Advanced', and not to be left blank; None keeps what the tool says.
    parent : str
        For fields: the input that holds them.
    feeds : bool
        False where the tool's parameter gets a formula instead.
    """

    parameter: str
    name: str = ""
    label: str = ""
    text: str = ""
    folded: bool = None
    needed: bool = None
    parent: str = ""
    feeds: bool = True


@dataclass(frozen=True)
class Give:
    """An output of the model: the tool's output ``output`` under ``name``, ``label`` in the form; may be ``spared``."""

    output: str
    name: str
    label: str = ""
    spared: bool = False


@dataclass
class _Step:
    child: object
    inputs: list = field(default_factory=list)
    outputs: dict = field(default_factory=dict)
    left: float = 0.0


class Draft:
    """A model in the making.

    Parameters
    ----------
    title, group, summary, text : str
        As the toolbox and the help show them.
    """

    def __init__(self, title, group, summary, text):
        self.model = QgsProcessingModelAlgorithm(title, group)
        self._help = {"SHORT_DESCRIPTION": summary, "ALG_DESC": text}
        self._steps = []
        self._stages = []
        self._inputs = {}

    def stage(self, title, colour):
        """Steps from here on stand in a box of this title and colour."""
        self._stages.append((title, colour, len(self._steps)))

    def step(self, child_id, tool, note, *, title="", asks=(), gives=(), **takes):
        """Add a tool.

        Parameters
        ----------
        child_id : str
            Stands before the colon in the names of its outputs.
        tool : str
            Id with provider.
        note : str
            Shown beside the tool in the designer.
        title : str
            What the tool is called in the designer and the log; default its own title.
        asks : sequence of Ask
        gives : sequence of Give
        **takes
            Sources of the tool's other parameters.
        """
        alg = QgsApplication.processingRegistry().createAlgorithmById(tool)
        child = QgsProcessingModelChildAlgorithm(tool)
        child.setChildId(child_id)
        child.setDescription(title or getattr(alg, "TITLE", "") or alg.displayName())
        child.setComment(_comment(note))
        step = _Step(child)
        for ask in asks:
            name = self._ask(ask, alg)
            step.inputs.append(name)
            if ask.feeds:
                takes[ask.parameter] = given(name)
        for name, source in {**_defaults(alg), **takes}.items():
            if alg.parameterDefinition(name) is None:
                raise KeyError(f"{tool} has no parameter {name}")
            child.addParameterSources(name, [source])
        for give in gives:
            step.outputs[give.name] = made = QgsProcessingModelOutput(give.name, give.label or give.name)
            made.setChildId(child_id)
            made.setChildOutputName(give.output)
            made.setMandatory(not give.spared)
            self._help[f"{child_id}:{give.name}"] = alg.parameterDefinition(give.output).help()
        self._steps.append(step)

    def _ask(self, ask, alg):
        made = alg.parameterDefinition(ask.parameter).clone()
        made.setName(ask.name or ask.parameter)
        made.setDescription(ask.label or made.description())
        made.setHelp(ask.text or made.help())
        for flag, wanted in ((FOLDED, ask.folded), (OPTIONAL, None if ask.needed is None else not ask.needed)):
            if wanted is not None:
                made.setFlags(made.flags() | flag if wanted else made.flags() & ~flag)
        if ask.parent:
            made.setParentLayerParameterName(ask.parent)
        self._inputs[made.name()] = made
        self._help[made.name()] = made.help()
        return made.name()

    def finish(self, version):
        """The model, laid out; raises ValueError where QGIS finds it invalid."""
        row = TOP + ABOVE + ASKED * (max(len(step.inputs) for step in self._steps) - 1)
        left = 40.0
        for step in self._steps:
            step.left = left
            beside = BESIDE if len(step.inputs) > 1 else 0
            left += COLUMN + beside
            self._place(step, left - COLUMN / 2, row, beside)
        self._frame(row, left)
        order = sorted(self._inputs, key=lambda name: bool(self._inputs[name].flags() & FOLDED))
        self.model.setParameterOrder(order)
        self.model.setHelpContent({**self._help, "ALG_VERSION": version})
        self.model.updateDestinationParameters()
        sound, problems = self.model.validate()
        if not sound:
            raise ValueError(f"{self.model.displayName()}: {problems}")
        return self.model

    def _place(self, step, x, y, beside):
        """Tool at x, y (the middle of its box); inputs ``beside`` to the left and upwards, outputs and note below."""
        step.child.setPosition(QPointF(x, y))
        step.child.setSize(TOOL)
        for above, name in enumerate(reversed(step.inputs)):
            component = QgsProcessingModelParameter(name)
            component.setPosition(QPointF(x - beside, y - ABOVE - ASKED * above))
            component.setSize(BOX)
            self.model.addModelParameter(self._inputs[name], component)
        for below, made in enumerate(step.outputs.values(), 1):
            made.setPosition(QPointF(x, y + 30 + ROW * below))
            made.setSize(BOX)
        step.child.setModelOutputs(step.outputs)
        step.child.comment().setPosition(QPointF(x, y + self._down_to_notes() + NOTE.height() / 2))
        self.model.addChildAlgorithm(step.child)

    def _down_to_notes(self):
        return 20 + ROW * (max(len(step.outputs) for step in self._steps) + 1)

    def _frame(self, row, right):
        """Boxes round the steps of each stage."""
        bottom = row + self._down_to_notes() + NOTE.height() + 20
        firsts = [first for _, _, first in self._stages]
        edges = [self._steps[first].left for first in firsts] + [right]
        for (title, colour, _), begin, end in zip(self._stages, edges, edges[1:]):
            box = QgsProcessingModelGroupBox(title)
            box.setPosition(QPointF((begin + end) / 2, bottom / 2 + 10))
            box.setSize(QSizeF(end - begin - 16, bottom - 20))
            box.setColor(QColor(colour))
            box.loadVariant({**box.toVariant(), "uuid": f"{{{uuid.uuid5(uuid.NAMESPACE_OID, title)}}}"})
            self.model.addGroupBox(box)


def _defaults(alg):
    """The designer holds a model for faulty until every parameter that may not be blank has a value."""
    return {definition.name(): fixed(definition.defaultValue()) for definition in alg.parameterDefinitions()
            if not definition.isDestination() and not definition.flags() & OPTIONAL
            and definition.defaultValue() is not None}


def _comment(text):
    made = QgsProcessingModelComment(text)
    made.setSize(NOTE)
    return made
