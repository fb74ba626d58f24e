"""Marks along runs of the track, and rows of a picture in time, on tracks of a metre and a second a sample."""
import numpy as np
import pytest
import tracks
from athwart.survey.record.picture import Record
from athwart.survey.targets.match import _shifted
from athwart.survey.targets.rowtimes import row_times


def two_runs(**given):
    """Five samples, a break, five samples."""
    n = np.arange(10)
    return tracks.made("EPSG:32615", np.full(10, 500_000.0), 4_980_000.0 + n, 0.0, sample_id=n + 10 * (n > 4),
                       pass_id=1 + (n > 4), t_s=1.7e9 + n + 100 * (n > 4), **given)


def test_a_mark_moves_on_along_its_own_run_and_not_past_its_end():
    """A second of latency, or a mark made half a second late, on either run."""
    at = np.array([1.0, 2.5, 3.5, 6.5, 9.0])
    late = _shifted(two_runs(latency_s=1.0), at, 0.0)
    assert late == pytest.approx([2.0, 3.5, np.nan, 7.5, np.nan], nan_ok=True)
    early = _shifted(two_runs(latency_s=0.0), at, 0.5)
    assert early == pytest.approx([0.5, 2.0, 3.0, 6.0, 8.5])


@pytest.mark.parametrize("ranges, kind", [([30.0] * 5 + [15.0] * 6, "range"), ([30.0] * 5 + [0.0] + [15.0] * 5, "even"),
                                          ([30.0] * 5 + [np.nan] + [15.0] * 5, "even"), ([30.0] * 11, "even")])
def test_rows_follow_the_range_only_where_it_is_known_throughout(ranges, kind):
    """11 s, the range halved after 5: twice as many rows a second from then on."""
    n = np.arange(11)
    track = tracks.made("EPSG:32615", np.full(11, 500_000.0), 4_980_000.0 + n, 0.0, t_s=1.7e9 + n, record_ping=np.nan,
                        range_m=np.array(ranges))
    record = Record(100, 301, edge_range_m=30.0, first_s=1.7e9, last_s=1.7e9 + 10, newest="bottom")
    rows = np.array([0.5, 100.5, 150.5, 300.5])
    found = row_times(record, rows, track)
    assert found.by == kind
    expected = [0, 5, 6.25, 10] if kind == "range" else [0, 10 / 3, 5, 10]
    assert found.seconds - 1.7e9 == pytest.approx(expected, abs=1e-6)
