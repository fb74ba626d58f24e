"""Pictures of a record: pixels to side, range, ping or time, on pictures whose every row and column is known."""
import numpy as np
import pytest
import tracks
from athwart.survey.model.errors import InputError
from athwart.survey.record.image_picks import Marks, bottom_warning, read_marks, row_words
from athwart.survey.record.picture import Record, read_dropped
from athwart.survey.record.reading import read_picture
from pyproj import CRS


def marks(rows):
    """Marks from (column, row, end column or None, kind)."""
    return Marks(np.array([r[0] for r in rows], float), np.array([r[1] for r in rows], float),
                 np.array([np.nan if r[2] is None else r[2] for r in rows], float),
                 np.array([r[3] for r in rows], object), np.full(len(rows), "", object))


def straight_track(n=400, range_m=30.0, ratio=1.0, passes=((0, 400),)):
    """A boat going north at 1.5 m/s, a sample a second, ten pings a second from 1000 on."""
    i, pass_id = np.arange(n), np.zeros(n, int)
    for number, (first, last) in enumerate(passes, 1):
        pass_id[first:last] = number
    return tracks.made(CRS.from_epsg(32615), np.full(n, 500_000.0), 5_000_000 + 1.5 * i, np.zeros(n), outing="day",
                       pass_id=pass_id, sample_id=i + 10 * pass_id, record_ping=1000 + 10.0 * i, range_m=range_m,
                       range_ratio=ratio, heading_source="course")


def test_both_sides_about_the_middle():
    record = Record(1000, 200, edge_range_m=40.0, first_ping=0)
    side, share = record.across([0, 250, 500, 750, 1000, 1001, -1])
    assert side[:5].tolist() == [-1, -1, 0, 1, 1]
    assert share[:5].tolist() == [1, 0.5, 0, 0.5, 1] and np.isnan(share[5:]).all()


@pytest.mark.parametrize("layout, columns, shares", [("port", [600, 300, 0], [0, 0.5, 1]),
                                                     ("starboard", [0, 300, 600], [0, 0.5, 1])])
def test_one_side_only(layout, columns, shares):
    record = Record(600, 200, layout, edge_range_m=40.0, first_ping=0)
    side, share = record.across(columns)
    assert share.tolist() == shares
    assert set(side.tolist()) == {0, {"port": -1, "starboard": 1}[layout]}


def test_a_cropped_screenshot_counts_from_its_own_centre_column():
    """Zero range at column 300 of 1000: the far edge is starboard, 700 columns off; the scale is the same to port."""
    side, share = Record(1000, 200, centre_column=300, edge_range_m=35.0, first_ping=0).across([0, 300, 1000])
    assert (35 * share).tolist() == [15, 0, 35] and side.tolist() == [-1, 0, 1]
    side, share = Record(1000, 200, "port", centre_column=900, first_ping=0).across([0, 450, 950])
    assert share[:2].tolist() == [1, 0.5] and np.isnan(share[2])


@pytest.mark.parametrize("newest, rows", [("bottom", [0.5, 1.5, 99.5]), ("top", [99.5, 98.5, 0.5])])
def test_pings_of_rows(newest, rows):
    assert Record(10, 100, newest=newest, first_ping=7).count(rows).tolist() == [7, 8, 106]
    # a row of three pings is told by its middle one
    assert Record(10, 100, newest=newest, first_ping=7, pings_per_row=3).count(rows).tolist() == [8, 11, 305]


def test_times_of_rows():
    record = Record(10, 101, newest="bottom", first_s=1000.0, last_s=1050.0)
    assert record.count([0.5, 50.5, 100.5]).tolist() == [1000, 1025, 1050]
    assert np.isnan(record.count([-0.1, 101.1])).all()


