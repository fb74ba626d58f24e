"""Messages in the words of the form: every setting by its label and id, every function by the title of its tool."""
from __future__ import annotations

import re
from pathlib import PurePosixPath, PureWindowsPath

from ...survey.model.messages import Function, Message

__all__ = ["in_form_words", "known_word", "label", "with_labels"]


def label(tool, name):
    """A parameter as messages name it: ``'Changes of range' (SETTINGS)``."""
    return f"'{tool.parameterDefinition(name).description()}' ({name})"


def in_form_words(tool, text, field=None):
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


def known_word(tool, setting):
    """What the form calls a setting of the core: a label and id, or several, or a word; '' where it has none."""
    names = tool.FIELDS.get(setting, setting.upper())
    boxes = [name for name in ((names,) if isinstance(names, str) else names) if tool.parameterDefinition(name)]
    if boxes:
        return " and ".join(label(tool, name) for name in boxes)
    return tool.FIELDS.get(setting, "")


def _word(tool, name):
    from .. import tool_of
    if isinstance(name, Function):
        other = tool_of(name.name)
        return f"'{other.displayName()}'" if other else str(name)
    asked = tool_of(name.function) if name.function else tool
    return (known_word(asked, name.name) if asked else "") or str(name)


_QUOTED = r"(?<!\w)'.*?'(?!\w)|(?<!\w)\".*?\"(?!\w)"
"""What a message quotes; an apostrophe inside a name, with letters on both sides, ends nothing."""

_PATHS = r"\S*[/\\]\S*"


def with_labels(text, definitions, parameters=None):
    """A message with the label put before every parameter id that stands alone.

    ``SETTINGS is empty`` becomes ``'Changes of range' (SETTINGS) is empty``. Ids in brackets follow their label
    already. What stands in quotation marks, paths, and what the user gave for a parameter are quoted as they are.

    Parameters
    ----------
    text : str
    definitions : sequence of QgsProcessingParameterDefinition
    parameters : dict, optional
        What the user gave: layers, whose names and sources are kept, and texts.
    """
    labels = {definition.name(): definition.description() for definition in definitions}
    ids = "|".join(sorted(labels, key=len, reverse=True))
    theirs = sorted(set(_given_texts(parameters or {})), key=len, reverse=True)
    kept = "|".join([*map(re.escape, theirs), _QUOTED, _PATHS])
    found = re.compile(rf"(?P<kept>{kept})|(?<![\w('\"])(?P<id>{ids})(?![\w)'\"=])")
    return found.sub(lambda one: one["kept"] or f"'{labels[one['id']]}' ({one['id']})", text)


def _given_texts(parameters):
    """Names and paths among the values of parameters, and the folders of the paths.

    A single word is not among them: it may be the very id, which an option or a field is called like.
    """
    for value in parameters.values():
        for one in value if isinstance(value, (list, tuple)) else [value]:
            for text in (one, *(_said(getattr(one, part, None)) for part in ("name", "source", "sink"))):
                if isinstance(text, str):
                    yield from _with_folders(text)


def _said(part):
    """The text of a layer's name or source, or of what the desktop wraps round an input or output."""
    if callable(part):
        return part()
    return part.staticValue() if hasattr(part, "staticValue") else part


def _with_folders(text):
    texts = [text, *re.findall(r"dbname='([^']+)'", text)]
    for one in texts[-1:]:
        texts += map(str, (PureWindowsPath if "\\" in one else PurePosixPath)(one).parents)
    return [one for one in texts if " " in one.strip()]
