"""Combined targets, misfits and boats that agree, on invented outings (tests/plugins/outings.py) of known truth."""
import numpy as np
import outings
import pytest
from athwart.survey.adjustment.blunders import doubts, find_misfits
from athwart.survey.adjustment.boats import agreements
from athwart.survey.adjustment.combine import combined_columns, offset_rows
from athwart.survey.adjustment.least_squares import BLUNDER, adjust
from athwart.survey.adjustment.looks import OFFSETS, RepeatedLooks
from athwart.survey.adjustment.notes import notes, warnings
from athwart.survey.adjustment.repeated import AdjustSettings
from athwart.survey.adjustment.repeated import adjust as adjusted
from athwart.survey.model.errors import InputError

CAUSES = ("position", "heading", "timing", "beam", "sound", "offsets")


def targets(seed=4, change=None, **options):
    """(columns of located targets, object of each, true places)."""
    columns, number, places, _ = outings.outing(np.random.default_rng(seed), **options)
    n = len(number)
    columns.update(target_id=np.arange(1.0, n + 1), status=np.full(n, "bottom", object), t_s=1.7e9 + np.arange(n),
                   label=np.array([f"obj {k}" for k in number], object), height_m=np.full(n, 1.0),
                   sigma_height_m=np.full(n, 0.5), **{f"pct_{cause}": np.full(n, 10.0) for cause in CAUSES})
    if change:
        change(columns, number)
    return columns, number, places


def combined(columns, number, names=(), confidence=0.95):
    looks, frame = RepeatedLooks.of(outings.CRS, columns["x"], columns["y"], columns)
    group = np.unique(number, return_inverse=True)[1]
    first = adjust(looks, group, names)
    misfits = find_misfits(looks, group, names, first)
    doubt = doubts(group, first, misfits)
    return looks, group, first, misfits, combined_columns(frame, columns, looks, group, first, confidence, doubt)


def test_looks_become_objects():
    columns, number, places = targets()
    _, group, first, misfits, (x, y, ellipses, found) = combined(columns, number, confidence=0.9)
    seen = np.unique(number)
    assert found["looks"].tolist() == np.bincount(group).tolist() and found["target_id"].tolist() == [
        k + 1 for k in range(len(seen))]
    assert found["passes"].tolist() == [len(set(columns["pass_id"][number == k].tolist())) for k in seen]
    assert found["label"].tolist() == [f"obj {k}" for k in seen]
    assert found["members"].tolist() == [", ".join(f"{i + 1}" for i in np.flatnonzero(number == k)) for k in seen]
    assert (found["confidence_pct"] == 90.0).all() and not misfits.worst_first and not misfits.more
    assert (found["blunders"] == 0).all() and (found["doubt"] == "").all()
    worst = np.nan_to_num(np.abs(first.w)).max(axis=1)
    for k in range(len(seen)):
        mine = worst[group == k].max()
        assert np.isnan(found["max_w"][k]) if found["looks"][k] == 1 else found["max_w"][k] == mine < BLUNDER
    # the grid's north is true to 0.01 degree there
    assert found["sigma_east_m"] == pytest.approx(np.sqrt(first.covariance[:, 0, 0]), rel=0.01)
    assert found["sigma_north_m"] == pytest.approx(np.sqrt(first.covariance[:, 1, 1]), rel=0.01)
    # chi-square(2) at 0.9: 4.605; the ellipse's area is pi k^2 sqrt(det)
    assert found["semi_major_m"] * found["semi_minor_m"] == pytest.approx(
        4.60517 * np.sqrt(np.linalg.det(first.covariance)), rel=1e-5)
    assert [one.area for one in ellipses] == pytest.approx(np.pi * found["semi_major_m"] * found["semi_minor_m"],
                                                           rel=0.01)
    assert sum(found[f"pct_{cause}"] for cause in (*CAUSES, "range", "depth")) == pytest.approx(100.0)
    assert np.hypot(x - places[seen, 0], y - places[seen, 1]).max() < 15


def test_heights_are_weighted_and_one_cut_off_gives_way():
    def change(columns, number):
        mine = np.flatnonzero(number == np.bincount(number).argmax())
        columns["height_m"][mine[:2]], columns["sigma_height_m"][mine[:2]] = [1.0, 3.0], [0.5, 1.0]
        columns["height_m"][mine[2:]] = np.nan
        columns["height_at_least"] = np.zeros(len(number))
    columns, number, _ = targets(change=change)
    *_, (_, _, _, found) = combined(columns, number)
    at = np.searchsorted(np.unique(number), np.bincount(number).argmax())
    assert found["height_m"][at] == pytest.approx((4 * 1 + 1 * 3) / 5)
    assert found["sigma_height_m"][at] == pytest.approx(5 ** -0.5)
    assert found["height_m"][at - 1] == pytest.approx(1.0)