def test_dropped_rows_push_everything_newer_on():
    """Five rows are missing between pixel rows 9 and 10."""
    for newest in ("top", "bottom"):
        plain = Record(10, 20, newest=newest, first_ping=0)
        holed = Record(10, 20, newest=newest, first_ping=0, dropped=((10, 5),))
        moved = holed.count([8.5, 9.5, 10.5, 11.5]) - plain.count([8.5, 9.5, 10.5, 11.5])
        assert moved.tolist() == ([5, 5, 0, 0] if newest == "top" else [0, 0, 5, 5])
    timed = Record(10, 20, newest="bottom", first_s=0.0, last_s=24.0, dropped=((10, 5),))
    assert timed.count([0.5, 9.5, 10.5, 19.5]).tolist() == [0, 9, 15, 24]


def test_dropped_rows_as_people_write_them():
    assert read_dropped("") == read_dropped(None) == ()
    assert read_dropped("340:5, 120") == ((120, 1), (340, 5))
    assert read_dropped("7 : 2;9") == ((7, 2), (9, 1))
    with pytest.raises(InputError, match="dropped holds 'x7'"):
        read_dropped("5 x7")


def test_objects_shadows_and_ties():
    record = Record(1000, 400, edge_range_m=25.0, first_ping=1000, newest="bottom")
    found, reason = read_marks(record, marks([(700, 200.5, None, "object"), (100, 100.5, 40, "object")]),
                               straight_track())
    assert (reason == "").all()
    assert found["slant_m"] == pytest.approx([10, 20]) and found["side"].tolist() == ["starboard", "port"]
    assert np.isnan(found["shadow_m"][0]) and found["shadow_m"][1] == pytest.approx(23)
    assert found["ping"].tolist() == [1200, 1100]
    assert found["t_s"] - 1_700_000_000 == pytest.approx([20, 10])
    assert found["pass_id"].tolist() == [1, 1] and found["outing"].tolist() == ["day", "day"]
    assert np.isnan(found["depth_m"]).all()


def test_range_changes_on_the_way_are_followed():
    """30 m until sample 200, then 60 m: one and the same column is twice as far."""
    track = straight_track(range_m=np.where(np.arange(400) < 200, 30.0, 60.0))
    record = Record(1000, 400, first_ping=1000, pings_per_row=10, newest="bottom")
    found, _ = read_marks(record, marks([(750, 100.5, None, "object"), (750, 300.5, 900, "object")]), track)
    assert found["slant_m"] == pytest.approx([15, 30]) and found["shadow_m"][1] == pytest.approx(48)


def test_ranges_are_as_displayed_whatever_the_sound_speed():
    """The track's range is true, displayed times ratio; the picture shows the displayed one."""
    record = Record(1000, 400, first_ping=1000, newest="bottom")
    found, _ = read_marks(record, marks([(1000, 200.5, None, "object")]), straight_track(range_m=29.4, ratio=0.98))
    assert found["slant_m"][0] == pytest.approx(30)


def test_bottom_points_give_the_depth_between_them_and_no_further():
    record = Record(1000, 400, edge_range_m=25.0, first_ping=1000, newest="bottom")
    rows = [(500 + 20 * 8, 100.5, None, "bottom"), (500 - 20 * 10, 200.5, None, "bottom"), (900, 150.5, None, "object"),
            (900, 50.5, None, "object"), (900, 330.5, None, "object")]
    found, reason = read_marks(record, marks(rows), straight_track())
    assert (reason == "").all()
    assert found["depth_m"][:4] == pytest.approx([8, 10, 9, 8]) and np.isnan(found["depth_m"][4])


def test_bottom_points_serve_their_own_stretch_of_the_track_only():
    track = straight_track(passes=((0, 200), (200, 400)))
    record = Record(1000, 400, edge_range_m=25.0, first_ping=1000, pings_per_row=10, newest="bottom")
    rows = [(660, 198.5, None, "bottom"), (900, 195.5, None, "object"), (900, 203.5, None, "object")]
    found, _ = read_marks(record, marks(rows), track)
    assert found["depth_m"][1] == pytest.approx(8) and np.isnan(found["depth_m"][2])


