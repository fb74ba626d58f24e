"""Messages in the words of the form: a parameter's id never stands without the label that the dialog shows."""
from __future__ import annotations

import re

__all__ = ["with_labels"]


def with_labels(text, definitions):
    """A message with the label put before every parameter id that stands alone.

    ``SETTINGS is empty`` becomes ``'Changes of range' (SETTINGS) is empty``. Ids in brackets follow their label
    already, and what stands in quotation marks is the user's.

    Parameters
    ----------
    text : str
    definitions : sequence of QgsProcessingParameterDefinition
    """
    labels = {definition.name(): definition.description() for definition in definitions}
    ids = "|".join(sorted(labels, key=len, reverse=True))
    return re.sub(rf"(?<![\w('\"])({ids})(?![\w)'\"=])", lambda found: f"'{labels[found[1]]}' ({found[1]})", text)
