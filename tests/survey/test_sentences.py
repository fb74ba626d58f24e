"""Framing: encodings, line ends, junk, checksums (computed anew here, as the standard says)."""
import json
from functools import reduce

import pytest
from athwart.survey.io.sentences import CUT_SHORT, WRONG_CHECKSUM, frame, looks_like_nmea, plain_bytes
from athwart.survey.model.rejections import Rejections
from hypothesis import given
from hypothesis import strategies as st

TYPES = ("RMC", "GGA", "DPT", "DBT", "MTW", "VLW")


def sentence(body):
    return f"${body}*{reduce(lambda a, b: a ^ ord(b), body, 0):02X}"


def framed(data, types=TYPES):
    tally = Rejections()
    found = frame(plain_bytes(data if isinstance(data, bytes) else data.encode("latin-1")), types, "log", tally)
    return list(found.texts), found, tally


DEPTHS = [f"SDDPT,{depth},0.4" for depth in ("5.4", "5.5", "5.6")]


@pytest.mark.parametrize("name", ["harbour_dbt_gll_lf", "moored_ais_interleaved", "nofix_empty_heading",
                                  "sail_dbt_gll_nodate", "stationary_bad_checksums", "survey_dpt_rmc_mtw"])
def test_real_logs_hold_what_another_reader_counted(name, fixtures):
    """expected.json: counts by pynmea2 1.19.0 and pynmeagps 1.1.8."""
    expected = json.loads((fixtures / "expected.json").read_text(encoding="utf-8"))["nmea"][f"{name}.nmea"]
    data = (fixtures / "nmea" / f"{name}.nmea").read_bytes()
    kinds = sorted({key[-3:] for key in expected["sentences"]})
    texts, found, tally = framed(data, kinds)
    counts = {}
    for text in texts:
        counts[text[:5]] = counts.get(text[:5], 0) + 1
    wanted = {key: n for key, n in expected["sentences"].items() if not key.startswith("!")}
    assert {key: n for key, n in counts.items() if key != "AIVDM"} == wanted
    assert found.total == sum(expected["sentences"].values()) and found.bare == 0
    assert tally.count(WRONG_CHECKSUM) == expected["lines"].get("bad", 0)


def test_a_dollar_inside_a_sentence_with_a_right_checksum_is_part_of_it(fixtures):
    """The distance sentences of this log are malformed by their sender and yet whole."""
    texts, _, tally = framed((fixtures / "nmea" / "moored_ais_interleaved.nmea").read_bytes(), ("VLW",))
    assert len(texts) == 60 and all(text.startswith("SDVLW,$SDVLW,,N,322.0") for text in texts)
    assert tally.count() == 0


@pytest.mark.parametrize("end", ["\r\n", "\n", "\r"])
def test_every_kind_of_line_end(end):
    texts, found, _ = framed(end.join(["# comment", *map(sentence, DEPTHS)]) + end)
    assert texts == DEPTHS
    assert list(found.lines) == [2, 3, 4]


@pytest.mark.parametrize("encode", [
    lambda text: text.encode("ascii"),
    lambda text: "é ".encode("latin-1") + text.encode("ascii"),
    lambda text: text.encode("utf-8-sig"),
    lambda text: text.encode("utf-16"),
    lambda text: text.encode("utf-16-le"),
    lambda text: text.encode("utf-16-be"),
    lambda text: b"\xfe\xff" + text.encode("utf-16-be"),
    lambda text: text.encode("utf-16-le") + b"\x24",
])
def test_every_usual_encoding(encode):
    assert framed(encode("\r\n".join(map(sentence, DEPTHS)) + "\r\n"))[0] == DEPTHS


def test_sentences_behind_junk_and_several_on_a_line():
    line = ("\x00\xff$$ 2019-06-02 12:00:01 " + sentence(DEPTHS[0]) + sentence(DEPTHS[1]) + " $GPG "
            + sentence(DEPTHS[2]) + " tail\r\n")
    texts, found, tally = framed("\r\n" + line)
    assert texts == DEPTHS and list(found.lines) == [2, 2, 2] and tally.count() == 0


def test_a_sentence_cut_off_by_the_next_one_does_not_spoil_it():
    texts, _, tally = framed("$SDDPT,5.4," + sentence(DEPTHS[1]) + "\r\n")
    assert texts == [DEPTHS[1]] and tally.count() == 0