def test_without_a_track_the_edge_range_is_enough():
    record = Record(1000, 101, edge_range_m=25.0, first_s=1000.0, last_s=1050.0, newest="bottom")
    found, reason = read_marks(record, marks([(700, 50.5, None, "object"), (600, 50.5, None, "bottom")]))
    assert (reason == "").all() and found["slant_m"][0] == pytest.approx(10) and found["t_s"][0] == 1025
    assert found["depth_m"].tolist() == pytest.approx([5, 5])
    with pytest.raises(InputError, match="edge_range_m"):
        read_marks(Record(1000, 101, first_ping=0), marks([(700, 50.5, None, "object")]))


@pytest.mark.parametrize("end", [999.5, 1000, 1100])
def test_a_shadow_that_runs_off_the_record_ends_there_and_says_so(end):
    record = Record(1000, 400, edge_range_m=25.0, first_ping=1000)
    drawn = marks([(700, 50.5, end, "object"), (700, 60.5, 800, "object")])
    found, reason = read_marks(record, drawn, straight_track())
    assert reason.tolist() == ["", ""] and found["shadow_open"].tolist() == [True, False]
    assert found["shadow_m"][0] == pytest.approx(25, abs=0.03)


def pinged(first_range=20.0, second=60.0, change=100.0, length=300.0, dead=0.0):
    """A record whose pings wait for their echo (2 R / 1500 m/s and a dead time): moments of all pings, and ranges."""
    t, at, of = 0.0, [], []
    while t <= length:
        range_m = first_range if t < change else second
        at.append(t)
        of.append(range_m)
        t += 2 * range_m / 1500 + dead
    return np.array(at), np.array(of)


@pytest.mark.parametrize("dead, counted, within", [(0.0, False, 1.0), (0.0, True, 0.1), (0.03, True, 0.1)])
@pytest.mark.parametrize("newest", ["top", "bottom"])
def test_rows_by_times_go_by_the_records_own_rate(dead, counted, within, newest):
    """20 m, then 60 m: a third of the rate. Evenly spread rows would be up to 40 s off, 60 m of track; with the
    record's ping count they are right to a ping, by the range to a sample."""
    at, of = pinged(dead=dead)
    samples = np.arange(0, 301.0)
    number = np.searchsorted(at, samples, side="right") - 1
    pings = np.interp(samples, at, np.arange(len(at))) if counted else np.full(len(samples), np.nan)
    i = np.arange(len(samples))
    track = tracks.made(CRS.from_epsg(32615), np.full(len(i), 5e5), 5e6 + 1.5 * i, np.zeros(len(i)), outing="day",
                        pass_id=np.ones(len(i), int), sample_id=i, t_s=1.7e9 + samples, record_ping=pings,
                        range_m=of[number], heading_source="course")
    record = Record(1000, len(at), first_s=1.7e9 + at[0], last_s=1.7e9 + at[-1], newest=newest)
    picked = (len(at) * np.array([0.3, 0.4, 0.5, 0.6, 0.7])).astype(int)
    rows = picked + 0.5 if newest == "bottom" else len(at) - picked - 0.5
    found, reason = read_marks(record, marks([(700, row, None, "object") for row in rows]), track)
    assert (reason == "").all()
    assert np.abs(found["t_s"] - 1.7e9 - at[picked]).max() < within
    assert np.abs(record.count(rows) - 1.7e9 - at[picked]).max() > 10  # what even rows would say
    note, warning = row_words(record, track)
    assert ("ping count" in note) == counted and ("The range changes 1 times" in warning) != counted


def test_bottom_marks_off_the_tracks_depth_name_what_may_be_wrong():
    """A bottom that falls from 5 to 20 m: turned over, marks are up to 15 m off, and the warning tells the remedy."""
    depth = np.linspace(5, 20, 400)
    track = straight_track()
    track.depth_m[:] = depth
    record = Record(1000, 400, edge_range_m=25.0, first_ping=1000, pings_per_row=10, newest="bottom")
    rows = [(500 + depth[k] / 25 * 500, k + 0.5, None, "bottom") for k in (20, 100, 250, 380)]
    assert bottom_warning(record, marks(rows), track, "abcd") == ""
    turned = Record(1000, 400, edge_range_m=25.0, first_ping=1000, pings_per_row=10, newest="top")
    said = bottom_warning(turned, marks(rows), track, "abcd")
    assert said.startswith("4 of 4 bottom marks") and "mark d: 19.3 m on the image" in said
    assert any("mark 4: 19.3 m on the image" in text for text in read_picture(turned, marks(rows), track).warnings)
    assert all(name in said for name in ("newest", "first_ping", "dropped", "With newest 'bottom' all"))
    late = Record(1000, 400, edge_range_m=25.0, first_ping=2500, pings_per_row=10, newest="bottom")
    said = bottom_warning(late, marks(rows[:2]), track, "abcd")
    assert "first_ping" in said and "With newest" not in said
    track.depth_source[:] = "constant"
    assert bottom_warning(turned, marks(rows), track, "abcd") == ""


