"""The adjustment against a dense covariance solution, and against outings whose truth is known.

The outings (tests/plugins/outings.py) share no code with the package.
"""
import numpy as np
import outings
import pytest
from athwart.survey.adjustment.least_squares import BLUNDER, adjust
from athwart.survey.adjustment.looks import OFFSETS, RepeatedLooks
from athwart.survey.model.errors import InputError


def made(seed, names=OFFSETS, **options):
    """An outing and its adjustment with the true grouping: (looks, group, true places in the frame, offsets, found)."""
    columns, number, places, offsets = outings.outing(np.random.default_rng(seed), **options)
    return solved(columns, number, places, names) + (offsets,)


def solved(columns, number, places, names=OFFSETS):
    looks, frame = RepeatedLooks.of(outings.CRS, columns["x"], columns["y"], columns)
    seen, group = np.unique(number, return_inverse=True)
    truth = np.column_stack(frame.forward(places[seen, 0], places[seen, 1]))
    return looks, group, truth, adjust(looks, group, names)


def dense(looks, group):
    """Generalised least squares with the full covariance of all looks, shared errors and all."""
    n = len(looks)
    cov = np.zeros((2 * n, 2 * n))
    design = np.concatenate([looks.sensitivities()], axis=0)
    for i in range(n):
        for j in range(n):
            shared = np.zeros((2, 2))
            if looks.pass_no[i] == looks.pass_no[j]:
                shared += design[i, :, :3] @ design[j, :, :3].T
            if looks.outing_no[i] == looks.outing_no[j]:
                shared += design[i, :, 3:] @ design[j, :, 3:].T
            cov[2 * i:2 * i + 2, 2 * j:2 * j + 2] = shared + (looks.own[i] if i == j else 0)
    a = np.zeros((2 * n, 2 * (group.max() + 1)))
    for i, g in enumerate(group):
        a[2 * i:2 * i + 2, 2 * g:2 * g + 2] = np.eye(2)
    weight = np.linalg.inv(cov)
    normal = np.linalg.inv(a.T @ weight @ a)
    x = normal @ a.T @ weight @ looks.place.ravel()
    v = looks.place.ravel() - a @ x
    return x.reshape(-1, 2), normal, float(v @ weight @ v)


def test_it_is_the_generalised_least_squares_of_the_full_covariance(monkeypatch):
    """One round, so that both stand on the slopes at the measured ranges; two outings share only what they should."""
    monkeypatch.setattr("athwart.survey.adjustment.least_squares._ROUNDS", 1)
    one, number, _, _ = outings.outing(np.random.default_rng(5))
    two, number2, _, _ = outings.outing(np.random.default_rng(5), name="next")
    columns = {key: np.concatenate([one[key], two[key]]) for key in one}
    looks, _ = RepeatedLooks.of(outings.CRS, columns["x"], columns["y"], columns)
    group = np.unique(np.concatenate([number, number2]), return_inverse=True)[1]
    found = adjust(looks, group)
    place, covariance, chi2 = dense(looks, group)
    assert found.place == pytest.approx(place, abs=1e-6)
    for g in range(len(place)):
        block = covariance[2 * g:2 * g + 2, 2 * g:2 * g + 2]
        assert found.covariance[g] == pytest.approx(block, abs=1e-8)
    assert found.chi2 == pytest.approx(chi2, rel=1e-6)


def test_simulated_outings_bear_the_covariances_out():
    """250 outings; the long run with tight bounds is tests/proof/adjustment.py."""
    rng = np.random.default_rng(11)
    normalised, inside, judged, better = {name: [] for name in OFFSETS}, [], [], []
    for _ in range(250):
        columns, number, places, offsets = outings.outing(rng, objects=14)
        looks, group, truth, found = solved(columns, number, places)
        error = found.place - truth
        d2 = np.einsum("gi,gij,gj->g", error, np.linalg.inv(found.covariance), error)
        inside.append(np.mean(d2 < 5.991465))
        judged.append(found.chi2_low < found.chi2 < found.chi2_high)
        before = np.hypot(*(looks.place - truth[group]).T)
        better.append(np.median(np.hypot(*error.T)) / np.median(before))
        for name, value, sigma in zip(found.names, found.value, found.sigma):
            normalised[name].append((value - offsets[name] - (name == "scale")) / sigma)
    assert 0.93 < np.mean(inside) < 0.97
    assert 0.92 < np.mean(judged) < 0.98
    assert np.median(better) < 0.95
    for name, values in normalised.items():
        z = np.array(values)
        assert abs(z.mean()) < 4 / np.sqrt(len(z)), name
        assert 0.92 < np.mean(np.abs(z) < 1.96) < 0.98, name


