"""Where passes are cut, how they are numbered, and thinning against a plain walk along the track."""
import numpy as np
import pytest
import tracks
from athwart.survey.passes import numbering
from athwart.survey.passes.table import pass_columns, pass_lines
from hypothesis import given, settings
from hypothesis import strategies as st
from pyproj import CRS, Geod, Proj


def test_numbers_rise_and_lost_samples_go_with_the_pass_before():
    stretch = np.repeat([0, 1, 2, 3], [6, 4, 1, 3])
    moving = np.array([0, 0, 1, 1, 1, 0, 1, 1, 1, 1, 1, 1, 1, 0], bool)
    cut = np.zeros(14, bool)
    cut[8] = True
    pass_id, alone = numbering.number_passes(stretch, moving, cut)
    assert pass_id.tolist() == [1, 1, 1, 1, 1, 1, 2, 2, 3, 3, 3, 4, 4, 4]
    assert np.flatnonzero(alone).tolist() == [10]


def walk(path, clock, group, spacing, least):
    """Thinning as one would do it by hand."""
    kept = []
    for g in np.unique(group):
        own = np.flatnonzero(group == g)
        last = own[0]
        kept.append(last)
        for i in own[1:]:
            if path[i] - path[last] >= spacing * 0.999 or (least and clock[i] - clock[last] >= least * 0.999):
                last = i
                kept.append(i)
        kept.append(own[-1])
    return np.isin(np.arange(len(path)), kept)


@settings(max_examples=80, deadline=None)
@given(seed=st.integers(0, 100_000), spacing=st.floats(1.0, 20.0), least=st.sampled_from([None, 0.5, 3.0]))
def test_thinning_equals_the_walk(seed, spacing, least):
    rng = np.random.default_rng(seed)
    n = int(rng.integers(1, 200))
    path = np.cumsum(rng.choice([0.0, 0.1, 1.0, 5.0], n))
    clock = np.cumsum(rng.choice([0.1, 1.0], n))
    group = np.sort(rng.integers(0, 4, n))
    keep = np.zeros(n, bool)
    thinned = numbering.thin(path, clock, group, keep, spacing, least)
    assert np.array_equal(thinned, walk(path, clock, group, spacing, least))


def test_thinning_keeps_what_it_must():
    path = np.arange(100) * 0.3
    group = np.repeat([1, 2], 50)
    keep = np.zeros(100, bool)
    keep[[23, 24]] = True
    kept = numbering.thin(path, np.arange(100) * 0.1, group, keep, 3.0)
    assert kept[[0, 23, 24, 49, 50, 99]].all() and kept.sum() < 20
    assert numbering.thin(path, np.arange(100.0), group, keep, 0.0).all()


@pytest.mark.parametrize("usable, change, joined", [
    ([1, 1, 1, 1], {}, [1, 1, 1]), ([1, 0, 1, 1], {}, [0, 0, 1]), ([0, 1, 1, 0], {}, [0, 1, 0]),
    ([1, 1, 1, 1], {"sample_id": [0, 1, 3, 4]}, [1, 0, 1]), ([1, 1, 1, 1], {"pass_id": [1, 2, 2, 2]}, [0, 1, 1]),
    ([1, 1, 1, 1], {"outing": ["a", "a", "a", "b"]}, [1, 1, 0])])
def test_only_neighbours_of_one_pass_that_are_both_usable_are_joined(usable, change, joined):
    track = tracks.made("EPSG:32615", np.zeros(4), np.arange(4.0), 0.0, usable=np.array(usable, bool), **change)
    assert track.joined().astype(int).tolist() == joined


def test_each_pass_has_its_own_times_length_and_line():
    """Two passes of 1 m steps, a second each, with a stop between them: from 0 to 3 s and from 5 to 9 s."""
    n = 10
    pass_id, under_way = np.array([1] * 4 + [1] + [2] * 5), np.array([True] * 4 + [False] + [True] * 5)
    y = 4_980_000 + np.arange(10.0)
    track = tracks.made(CRS.from_epsg(32615), np.full(n, 500_000.0), y, 0.0, pass_id=pass_id, t_s=np.arange(10.0),
                        depth_m=np.arange(10.0) + 1, usable=under_way)
    lon, lat = Proj("EPSG:32615")(track.x, track.y, inverse=True)
    columns = pass_columns(track, Geod(ellps="WGS84"), lon, lat, under_way)
    assert columns["pass_id"].tolist() == [1, 2] and columns["samples"].tolist() == [4, 5]
    assert columns["start_time"].tolist() == [0, 5] and columns["end_time"].tolist() == [3, 9]
    assert columns["length_m"] == pytest.approx([3 / 0.9996, 4 / 0.9996], rel=1e-6)  # scale of the grid on its axis
    assert columns["mean_depth_m"].tolist() == [2.5, 8.0]
    lines = [np.array(line.coords) for line in pass_lines(track, lon, under_way)]
    ends = [[line[0, 1] - y[0], line[-1, 1] - y[0], len(line)] for line in lines]
    assert ends == [[0, 3, 4], [5, 9, 5]]
