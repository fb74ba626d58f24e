"""Messages in the words of the form: every setting by its label and id, every function by the title of its tool."""
from __future__ import annotations

from typing import TYPE_CHECKING

from ...survey.model.messages import Function, Message

if TYPE_CHECKING:
    from typing import Any

__all__ = ["in_form_words", "known_word", "label"]


def label(tool: Any, name: str) -> str:
    """A parameter as messages name it: ``'Changes of range' (SETTINGS)``."""
    return f"'{tool.parameterDefinition(name).description()}' ({name})"


def in_form_words(tool: Any, text: str, field: str | tuple[str, ...] | None = None) -> str:
    """A text of the core, or of a tool itself, in the words of this tool's form.

    Parameters
    ----------
    tool : AthwartAlgorithm
        Its ``FIELDS`` say which parameter a setting of the core is, or several of them, or another word such as a
        column's name; a setting that is not there has the parameter of its own name in upper case, if there is one,
        else it keeps its name.
    text : str or Message
        What is no Message is left as it is.
    field : str or tuple of str, optional
        The setting at fault; its label is put before a text that names no setting.
    """
    if isinstance(text, Message):
        return text.rendered(lambda name: _word(tool, name))
    words = [known_word(tool, name) for name in ((field,) if isinstance(field, str) else field or ())]
    words = [word for word in words if word and word not in text]
    return f"{', '.join(words)}: {text}" if words else str(text)


def known_word(tool: Any, setting: str) -> str:
    """What the form calls a setting of the core: a label and id, or several, or a word; '' where it has none."""
    names = tool.FIELDS.get(setting, setting.upper())
    boxes = [name for name in ((names,) if isinstance(names, str) else names) if tool.parameterDefinition(name)]
    if boxes:
        return " and ".join(label(tool, name) for name in boxes)
    return tool.FIELDS.get(setting, "")


def _word(tool: Any, name: Any) -> str:
    from .. import tool_of
    if isinstance(name, Function):
        other = tool_of(name.name)
        return f"'{other.TITLE}'" if other else str(name)
    asked = tool_of(name.function) if name.function else tool
    return (known_word(asked, name.name) if asked else "") or str(name)
