"""Clocks that stand still, tick slowly or step back; impossible readings; nothing lost without a count."""
import re

import numpy as np
import pytest
import sailed
from athwart.survey.io.clocks import foreign_clock
from athwart.survey.io.gpx import read_gpx
from athwart.survey.io.logs import read_logs
from athwart.survey.io.nmea import read_nmea
from athwart.survey.io.sentences import plain_bytes
from athwart.survey.model.errors import InputError
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from sentences import dpt, gll, is_whole, rmc, sentence

NOON = 43200
DAY_S = 1717113600  # 2024-05-31
TYPES = re.compile(r"\$..(RMC|GGA|GLL|GNS|DPT|DBT|DBS|DBK),")


def read(*lines, **options):
    return read_nmea("".join(lines).encode("ascii"), "log", **{"now": 1.4e9, **options})


def run(seconds, speed=2.0):
    """Truth: (lon, lat) for each second of a straight run east."""
    lons, lats, _ = sailed.sail(-93.0, 45.0, sailed.straight(90, seconds), speed)
    return lons, lats


# ---- a source whose clock stands still

@pytest.mark.parametrize("talker", ["GP", "EC"])
@pytest.mark.parametrize("stuck_s", [-400, -20, 7, 300])
def test_a_clock_that_stands_still_gives_no_fix(talker, stuck_s):
    """RMC lives, falls silent for a minute and lives again; a GLL repeats one old place all the while."""
    lons, lats = run(600)
    lines, living = [], 0
    for second in range(600):
        if not 300 <= second < 360:
            lines.append(rmc(NOON + second, lons[second], lats[second]))
            living += 1
        lines += [gll(NOON + stuck_s, lons[0], lats[0] + 0.01, talker), dpt(5.0 + second / 100)]
    log = read(*lines)
    fixes = log.fixes
    assert len(fixes["t_s"]) == living and (fixes["lat"] < 45.005).all()
    assert list(np.unique(fixes["segment"])) == [0, 1]  # the minute of silence, and nothing else
    stale = [line for line in log.tally.lines() if f"{talker}GLL" in line]
    assert len(stale) == 1 and stale[0].startswith("600 ") and "stands still" in stale[0]
    # the depths that were sounded in the silence lie on no old fix
    assert np.nanmax(np.abs(fixes["depth_m"] - 5 - (fixes["t_s"] - DAY_S - NOON) / 100)) < 0.015


def test_a_source_that_fills_a_silence_with_living_times_still_does():
    lons, lats = run(600)
    lines = []
    for second in range(600):
        if not 300 <= second < 400:
            lines.append(rmc(NOON + second, lons[second], lats[second]))
        if second % 5 == 0:
            lines.append(gll(NOON + second, lons[second], lats[second]))
    log = read(*lines)
    assert len(log.fixes["t_s"]) == 500 + 20 and log.tally.count() == 0 and not log.fixes["segment"].any()


def test_living_clocks_pass_midnight_beside_one_that_stands_still():
    lons, lats = run(60)
    lines = []
    for second in range(60):
        day = "310524" if second < 30 else "010624"
        lines += [rmc(86370 + second, lons[second], lats[second], day=day), gll(43190, lons[0], lats[0])]
    log = read(*lines)
    assert np.allclose(log.fixes["t_s"], DAY_S + 86370 + np.arange(60))


# ---- a clock that ticks every ten seconds

@pytest.mark.parametrize("tick, with_gll, start", [(10, False, 0), (10, True, 4), (5, True, 0)])
def test_positions_between_ticks_are_placed_by_their_lines(tick, with_gll, start):
    lons, lats = run(1413)
    lines = []
    for second in range(start, start + 1413 - start):
        told = NOON + second // tick * tick
        lines.append(rmc(told, lons[second], lats[second]))
        lines += [gll(told, lons[second], lats[second])] if with_gll else []
        lines.append(dpt(3 + second / 100))
    log = read(*lines)
    fixes, true = log.fixes, np.arange(start, 1413)
    assert len(fixes["t_s"]) == 1413 - start and log.tally.count() == 0
    assert np.abs(fixes["t_s"] - DAY_S - NOON - true).max() < 0.01
    assert not fixes["segment"].any() and any(f"every {tick} s" in warning for warning in log.warnings)
    assert np.abs(fixes["depth_m"] - 3 - true / 100).max() < 0.011
    assert log.joined_count == (len(true) if with_gll else 0)