def test_wrong_checksums_are_refused_and_counted_with_their_lines():
    lines = [sentence(DEPTHS[0])] + [sentence(DEPTHS[1])[:-2] + "00"] * 7
    texts, found, tally = framed("\n".join(lines) + "\n")
    assert texts == DEPTHS[:1] and found.total == 1
    assert tally.lines() == [f"7 {WRONG_CHECKSUM} (first at log: 2, 3, 4, 5, 6)"]


def test_lower_case_digits_are_digits():
    assert framed(sentence("SDDPT,7.4,0.4").replace("*7C", "*7c") + "\n")[0] == ["SDDPT,7.4,0.4"]


def test_without_any_checksum_in_the_log_sentences_are_accepted_and_counted():
    texts, found, tally = framed("".join(f"${body}\r\n" for body in DEPTHS))
    assert texts == DEPTHS and found.bare == 3 and tally.count() == 0


def test_without_a_checksum_beside_ones_that_have_it_a_sentence_was_cut_short():
    texts, found, tally = framed("\n".join([sentence(DEPTHS[0]), "$SDDPT,5.", "$SDMTW,17.9,C", "$SDDPT,5.6,0.4*7", ""]))
    assert texts == [DEPTHS[0], "SDMTW,17.9,C"] and found.bare == 1
    assert tally.count(CUT_SHORT) == 2


def test_a_log_that_ends_in_the_middle_of_a_sentence_loses_that_one():
    texts, _, tally = framed("$SDDPT,5.4,0.4\n$SDDPT,5.5,0.4\n$SDDPT,5.6,0")
    assert texts == DEPTHS[:2] and tally.count(CUT_SHORT) == 1


def test_a_makers_own_sentence_is_not_taken_for_a_standard_one():
    assert framed(sentence("PXRMC,1,2") + "\n")[0] == []


@pytest.mark.parametrize("end", ["\r\n", "\n", "\r"])
def test_long_logs_are_framed_the_same_in_pieces(end, monkeypatch):
    data = end.join([sentence(body) for body in DEPTHS * 50] + ["x" * 200, sentence(DEPTHS[0])]) + end
    whole, found, _ = framed(data)
    monkeypatch.setattr("athwart.survey.io.sentences._BLOCK", 37)
    pieces, cut, _ = framed(data)
    assert pieces == whole == [*DEPTHS * 50, DEPTHS[0]]
    assert list(cut.lines) == list(found.lines) == [*range(1, 151), 152]


def test_what_looks_like_nmea():
    assert looks_like_nmea(b"12:00 $GPRMC,,V") and looks_like_nmea(b"!AIVDM,1")
    assert not looks_like_nmea(b"lat,lon\n$12.50,3") and not looks_like_nmea(b"")


GOOD = st.builds("SDDPT,{:.1f},{:.1f}".format, st.floats(0, 99), st.floats(-1, 1))
CUT = st.builds(lambda body, keep: f"${body}"[:keep], GOOD, st.integers(1, 9))
NOISE = st.text("abc,.-#: 0A5\x00\xff", max_size=12)


@given(st.lists(st.lists(st.tuples(NOISE | CUT, GOOD), max_size=3), max_size=6), st.sampled_from(["\r\n", "\n", "\r"]))
def test_whole_sentences_are_found_among_noise_and_cut_ones(lines, end):
    text = "start of the log" + end + "".join(
        "".join(noise + sentence(body) for noise, body in line) + end for line in lines)
    texts, found, tally = framed(text)
    assert texts == [body for line in lines for _, body in line]
    assert list(found.lines) == [number for number, line in enumerate(lines, 2) for _ in line]
    assert tally.count(WRONG_CHECKSUM) == 0


@given(st.binary(max_size=300))
def test_junk_never_crashes(junk):
    texts, found, _ = framed(junk)
    assert len(texts) == len(found.lines)


@pytest.mark.parametrize("after", ["", sentence(DEPTHS[0]) + "\n"])
def test_a_checksum_without_a_sentence_before_it_is_junk_and_no_wrong_checksum(after):
    """A line whose beginning was lost, and the sentence after it, if any, which is as good as ever."""
    texts, found, tally = framed(f"DPT,5.3,0.4*3A\n{after}")
    assert texts == [DEPTHS[0]][:len(after)] and tally.count() == 0 and found.total == len(texts)