def swapped(columns, number):
    """The look with most ground range laid off on the wrong side."""
    at = int(np.argmax(np.where(np.bincount(number)[number] > 3, columns["ground_m"], 0)))
    side = 1 if columns["side"][at] == "starboard" else -1
    turn = np.radians(columns["sig_heading_deg"][at]) ** 2 + np.radians(columns["sig_mount_deg"][at]) ** 2
    reach = columns["ground_m"][at] * np.exp(-turn / 2)
    east, north = outings.unit(columns["heading_deg"][at] + columns["mount_deg"][at] + 90)
    columns["x"][at] -= 2 * side * reach * east
    columns["y"][at] -= 2 * side * reach * north
    columns["side"] = columns["side"].astype(object)
    columns["side"][at] = "port" if side > 0 else "starboard"
    columns["swapped"] = at


def test_a_swapped_side_is_told_and_mirrored_back():
    columns, number, _ = targets(change=swapped)
    at = columns.pop("swapped")
    clean, _, _ = targets()
    looks, group, first, misfits, (*_, found) = combined(columns, number)
    worst = misfits.worst_first[0]
    assert [one.look for one in misfits.worst_first] == [at] and worst.swapped and not worst.others
    assert worst.across and worst.off > 10 and worst.w > BLUNDER
    assert worst.dof == first.dof - 2 and worst.chi2 < first.chi2
    back = looks.mirrored(at)
    assert back.side[at] == -looks.side[at]
    true = RepeatedLooks.of(outings.CRS, clean["x"], clean["y"], clean)[0]
    assert back.place - back.place.mean(axis=0) == pytest.approx(true.place - true.place.mean(axis=0), abs=0.01)
    assert found["doubt"][group[at]] == "one of its looks does not fit the others"
    said = " ".join(warnings(columns, looks, group, first, misfits, doubts(group, first, misfits)))
    assert f"{at + 1}" in said and "side" in said
    rest = np.arange(len(group)) != at
    moved = adjust(looks.take(rest), group[rest]).place - first.place
    assert f"do not hold while this stands, by up to {np.hypot(*moved.T).max():.1f} m" in said
    assert notes(looks, group, first, ["day"])


def test_a_slip_along_the_track_is_told_as_one():
    def late(columns, number):
        at = int(np.argmax(np.bincount(number)[number] > 3))
        east, north = outings.unit(columns["heading_deg"][at])
        columns["x"][at] += 25 * east
        columns["y"][at] += 25 * north
    columns, number, _ = targets(change=late)
    *_, misfits, _ = combined(columns, number)
    worst = misfits.worst_first[0]
    assert worst.look == int(np.argmax(np.bincount(number)[number] > 3)) and not worst.across and not worst.swapped
    assert 15 < worst.off < 35


@pytest.mark.parametrize("second, agrees", [(0.8, True), (-2.5, False)])
def test_outings_of_one_boat_are_held_against_each_other(second, agrees):
    still = {"mount_deg": 0.0, "lever_forward_m": 0.0, "lever_starboard_m": 0.0, "scale": 0.0, "trim_deg": 0.0,
             "bias": np.zeros(2), "depth_offset_m": 0.0}
    parts = [outings.outing(np.random.default_rng(8), offsets={**still, "latency_s": late}, name=name)
             for late, name in ((0.8, "one"), (second, "two"))]
    columns = {key: np.concatenate([part[0][key] for part in parts]) for key in parts[0][0]}
    looks, _ = RepeatedLooks.of(outings.CRS, columns["x"], columns["y"], columns)
    looks.boat_no = np.zeros(len(looks), int)
    group = np.unique(np.concatenate([part[1] for part in parts]), return_inverse=True)[1]
    (test,) = agreements(looks, group, ["latency_s"])
    assert test.agrees() == agrees if callable(test.agrees) else test.agrees == agrees
    assert test.name == "latency_s" and test.dof == 1
    found = adjust(looks, group, ["latency_s", "mount_deg"])
    rows = offset_rows(found, looks, ["boat"], ["one", "two"])
    assert rows["name"].tolist() == ["latency_s", "mount_deg"] and rows["outings"].tolist() == ["one; two"] * 2
    assert rows["correlations"][0] == f"mount_deg {found.correlation[0, 1]:+.2f}"
    assert set(OFFSETS) >= set(rows["name"])


def test_only_offsets_that_there_are_can_be_solved():
    assert AdjustSettings(solve=OFFSETS).solve == OFFSETS
    with pytest.raises(InputError, match="heave cannot be solved; choose of latency_s") as refused:
        AdjustSettings(solve=("latency_s", "heave"))
    assert refused.value.field == "solve"


@pytest.mark.parametrize("hanging, told", [((), None), ((0,), "1 targets hang"), ((0, 1), "2 targets hang"),
                                           ("all", None)])
def test_a_look_in_the_water_named_as_an_object_on_the_bottom_is_told(hanging, told):
    """Of an object all of whose looks hang nothing is said: it is no mixture."""
    columns, number, _ = targets()
    mine = np.flatnonzero(number == np.argmax(np.bincount(number)))
    assert len(mine) > 2
    columns["status"][mine if hanging == "all" else mine[list(hanging)]] = "water column"
    found = adjusted(outings.CRS, columns["x"], columns["y"], columns, names=[f"{k}" for k in number])
    said = [text for text in found.warnings if "hang in the water" in text]
    assert len(said) == (told is not None) and (not said or said[0].startswith(told))
    assert not said or f"{mine[0] + 1} (object {found.group[mine[0]] + 1})" in said[0]
