"""Messages and help speak of a parameter by the label that the dialog shows."""
import re

import pytest
from athwart.algorithms import all_tools
from athwart.algorithms.common.wording import with_labels


@pytest.fixture(scope="module")
def tools(qgis_processing):
    return {tool.name(): tool for tool in (each.create() for each in all_tools())}


@pytest.mark.parametrize("text, shown", [
    ("SETTINGS is empty.", "'Changes of range' (SETTINGS) is empty."),
    ("No depth: type one depth (DEPTH).", "No depth: type one depth (DEPTH)."),
    ("The field 'RANGE' holds no range.", "The field 'RANGE' holds no range."),
    ("With TIME_OFFSET=5 all would fit.", "With TIME_OFFSET=5 all would fit."),
    ("RANGE and RANGE_UNIT", "'Range' (RANGE) and 'Unit of ranges' (RANGE_UNIT)"),
    ("LONG_RANGE, RANGES", "LONG_RANGE, RANGES"),
])
def test_an_id_that_stands_alone_gets_its_label(tools, text, shown):
    assert with_labels(text, tools["preparetrack"].parameterDefinitions()) == shown


def test_no_help_text_names_a_parameter_by_its_id(tools):
    """The dialog shows labels only; who writes scripts finds the ids on the tool's page."""
    found = []
    for tool in tools.values():
        ids = {definition.name() for definition in tool.parameterDefinitions()}
        for text in (tool.HELP, tool.SUMMARY, *tool.OUTPUT_HELP.values(),
                     *(words for d in tool.parameterDefinitions() for words in (d.description(), d.help()))):
            found += [(tool.name(), word) for word in re.findall(r"[A-Z][A-Z_]{2,}", text)
                      if word in ids or "_" in word]
    assert not found
