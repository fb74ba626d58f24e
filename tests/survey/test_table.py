"""Tables: whatever is taken from and put together, no value, row or column is lost or changed. Truth: plain lists."""
from __future__ import annotations

import importlib
import pathlib
import pickle
from dataclasses import dataclass, fields, replace

import numpy as np
import pytest
from athwart.survey.fixes.arrange import Fixes
from athwart.survey.io.logs import read_logs
from athwart.survey.model.errors import InputError
from athwart.survey.model.schemas import FIXES, TRACK, names
from athwart.survey.model.table import Bools, Floats, Ints, Objects, Table, Texts
from athwart.survey.model.track import Track
from athwart.survey.tracks.prepare import prepare
from athwart.survey.tracks.settings import TrackSettings
from hypothesis import given, settings
from hypothesis import strategies as st

SURVEY = pathlib.Path(importlib.import_module("athwart.survey").__file__).parent
CALM = settings(max_examples=40, deadline=None, database=None)


@dataclass(eq=False, repr=False)
class Inner(Table):
    depth: Floats


@dataclass(eq=False, repr=False)
class Sampled(Table):
    crs: str
    x: Floats
    number: Ints
    good: Bools
    name: Texts
    shape: Objects
    place: Floats
    maybe: Floats | None = None
    note: Texts | None = None
    inner: Inner | None = None


def rows_of(table):
    """The table as a list of plain rows; nothing of the code under test is used to get them."""
    columns = [table.__dict__[name] for name in ("x", "number", "good", "name", "shape", "maybe", "note")]
    place, inner = table.place.tolist(), None if table.inner is None else table.inner.depth.tolist()
    return [(*(None if c is None else c[i] for c in columns), tuple(place[i]), None if inner is None else inner[i])
            for i in range(len(place))]


@st.composite
def tables(draw, crs="EPSG:32632"):
    size = draw(st.integers(0, 9))
    number, known = st.integers(-99, 99), st.booleans()
    column = {n: draw(st.lists(number, min_size=size, max_size=size)) for n in "abcde"}
    return Sampled(
        crs, np.array(column["a"], float), np.array(column["b"], int), np.array(column["c"], int) > 0,
        np.array([f"n{v}" for v in column["d"]], object), [("shape", v) for v in column["e"]],
        np.column_stack([column["a"], column["b"]]).astype(float).reshape(size, 2),
        np.array(column["c"], float) if draw(known) else None, np.array([str(v) for v in column["b"]], object)
        if draw(known) else None, Inner(np.array(column["e"], float)))


@CALM
@given(st.data(), tables())
def test_taking_is_what_a_list_of_rows_gives(data, table):
    rows, size = rows_of(table), len(table)
    index = data.draw(st.lists(st.integers(-size, size - 1), max_size=12)) if size else []
    flags = data.draw(st.lists(st.booleans(), min_size=size, max_size=size))
    piece = slice(*data.draw(st.tuples(st.integers(0, 9), st.integers(0, 9), st.sampled_from([1, 2, -1]))))
    assert rows_of(table.take(index)) == rows_of(table.take(np.array(index, int))) == [rows[i] for i in index]
    assert rows_of(table.take(np.array(flags, bool))) == [row for row, kept in zip(rows, flags) if kept]
    assert rows_of(table.take(piece)) == rows[piece]
    assert table.take(index).crs == table.crs and list(table.take(index)) == list(table)


@CALM
@given(st.lists(tables(), min_size=1, max_size=4))
def test_put_together_is_the_lists_after_one_another(parts):
    whole = Sampled.concatenate(parts)
    known = [any(part.__dict__[name] is not None for part in parts) for name in ("maybe", "note")]
    assert len(whole) == sum(map(len, parts)) and [whole.maybe is not None, whole.note is not None] == known
    wanted = [row for part in parts for row in rows_of(part)]
    for row, want in zip(rows_of(whole), wanted):
        blank = [np.nan if known[0] and want[5] is None else want[5], "" if known[1] and want[6] is None else want[6]]
        assert (*row[:5], *row[7:]) == (*want[:5], *want[7:]) and row[6] == blank[1]
        assert row[5] == blank[0] or (np.isnan(row[5]) and np.isnan(blank[0]))


@CALM
@given(tables())
def test_to_a_dict_and_back_and_through_a_file_is_the_same_table(table):
    again = Sampled.from_dict({**table.to_dict(), "not_mine": 1}, crs=table.crs)
    assert again == table and pickle.loads(pickle.dumps(table)) == table and replace(table) == table
    assert (replace(table, crs="EPSG:4326") == table) is False
    if len(table):
        assert (replace(table, x=table.x + 1) == table) is False


def test_lists_single_values_and_other_numbers_become_columns():
    made = Sampled("c", [1, 2], np.array([3.0, 4.0]), [0, True], "both", ["p", None], [[1, 2], [3, 4]], maybe=5)
    assert made.x.dtype == float and made.number.dtype == np.int64 and made.good.tolist() == [False, True]
    assert made.name.tolist() == ["both", "both"] and made.maybe.tolist() == [5.0, 5.0] and made.place.shape == (2, 2)
    assert list(made) == ["x", "number", "good", "name", "shape", "place", "maybe"]
    assert repr(made) == ("<Sampled: 2 rows; columns x, number, good, name, shape, place, maybe; unknown note, inner; "
                          "crs 'c'>")


