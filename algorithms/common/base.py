"""The base of every tool: identity, help, refusals, and the translation of the core's errors."""
from __future__ import annotations

import difflib
import pathlib
from typing import TYPE_CHECKING

from qgis.core import QgsProcessingAlgorithm, QgsProcessingException, QgsProcessingUtils
from qgis.PyQt.QtCore import QCoreApplication, QUrl
from qgis.PyQt.QtGui import QIcon

from ...survey import CAUTION
from ...survey.model.errors import Cancelled, SurveyError
from .kinds import refuse_other_kinds
from .outputs import unusable_output
from .packages import missing_packages_text
from .reading import listener, reader
from .stage import staged
from .values import refuse_unknown_words
from .wording import in_form_words

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable
    from typing import Any

    from qgis.core import QgsProcessingContext, QgsProcessingFeedback, QgsProcessingParameterDefinition

__all__ = ["CAUTION", "AthwartAlgorithm", "stepper", "tr"]

ROOT = pathlib.Path(__file__).resolve().parents[2]
ICONS = ROOT / "plugin" / "icons"

GROUPS = {"planning": "Planning", "track": "Track", "coverage": "Coverage", "imagery": "Record image",
          "targets": "Targets", "evidence": "Report"}
"""Title of each group of the toolbox by its folder, in the order of the job."""


def tr(text: str) -> str:
    """Translated text of the plugin."""
    return QCoreApplication.translate("Athwart", text)


def stepper(feedback: QgsProcessingFeedback, start: float = 0.0, end: float = 100.0) -> Callable[[float], None]:
    """A ``step(fraction)`` for the core: moves the progress bar from start to end, raises Cancelled on cancel."""
    def step(fraction: float) -> None:
        if feedback.isCanceled():
            raise Cancelled
        feedback.setProgress(max(feedback.progress(), start + (end - start) * min(1.0, max(0.0, fraction))))
    return step