def test_places_are_the_same_whether_offsets_are_reported_or_not():
    looks, group, _, found, _ = made(3)
    plain = adjust(looks, group)
    assert plain.place == pytest.approx(found.place, abs=1e-9)
    assert plain.covariance == pytest.approx(found.covariance, abs=1e-12)
    assert plain.names == () and len(plain.value) == 0


def test_a_hundred_looks_leave_the_outings_bias_whole():
    columns, _, _, _ = outings.outing(np.random.default_rng(1), objects=1, lines=outings.LINES[:1])
    many = {key: np.repeat(values, 100, axis=0) for key, values in columns.items()}
    many["pass_id"] = np.arange(100)
    looks, _ = RepeatedLooks.of(outings.CRS, many["x"], many["y"], many)
    found = adjust(looks, np.zeros(100, int))
    assert (np.sqrt(np.diag(found.covariance[0])) > 2.0).all()
    apart = {**many, "outing": np.array([f"day {i}" for i in range(100)])}
    looks, _ = RepeatedLooks.of(outings.CRS, apart["x"], apart["y"], apart)
    assert (np.sqrt(np.diag(adjust(looks, np.zeros(100, int)).covariance[0])) < 0.35).all()


def test_a_known_offset_is_found():
    """Nothing else is wrong and readings are fine: the latency, the azimuth and the scale put in come out."""
    still = dict.fromkeys(outings.PRIORS, 0.0001)
    fresh = dict.fromkeys(outings.FRESH, 0.001)
    offsets = {"latency_s": 0.8, "mount_deg": -3.0, "lever_forward_m": 0.0, "lever_starboard_m": 0.0, "scale": 0.02,
               "trim_deg": 0.0, "bias": np.zeros(2), "depth_offset_m": 0.0}
    priors = {**still, "sig_latency_s": 0.5, "sig_mount_deg": 2.0, "sig_scale": 0.02}
    columns, number, places, _ = outings.outing(np.random.default_rng(8), offsets=offsets, fresh=fresh, priors=priors)
    _, _, truth, found = solved(columns, number, places, ("latency_s", "mount_deg", "scale"))
    value = dict(zip(found.names, found.value))
    assert value["latency_s"] == pytest.approx(0.8, abs=0.01) and value["scale"] == pytest.approx(1.02, abs=0.001)
    assert value["mount_deg"] == pytest.approx(-3.0, abs=0.07)  # ranges 2 % short bend the beam 2 % less
    assert found.place == pytest.approx(truth, abs=0.05)


def test_offsets_put_back_into_the_track_reproduce_the_places():
    """The same recording placed with the solved offsets and told that they hold: nothing moves but the second order."""
    names = ("latency_s", "mount_deg", "scale")
    moved = []
    for seed in range(12):
        columns, number, places, offsets = outings.outing(np.random.default_rng(seed), objects=20)
        _, _, truth, found = solved(columns, number, places, names)
        value = dict(zip(found.names, found.value))
        left = {**offsets, "latency_s": offsets["latency_s"] - value["latency_s"],
                "mount_deg": offsets["mount_deg"] - value["mount_deg"],
                "scale": (1 + offsets["scale"]) / value["scale"] - 1}
        rng = np.random.default_rng(seed)
        outings.draw_offsets(rng)  # the same draws of everything else
        again, number2, _, _ = outings.outing(rng, objects=20, offsets=left,
                                              applied={**outings.NOTHING_APPLIED, **value})
        assert (number2 == number).all()
        for name in found.names:
            again[outings.SIX[name]][:] = 0.0
        _, _, truth2, second = solved(again, number2, places, names)
        assert second.value == pytest.approx(found.value)
        moved.append(np.hypot(*(second.place - truth2 - (found.place - truth)).T))  # each in a frame of its own
    moved = np.concatenate(moved)
    assert np.median(moved) < 0.02 and moved.max() < 0.15  # metres, beside sigmas of 2 m