@pytest.mark.parametrize("column, values, words", [
    ("x", [1.0, 2.0, 3.0], "number has 2 rows, x has 3"), ("x", ["deep", 1], "x holds what is no number"),
    ("number", [0.5, 1.0], "number holds what is no whole number"), ("number", [np.nan, 1.0], "no whole number"),
    ("good", [0, 2], "good holds what is no yes or no"), ("name", ["a", 1], "name holds what is no text"),
    ("inner", [1, 2], "inner is no Inner"), ("x", None, "the column x is missing")])
def test_a_column_that_does_not_fit_is_refused_by_name(column, values, words):
    fine = {"crs": "c", "x": [1.0, 2.0], "number": [1, 2], "good": [True, False], "name": ["a", "b"],
            "shape": ["p", "q"], "place": np.zeros((2, 2))}
    with pytest.raises(InputError, match=words) as refused:
        Sampled(**{**fine, column: values})
    assert refused.value.field in (column, "number")


def test_what_cannot_be_put_together_is_refused_by_name():
    one = Sampled("c", [1.0], [1], [True], ["a"], ["p"], np.zeros((1, 2)))
    with pytest.raises(InputError, match="different crs") as refused:
        Sampled.concatenate([one, replace(one, crs="d")])
    assert refused.value.field == "crs"
    with pytest.raises(InputError, match="nothing was given"):
        Sampled.concatenate([])
    with pytest.raises(InputError, match="inner is unknown for some"):
        Sampled.concatenate([one, replace(one, inner=Inner([1.0]))])
    fixes = Fixes(x=[1.0], y=[2.0])
    with pytest.raises(InputError, match="stretch is unknown for some"):
        Fixes.concatenate([fixes, replace(fixes, stretch=[1])])
    with pytest.raises(InputError, match="columns x, number are missing"):
        Sampled.from_dict({"good": 1, "name": "", "shape": [], "place": 1.0}, crs="c")
    with pytest.raises(IndexError, match="3 flags for 1 rows"):
        one.take(np.ones(3, bool))


def all_tables():
    for path in SURVEY.rglob("*.py"):
        if "ext" not in path.relative_to(SURVEY).parts and "Table)" in path.read_text(encoding="utf-8"):
            importlib.import_module(".".join(("athwart.survey", *path.relative_to(SURVEY).with_suffix("").parts)))
    return sorted((c for c in Table.__subclasses__() if c.__module__.startswith("athwart")), key=lambda c: c.__name__)


def test_every_table_of_the_core_is_one():
    """The decorator would put its own comparison, which fails on arrays, and its own repr in the base's place."""
    found = all_tables()
    assert {Track, Fixes} <= set(found) and len(found) >= 20
    for cls in found:
        assert cls.__eq__ is Table.__eq__ and cls.__repr__ is Table.__repr__ and cls.column_names(), cls
        assert {"take", "concatenate", "__len__", "to_dict"}.isdisjoint(vars(cls)), cls
        assert not [f.name for f in fields(cls) if "ndarray" in str(f.type)], cls


def test_track_and_fixes_have_the_columns_of_their_layers():
    assert set(Track.column_names()) - {"x", "y"} == set(names(TRACK)) - {"time"}
    assert set(names(FIXES)) - {"time", "segment"} <= set(Fixes.column_names())


def test_columns_of_a_log_are_fixes_as_they_are(fixtures):
    log = read_logs([fixtures / "nmea" / "survey_dpt_rmc_mtw.nmea"]).fixes
    fixes = Fixes(**log)
    assert len(fixes) == len(log["lon"]) and (fixes.x == log["lon"]).all() and (fixes.y == log["lat"]).all()
    assert (fixes.stretch == log["segment"]).all() and fixes.log_line.dtype == np.int64
    by_hand = Fixes("EPSG:4326", log["lon"], log["lat"], t_s=log["t_s"], stretch=log["segment"],
                    heading_deg=log["heading_deg"], depth_m=log["depth_m"], depth_kind=log["depth_kind"],
                    depth_offset_m=log["depth_offset_m"], hdop=log["hdop"])
    made = [prepare(given, TrackSettings(outing="a", range_m=30.0)) for given in (fixes, by_hand)]
    assert len(made[0].track) > 500 and made[0].track.to_dict().keys() == made[1].track.to_dict().keys()
    for name, values in made[0].track.to_dict().items():
        np.testing.assert_array_equal(values, made[1].track.to_dict()[name])
    with pytest.raises(InputError, match="leave crs out"):
        Fixes(crs="EPSG:32632", lon=[1.0], lat=[2.0])
    with pytest.raises(InputError, match="the column y is missing"):
        Fixes(x=[1.0])