class AthwartAlgorithm(QgsProcessingAlgorithm):
    """A tool. Subclasses set the class attributes and write ``initAlgorithm``, ``refusal`` and ``run_tool``.

    Attributes
    ----------
    ID, TITLE : str
        Public id (lower case, never changed) and title, which starts with a verb.
    GROUP : str
        Key of ``GROUPS``, the folder the file stands in.
    STEP : int
        Place among the tools of its group, in the order of the job.
    GUIDE : tuple of str
        Pages of the guide that go with it (``docs/<page>.md``).
    JOB : int
        Its number among the steps of an ordinary day, told before its title in the toolbox; 0 for the others.
    TAKES : dict
        What layers a parameter is for, by its name: a tuple of schemas and of ``kinds.OWN``, the best first. The form
        offers such a layer; one of ours that is none of them is refused by name.
    OFFERED : tuple of str
        Optional layers that the form offers all the same where the project has one.
    FILLS : tuple
        (parameter, parameter of a layer, schema, field): the field is offered with such a layer, where it has values;
        'field=word' offers a word where that field has values.
    SECTIONS : tuple
        (title, parameters) of the form's sections, in order.
    NEEDED : tuple of str
        Parameters that are optional each, but one of which is needed; the form does not call them optional.
    LAYERS : dict
        The schema of each layer it makes (``survey.model.schemas``), by the name of the output.
    RASTERS : dict
        ``declared.Raster`` of each raster it makes, by the name of the output.
    ICON : str
        Its icon, ``plugin/icons/<icon>.svg``; that of its id where nothing is said.
    SUMMARY : str
        One sentence, the tooltip.
    HELP : str
        What it does, in plain words; paragraphs parted by blank lines.
    OUTPUT_HELP : dict
        Help of every output by name (parameters carry their own).
    TAGS : str
        Comma-separated words people search for.
    CAUTIOUS : bool
        True where a person acts on the output: the caution ends the help and the log.
    FUNCTION : str
        Name of the core's function that the tool stands for: messages name the tool where they name the function.
    FIELDS : dict
        Parameter of each setting that the core's messages may name; those that are missing have the parameter of their
        own name in upper case.
    """

    ID = TITLE = GROUP = SUMMARY = HELP = TAGS = ICON = ""
    STEP = JOB = 0
    GUIDE: tuple = ()
    TAKES: dict = {}
    OFFERED: tuple = ()
    FILLS: tuple = ()
    SECTIONS: tuple = ()
    NEEDED: tuple = ()
    LAYERS: dict = {}
    RASTERS: dict = {}
    OUTPUT_HELP: dict = {}
    CAUTIOUS = False
    FUNCTION = ""
    FIELDS: dict = {}

    def name(self) -> str:
        return self.ID

    def displayName(self) -> str:
        return f"{self.JOB}. {tr(self.TITLE)}" if self.JOB else tr(self.TITLE)

    def group(self) -> str:
        return f"{chr(ord('A') + list(GROUPS).index(self.GROUP))}. {tr(GROUPS[self.GROUP])}"

    def groupId(self) -> str:
        return self.GROUP

    def tags(self) -> list[str]:
        return [word.strip() for word in tr(self.TAGS).split(",") if word.strip()]

    def shortDescription(self) -> str:
        return tr(self.SUMMARY)

    def shortHelpString(self) -> str:
        text = {"ALG_DESC": "<br><br>".join(self._paragraphs())}
        for definition in self.parameterDefinitions():
            text[definition.name()] = definition.help()
        text.update({name: tr(words) for name, words in self.OUTPUT_HELP.items()})
        return QgsProcessingUtils.formatHelpMapAsHtml(text, self)

    def _paragraphs(self) -> list[str]:
        parts = [" ".join(part.split()) for part in tr(self.HELP).strip().split("\n\n")]
        return [*parts, f"<i>{tr(CAUTION)}</i>"] if self.CAUTIOUS else parts

    def helpUrl(self) -> str:
        page = ROOT / "docs" / "tools" / f"{self.ID}.html"
        return QUrl.fromLocalFile(str(page)).toString() if page.exists() else ""

    def svgIconPath(self) -> str:
        own = ICONS / f"{self.ICON or self.ID}.svg"
        return str(own if own.exists() else ICONS / "athwart.svg")

    def icon(self) -> QIcon:
        return QIcon(self.svgIconPath())

    def createInstance(self) -> AthwartAlgorithm:
        return type(self)()

    def createCustomParametersWidget(self, parent: Any = None) -> Any:
        """The dialog on the desktop; None lets QGIS make its plain one."""
        try:
            from .dialog import ToolDialog
        except ImportError:  # another QGIS may keep its dialog elsewhere
            return None
        return ToolDialog(self, parent=parent)

    def canExecute(self) -> tuple[bool, str]:
        text = missing_packages_text(self.packages({}))
        return not text, text

    def packages(self, parameters: dict[str, Any]) -> tuple[str, ...]:
        """Python packages that a run with these values needs; with none, what no run can do without."""
        return ("numpy", "pyproj", "shapely")

    def add(self, *definitions: QgsProcessingParameterDefinition) -> None:
        """Add parameters in the order of the form's sections; those of no section follow as they come."""
        place = {name: i for i, name in enumerate(name for _, names in self.SECTIONS for name in names)}
        for definition in sorted(definitions, key=lambda one: place.get(one.name(), len(place))):
            self.addParameter(definition)

    def refusal(self, parameters: dict[str, Any], context: QgsProcessingContext) -> str:
        """Why these values cannot be run, and what to do; '' when they can. The one place for every refusal."""
        return ""

    def checkParameterValues(self, parameters: dict[str, Any], context: QgsProcessingContext) -> tuple[bool, str]:
        ok, message = self._check(parameters, context)
        return ok, reader(self, parameters)(message)

    def _check(self, parameters: dict[str, Any], context: QgsProcessingContext) -> tuple[bool, str]:
        """(whether a run may begin, why not)."""
        try:
            refuse_unknown_words(self, parameters)
        except SurveyError as error:
            return False, self.worded(error)
        ok, message = super().checkParameterValues(parameters, context)
        if not ok:
            return ok, message
        if missing_packages_text(self.packages(parameters)):  # processAlgorithm says so; a refusal may need them
            return True, ""
        try:
            refuse_other_kinds(self, parameters, context)
            message = self.worded(unusable_output(self, parameters, context) or self.refusal(parameters, context))
        except SurveyError as error:
            message = self.worded(error)
        return not message, message

    def processAlgorithm(self, parameters: dict[str, Any], context: QgsProcessingContext,
                         feedback: QgsProcessingFeedback) -> dict[str, Any]:
        results, failure = self._attempt(parameters, context, feedback)
        if failure:
            del parameters, context, feedback  # QGIS never lets go of a traceback, nor that of what its frames hold
            raise QgsProcessingException(failure)
        return results

    def _attempt(self, parameters: dict[str, Any], context: QgsProcessingContext,
                 feedback: QgsProcessingFeedback) -> tuple[dict[str, Any] | None, str]:
        """(results, '') of a run, or (None, why it failed)."""
        missing = missing_packages_text(self.packages(parameters))
        if missing:
            return None, missing
        ok, message = self.checkParameterValues(parameters, context)  # the children of a model are never asked
        if not ok:
            return None, message
        self._name_strangers(parameters, feedback)
        try:
            with staged(feedback) as stage:
                results = self.run_tool(parameters, context, listener(feedback, reader(self, parameters)))
        except SurveyError as error:
            return None, reader(self, parameters)(self.worded(error))
        except QgsProcessingException as error:
            return None, stage.in_place(str(error))
        except Cancelled:
            return None, tr("Stopped at your request; no output was written.")
        feedback.setProgress(100)
        if self.CAUTIOUS:
            feedback.pushInfo(tr(CAUTION))
        return results, ""

    def worded(self, said: str | Exception) -> str:
        """An error, warning or note of the core in the words of this form."""
        if isinstance(said, SurveyError):
            return in_form_words(self, said.message, getattr(said, "field", None))
        return in_form_words(self, str(said) if isinstance(said, Exception) else said)

    def tell(self, feedback: QgsProcessingFeedback, notes: Iterable[str] = (), warnings: Iterable[str] = ()) -> None:
        """Put notes and warnings of the core into the log, in the words of this form."""
        for text in notes:
            feedback.pushInfo(self.worded(text))
        for text in warnings:
            feedback.pushWarning(self.worded(text))

    def run_tool(self, parameters: dict[str, Any], context: QgsProcessingContext,
                 feedback: QgsProcessingFeedback) -> dict[str, Any]:
        """Read, compute, write; returns every declared output."""
        raise NotImplementedError

    def _name_strangers(self, parameters: dict[str, Any], feedback: QgsProcessingFeedback) -> None:
        """QGIS ignores a misspelt parameter without a word; the command line deserves one."""
        known = [definition.name() for definition in self.parameterDefinitions()]
        for name in parameters:
            if name not in known and name.isupper():
                near = difflib.get_close_matches(name, known, 1)
                hint = f" Did you mean {near[0]}?" if near else f" This tool knows {', '.join(known)}."
                feedback.pushWarning(f"There is no parameter {name}; it was ignored.{hint}")