def test_outings_prepared_with_different_latencies_solve_one():
    """A day prepared with 0 and a day prepared with 0.6 s: the boat has one latency, and both days bear on it."""
    rng = np.random.default_rng(21)
    true = 0.9
    offsets = outings.draw_offsets(rng)
    parts, numbers = [], []
    for name, put_in in (("first", 0.0), ("second", 0.6)):
        seeded = np.random.default_rng(30)
        applied = {**outings.NOTHING_APPLIED, "latency_s": put_in}
        columns, number, places, _ = outings.outing(
            seeded, name=name, objects=25, applied=applied, offsets={**offsets, "latency_s": true - put_in},
            fresh={k: v / 5 for k, v in outings.FRESH.items()})
        parts.append(columns)
        numbers.append(number)
    columns = {key: np.concatenate([part[key] for part in parts]) for key in parts[0]}
    _, _, _, found = solved(columns, np.concatenate(numbers), places, ("latency_s",))
    assert found.value[0] == pytest.approx(true, abs=3 * found.sigma[0]) and found.sigma[0] < 0.25


def test_a_blunder_is_reported_and_kept():
    columns, number, places, _ = outings.outing(np.random.default_rng(6), objects=16)
    looks, group, _, clean = solved(columns, number, places)
    assert not clean.blunders.any()
    victim = int(np.flatnonzero(np.bincount(group)[group] >= 4)[0])
    spoilt = looks.take(np.arange(len(looks)))
    spoilt.place[victim] += 9 * np.array([np.sin(np.radians(looks.azimuth_deg[victim])),
                                          np.cos(np.radians(looks.azimuth_deg[victim]))])
    found = adjust(spoilt, group)
    assert found.blunders[victim] and np.abs(found.w[victim, 0]) == np.nanmax(np.abs(found.w))
    assert found.chi2 > found.chi2_high
    assert found.covariance == pytest.approx(clean.covariance, abs=0.01)  # reported, not dropped, not rescaled


def test_normalised_residuals_are_normal():
    w = np.concatenate([made(seed)[3].w.ravel() for seed in range(40)])
    w = w[np.isfinite(w)]
    assert len(w) > 1500
    assert abs(w.mean()) < 0.1 and 0.93 < w.std() < 1.07
    assert np.mean(np.abs(w) > BLUNDER) < 0.005


def test_a_lone_look_cannot_be_tested_and_adds_no_freedom():
    looks, group, _, found, _ = made(9)
    assert found.dof == 2 * (len(looks) - group.max() - 1)
    alone = np.bincount(group)[group] == 1
    assert alone.any() and not found.blunders[alone].any()


def test_side_unsure_and_water_column_looks_go_through():
    columns, number, places, _ = outings.outing(np.random.default_rng(6))
    columns["side"] = columns["side"].astype(object)
    columns["side"][0], columns["side"][1] = "both", ""
    for name in ("ground_m", "dg_dscale_m", "depth_m", "mount_deg", "turn_dps"):
        columns[name][:2] = np.nan
    columns["dg_ddepth"][:2] = -np.inf
    columns["own_ee_m2"][:2] = 90.0
    _, _, _, found = solved(columns, number, places)
    assert np.isfinite(found.place).all() and np.isfinite(found.covariance).all() and np.isfinite(found.chi2)


def test_what_is_not_a_located_target_is_refused_with_the_remedy():
    columns, _, _, _ = outings.outing(np.random.default_rng(6))
    lacking = {key: values for key, values in columns.items() if key not in ("own_ee_m2", "sig_trim_deg")}
    with pytest.raises(InputError, match="own_ee_m2, sig_trim_deg are missing.*locate\\(\\)"):
        RepeatedLooks.of(outings.CRS, columns["x"], columns["y"], lacking)
    columns["own_ee_m2"][3] = np.nan
    with pytest.raises(InputError, match="combined already"):
        RepeatedLooks.of(outings.CRS, columns["x"], columns["y"], columns)


def test_thousands_of_looks_are_no_matter():
    rng = np.random.default_rng(2)
    lines = [((5020 + 4 * (i % 40), 4990 if i % 2 else 5310), 0 if i % 2 else 180, 1.5) for i in range(60)]
    columns, number, places, _ = outings.outing(rng, objects=60, lines=lines)
    assert len(number) > 1000
    _, _, truth, found = solved(columns, number, places)
    assert np.median(np.hypot(*(found.place - truth).T)) < 3.5 and np.isfinite(found.w).all()
