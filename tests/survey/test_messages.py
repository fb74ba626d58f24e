"""Messages of the core name settings and functions so that a form can put its own words in their place."""
import pickle

import pytest
from athwart.survey.model.errors import InputError
from athwart.survey.model.messages import Function, Message


def shouted(name):
    return f"<{name.name.upper()}{'!' if isinstance(name, Function) else ''}>"


def test_a_message_reads_as_a_programs_words_and_as_a_forms():
    text = Message("{range_m} is {given:.1f} m; give {prepare(range_rows)} to {prepare()}.", given=-3)
    assert text == "range_m is -3.0 m; give range_rows to prepare()."
    assert text.rendered(shouted) == "<RANGE_M> is -3.0 m; give <RANGE_ROWS> to <PREPARE!>."


def test_what_the_user_wrote_is_quoted_as_it_is():
    """Braces, names of settings and of functions among values are nobody's placeholders."""
    name = "{range_m} of prepare() {0} {"
    text = Message("'{name}' lacks {range_m}.", name=name)
    assert text == "'{range_m} of prepare() {0} {' lacks range_m."
    assert text.rendered(shouted) == "'{range_m} of prepare() {0} {' lacks <RANGE_M>."


def test_messages_put_together_keep_their_names():
    inner = Message("give {range_m}")
    for text in ("No range: " + inner + ".", Message("No range: {remedy}.", remedy=inner)):
        assert text == "No range: give range_m."
        assert text.rendered(shouted) == "No range: give <RANGE_M>."
        assert pickle.loads(pickle.dumps(text)).rendered(shouted) == text.rendered(shouted)


@pytest.mark.parametrize("text, field, held", [
    (Message("{range_m} or {range_rows}"), None, "range_m"),
    (Message("See {prepare(range_m)}, then {depth_m}"), None, "depth_m"),
    (Message("{range_m}"), ("range_m", "range_rows"), ("range_m", "range_rows")),
    ("Nothing is named.", None, None),
    ("Nothing is named.", "depth_m", "depth_m"),
])
def test_an_error_knows_the_setting_at_fault(text, field, held):
    error = InputError(text, field=field)
    assert error.field == held and error.message is text and str(error) == text