def test_slow_ticks_with_a_silence_between():
    lons, lats = run(400)
    seconds = [second for second in range(400) if not 153 <= second < 217]
    log = read(*[rmc(NOON + second // 10 * 10, lons[second], lats[second]) for second in seconds])
    assert np.abs(log.fixes["t_s"] - DAY_S - NOON - seconds).max() < 0.01
    assert np.array_equal(np.flatnonzero(np.diff(log.fixes["segment"])), [152])


def test_two_receivers_of_one_name_are_not_spread():
    """Both say GPRMC every second, 3 m apart: the second is refused and counted, no zigzag is made."""
    lons, lats = run(100)
    lines = []
    for second in range(100):
        lines += [rmc(NOON + second, lons[second], lats[second]), rmc(NOON + second, lons[second], lats[second] + 3e-5)]
    log = read(*lines)
    assert len(log.fixes["t_s"]) == 100 and (log.fixes["lat"] < 45.00002).all()
    assert log.tally.count("positions at the time of another, in a different place") == log.tally.count() == 100


@pytest.mark.parametrize("back", [2, 2.4, 4, 4.5])
def test_a_small_step_back_costs_the_same_fixes_whatever_its_seconds(back):
    lons, lats = run(200)
    log = read(*[rmc(NOON + second - (back if second >= 100 else 0), lons[second], lats[second])
                 for second in range(200)])
    assert len(log.fixes["t_s"]) == 200 - int(back) == 200 - log.tally.count()
    assert (np.diff(log.fixes["t_s"]) > 0).all() and not log.fixes["segment"].any()


@pytest.mark.parametrize("back", [30, 30.5])
def test_a_larger_step_back_begins_a_segment_whatever_its_seconds(back):
    lons, lats = run(200)
    log = read(*[rmc(NOON + second - (back if second >= 100 else 0), lons[second], lats[second])
                 for second in range(200)])
    assert len(log.fixes["t_s"]) == 200 and list(np.flatnonzero(np.diff(log.fixes["segment"]))) == [99]


# ---- readings that no instrument can have made

@pytest.mark.parametrize("body, what", [
    ("GPZDA,120000,31,05,20241234567,00,00", "date"),
    (f"GPGGA,120001,4500.000,N,09300.000,W,{'9' * 400},9,1.0,,M,,M,,", "qualities"),
    (f"GPGGA,120001,4500.000,N,09300.000,W,1,{'9' * 400},1.0,,M,,M,,", "satellites"),
    ("GPRMC,120001,A,4500.000,N,09300.000,W,-4.0,90.0,310524,,", "speeds"),
    ("GPRMC,120001,A,4500.000,N,09300.000,W,4.0,361.0,310524,,", "courses"),
    ("GPRMC,120001,A,4500.000,N,09300.000,W,fast,90.0,310524,,", "speeds"),
    ("GPRMC,120001,A,4500.000,N,09300.000,W,4.0,90.0,310524,900.0,E", "variations"),
    ("HCHDG,200.0,,,900.0,E", "variations"), ("HCHDG,200.0,900.0,E,1.0,E", "heading"),
    ("SDDPT,1e308,", "depths"), (f"SDDPT,{'9' * 400},", "depth"), ("SDDBT,1e308,f,,M,,F", "depths"),
    ("SDMTW,9e9,C", "temperatures"), ("GPVTG,400.0,T,,M,5.0,N,9.3,K,A", "courses"),
])
def test_one_bad_sentence_never_costs_the_file(body, what):
    log = read(rmc(NOON, -93, 45), sentence(body), rmc(NOON + 2, -93, 45), dpt(4.0), rmc(NOON + 3, -93, 45))
    assert len(log.fixes["t_s"]) >= 3
    assert what in log.tally.lines()[0] and all("log: 2" in line for line in log.tally.lines())
    assert not np.any(np.abs(log.fixes["depth_m"]) > 100) and np.nanmin(log.fixes["speed_mps"]) > 0
    assert not np.any(log.fixes["course_deg"] > 360)


def test_impossible_values_of_gpx_points():
    def point(second, inner):
        return f'<trkpt lat="45" lon="-93"><time>2024-05-31T12:00:{second:02d}Z</time>{inner}</trkpt>'

    points = "".join(point(k, inner) for k, inner in enumerate([
        "<speed>2.0</speed><course>90</course>", "<speed>-1</speed>", "<course>361</course>", "<speed>quick</speed>",
        "<extensions><depth>1e308</depth></extensions>", "<hdop>-3</hdop>", "<speed></speed>"]))
    log = read_gpx(f'<gpx version="1.1"><trk><trkseg>{points}</trkseg></trk></gpx>'.encode(), "log")
    assert len(log.fixes["t_s"]) == 7 and log.tally.count() == 5 and log.depth_count == 0
    assert np.nansum(log.fixes["speed_mps"]) == 2 and np.nansum(log.fixes["course_deg"]) == 90


# ---- in = out + refused + joined

OF_SENTENCES = re.compile(r"positions|(RMC|GGA|GLL|GNS|DPT|DBT|DBS|DBK) sentences whose|depths")


def accounted(log):
    """Position and depth sentences that the reader says it has used, joined, left out beside others, or refused."""
    refused = sum(int(line.split()[0]) for line in log.tally.lines()
                  if OF_SENTENCES.search(line) and "offsets of" not in line)
    return len(log.fixes["t_s"]) + log.depth_count + log.joined_count + log.beside_count + refused


def told(text):
    """Whole sentences of position and of depth, those of depth only where their depth is not blank."""
    count = 0
    for line in text.splitlines():
        if TYPES.match(line) and is_whole(line):
            fields = line[:line.rindex("*")].split(",")
            count += fields[0][3:] in ("RMC", "GGA", "GLL", "GNS") or any(
                text.strip() for text in (fields[1:2] if fields[0][3:] == "DPT" else fields[1:6:2]))
    return count


@pytest.mark.parametrize("name", ["harbour_dbt_gll_lf", "sail_dbt_gll_nodate", "moored_ais_interleaved",
                                  "stationary_bad_checksums", "survey_dpt_rmc_mtw"])
def test_every_sentence_of_a_real_log_is_accounted_for(name, fixtures):
    data = plain_bytes((fixtures / "nmea" / f"{name}.nmea").read_bytes())
    log = read_nmea(data, name, log_date=19000, now=1.4e9)
    assert accounted(log) == told(data.decode("latin-1")) > 20


def test_every_point_of_real_gpx_files_is_accounted_for(fixtures):
    for path in sorted((fixtures / "gpx").glob("*.gpx")):
        data = path.read_bytes()
        try:
            log = read_gpx(data, path.name)
        except InputError:
            continue
        points = len(re.findall(rb"<(?:trkpt|wpt)\b", data))
        lost = sum(int(line.split()[0]) for line in log.tally.lines() if "points " in line and "of " not in line)
        assert len(log.fixes["t_s"]) + len(log.waypoints["t_s"]) + lost == points, path.name


SECONDS = st.integers(0, 300)
LINES = st.one_of(
    SECONDS.map(lambda s: rmc(NOON + s, -93 + s * 2e-5, 45)), SECONDS.map(lambda s: rmc(NOON + s // 10 * 10, -93, 45)),
    SECONDS.map(lambda s: rmc(NOON + s / 7, -93, 45, -1.0)), SECONDS.map(lambda s: gll(NOON + s, -93 + s * 2e-5, 45)),
    st.just(gll(NOON - 500, -93, 45.1)), st.just(gll(NOON + 30, -93, 45.1, "EC")), st.just(dpt(4.5)),
    st.just(sentence("SDDPT,1e308,")), st.just(sentence("SDDBT,,f,6.0,M,,F")), st.just(sentence("GPRMC,,V,,,,,,,,,")),
    st.just(sentence("GPGLL,4560.0,N,09300.0,W,120001,A")), st.just(sentence("SDDPT,-3,")))


@settings(max_examples=150, deadline=None)
@given(st.lists(LINES, min_size=1, max_size=60), st.booleans())
def test_every_sentence_of_any_log_is_accounted_for(lines, in_order):
    text = "".join(sorted(lines, key=lambda line: line[7:17]) if in_order else lines)
    try:
        log = read_nmea(text.encode("ascii"), "log", now=1.4e9)
    except InputError:
        return
    assert accounted(log) == told(text)
    assert np.isfinite(log.fixes["t_s"]).all()


NASTY = st.sampled_from(["", "-1", "9" * 400, "1e308", "nan", "inf", "A", "V", "120000", "999999.99", "4560.000", "N",
                         "W",
                         "900.0", "20241234567", "0", "\u00e9", " ", "--", "1.2.3", "0x10", "31", "310224"])


@pytest.mark.parametrize("name", ["sail_dbt_gll_nodate", "moored_ais_interleaved", "survey_dpt_rmc_mtw"])
@settings(max_examples=25, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(data=st.data())
def test_a_real_log_with_fields_changed_is_accounted_for(name, fixtures, data):
    """A hundred or so lines of a real log, fields replaced, checksums made right again."""
    lines = (fixtures / "nmea" / f"{name}.nmea").read_text(encoding="latin-1").splitlines()
    start = data.draw(st.integers(0, len(lines) - 160))
    lines = lines[start:start + 150]
    changes = st.lists(st.tuples(st.integers(0, 149), st.integers(1, 12), NASTY), max_size=30)
    for at, field, nasty in data.draw(changes):
        body, star, _ = lines[at].rpartition("*")
        fields = body[1:].split(",")
        if star and field < len(fields):
            fields[field] = nasty
            lines[at] = sentence(",".join(fields)).strip()
    text = "\r\n".join(lines) + "\r\n"
    try:
        log = read_nmea(text.encode("latin-1"), name, log_date=19000, now=1.4e9)
    except InputError:
        return
    assert accounted(log) == told(text)
    assert np.isfinite(log.fixes["t_s"]).all() and (np.abs(log.fixes["lat"]) <= 90).all()
    for column, most in (("speed_mps", 300), ("course_deg", 360), ("depth_m", 12_000), ("heading_deg", 360)):
        values = log.fixes[column]
        assert not (np.isinf(values) | (values < 0) | (values > most)).any(), column


def test_what_is_refused_adds_up(fixtures, tmp_path):
    """Counts in the lines of the report, and REJECTED_COUNT."""
    lons, lats = run(50)
    lines = [line for k in range(50) for line in (rmc(NOON + k, lons[k], lats[k], -1.0 if k % 5 == 0 else 4.0),
                                                  gll(NOON - 90, -93, 45.1), sentence("SDDPT,1e308,"))]
    (tmp_path / "one.nmea").write_text("".join(lines), encoding="ascii")
    logs = read_logs([tmp_path / "one.nmea", fixtures / "nmea" / "stationary_bad_checksums.nmea"])
    counts = [int(line.split()[0]) for line in logs.rejected]
    assert sum(counts) == logs.rejected_count == 50 + 50 + 10 + 23
    assert counts == sorted(counts, reverse=True)


@pytest.mark.parametrize("other, foreign", [(13.0, True), (16.0, False), (29.0, False), (36.0, True)])
def test_a_second_clock_is_held_against_the_tick_just_before_and_just_after(other, foreign):
    """Ticks every ten seconds; a reading of another clock stands between 20 and 30: 5 s either way are allowed."""
    order = np.arange(12.0)
    clock = np.array([0.0, 10, 20, other, 30, 40, 50, 60, 61, 70, 80, 81])
    source = np.array([0, 0, 0, 1, 0, 0, 0, 0, 1, 0, 0, 1])
    found, reference = foreign_clock(order, clock, source)
    assert reference == 0 and found.tolist() == [foreign and k == 3 for k in range(12)]