@pytest.mark.parametrize("row, words", [
    ((500, 50, None, "object"), "centre line"), ((1200, 50, None, "object"), "column 1200.0 lies outside"),
    ((700, 450, None, "object"), "row 450.0 lies outside"), ((700, 50, 300, "object"), "different sides"),
    ((700, 50, 600, "object"), "outwards"), ((700, 50, 800, "bottom"), "point, not a line"),
    ((700, 50, -5, "object"), "different sides"), ((700, 50, None, "fish"), "write object or bottom")])
def test_marks_that_cannot_be_read_say_why(row, words):
    record = Record(1000, 400, edge_range_m=25.0, first_ping=1000)
    _, reason = read_marks(record, marks([row, (700, 60, None, "object")]), straight_track())
    assert words in reason[0] and reason[1] == ""


def test_a_mark_in_a_break_needs_an_edge_range():
    track = straight_track(passes=((0, 100), (100, 400)))
    track.usable[95:105] = False
    for edge, said in ((None, "edge_range_m"), (25.0, "")):
        record = Record(1000, 400, edge_range_m=edge, first_ping=1000, pings_per_row=10, newest="bottom")
        _, reason = read_marks(record, marks([(700, 100.5, None, "object"), (700, 50.5, None, "object")]), track)
        assert said in reason[0] and reason[1] == ""


def test_a_stretch_without_depth_still_ties():
    """Samples that lack only a depth are unusable for swaths; a bottom point brings the depth."""
    track = straight_track()
    track.usable[:] = False
    track.reject_reason[:] = "no depth"
    record = Record(1000, 400, first_ping=1000, newest="bottom")
    found, reason = read_marks(record, marks([(700, 100.5, None, "object")]), track)
    assert reason[0] == "" and found["pass_id"][0] == 1


def test_pictures_of_another_time_are_refused_with_the_hours_that_fit():
    early = 1_700_000_000.0 - 5 * 3600
    record = Record(1000, 400, edge_range_m=25.0, first_s=early, last_s=early + 399, newest="bottom")
    with pytest.raises(InputError, match="time_offset of 5 hours"):
        read_marks(record, marks([(700, 100.5, None, "object")]), straight_track())
    with pytest.raises(InputError, match="first_ping"):
        read_marks(Record(1000, 400, first_ping=90_000), marks([(700, 100.5, None, "object")]), straight_track())


@pytest.mark.parametrize("values, words", [
    ({}, "Nothing says which ping"), ({"first_ping": 1, "first_s": 1.0, "last_s": 2.0}, "contradict"),
    ({"first_s": 1.0}, "belong together"), ({"first_s": 2.0, "last_s": 1.0}, "not before"),
    ({"first_ping": 1, "pings_per_row": 0.0}, "pings_per_row"),
    ({"first_ping": 1, "edge_range_m": -3.0}, "edge_range_m"),
    ({"first_ping": 1, "centre_column": 900}, "centre_column"), ({"first_ping": 1, "layout": "left"}, "layout"),
    ({"first_ping": 1, "newest": "left"}, "newest"), ({"first_ping": 1, "dropped": ((0, 2),)}, "dropped"),
    ({"first_ping": 1, "layout": "port", "centre_column": 0}, "leaves no column")])
def test_contradictions_are_refused(values, words):
    with pytest.raises(InputError, match=words):
        Record(600, 100, **values)
