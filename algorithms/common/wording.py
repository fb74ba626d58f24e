"""Messages in the words of the form: a parameter's id never stands without the label that the dialog shows."""
from __future__ import annotations

import re
from pathlib import PurePosixPath, PureWindowsPath

__all__ = ["with_labels"]

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
