"""Combine repeated targets, through the three doors, on invented outings whose truth is known."""
import math

import numpy as np
import outings
import pytest
from athwart.survey.model import schemas
from qgis.core import (
    NULL,
    QgsCoordinateReferenceSystem,
    QgsProcessingException,
    QgsProcessingFeedback,
    QgsProject,
    QgsVectorLayer,
)

TYPES = {"double": "double", "int": "integer", "int64": "int8", "string": "string", "datetime": "datetime",
         "bool": "bool"}
MEMORY = {"OUTPUT": "memory:", "ELLIPSES": "memory:", "OFFSETS": "memory:"}


class Heard(QgsProcessingFeedback):
    """Keeps what a tool says."""

    def __init__(self):
        super().__init__(False)
        self.said = []

    def pushInfo(self, info):
        self.said.append(info)

    def pushWarning(self, warning):
        self.said.append(f"warning: {warning}")

    def reportError(self, error, fatalError=False):
        self.said.append(error)


def plain(value):
    """A value as a layer holds it."""
    value = value.item() if hasattr(value, "item") else value
    return None if isinstance(value, float) and math.isnan(value) else value


@pytest.fixture
def targets(make_layer):
    """targets(seed, drop, change, **options): layer of located targets, object of each, true places, true offsets."""
    def call(seed=4, drop=(), change=None, **options):
        columns, number, places, offsets = outings.outing(np.random.default_rng(seed), **options)
        n = len(number)
        columns = {**columns, "target_id": np.arange(1, n + 1), "status": np.full(n, "bottom", object),
                   "label": np.array([f"obj {k}" for k in number], object), "t_s": 1.7e9 + np.arange(n),
                   **{f"pct_{c}": np.full(n, 10.0) for c in ("position", "heading", "timing", "beam", "sound",
                                                             "offsets")}}
        if change:
            change(columns, number)
        wanted = [f for f in schemas.TARGETS if f.name not in drop]
        kinds = {**{f.name: TYPES[f.kind] for f in wanted}, "photo": "string"}
        rows = [(f"POINT({columns['x'][i]} {columns['y'][i]})",
                 [plain(columns[f.name][i]) if f.name in columns else None for f in wanted] + [f"p{i}.jpg"])
                for i in range(n)]
        layer = make_layer("Point", "", kinds, rows, "targets")
        crs = QgsCoordinateReferenceSystem()
        crs.createFromProj(outings.CRS.replace(" +type=crs", ""))
        layer.setCrs(crs)
        QgsProject.instance().addMapLayer(layer)  # a model's child finds it there
        return layer, number, places, offsets
    yield call
    QgsProject.instance().clear()


def rows_of(layer):
    return [dict(zip(f.fields().names(), f.attributes())) for f in layer.getFeatures()]


def test_looks_become_objects(run, targets):
    layer, number, places, _ = targets()
    heard = Heard()
    results = run("adjusttargets", {"TARGETS": layer, "GROUP_FIELD": "label", **MEMORY}, heard)
    output, ellipses, offsets = (results[k] for k in ("OUTPUT", "ELLIPSES", "OFFSETS"))
    assert output.fields().names() == [*schemas.names(schemas.COMBINED), "photo"]
    assert ellipses.fields().names() == schemas.names(schemas.ELLIPSES)
    assert offsets.featureCount() == 0 and offsets.fields().names() == schemas.names(schemas.OFFSETS)
    rows, found = rows_of(output), list(output.getFeatures())
    assert results["TARGET_COUNT"] == len(rows) == len(set(number.tolist()))
    assert results["DOF"] == 2 * (len(number) - len(rows))
    assert results["CHI2_LOW"] < results["DOF"] < results["CHI2_HIGH"]
    for row, feature, outline in zip(rows, found, ellipses.getFeatures()):
        k = int(row["label"].split()[1])
        point = feature.geometry().asPoint()
        off = np.array([point.x(), point.y()]) - places[k]
        cov = np.array([[row["sigma_east_m"] ** 2, row["cov_en_m2"]], [row["cov_en_m2"], row["sigma_north_m"] ** 2]])
        assert off @ np.linalg.inv(cov) @ off < 20
        assert row["looks"] == (number == k).sum() and row["confidence_pct"] == 95
        assert sum(row[f"pct_{c}"] for c in ("position", "heading", "range", "depth", "timing", "beam", "sound",
                                             "offsets")) == pytest.approx(100)
        assert row["main_cause"] == "position" and row["status"] == "bottom"
        assert outline.geometry().contains(feature.geometry())
        area = math.pi * row["semi_major_m"] * row["semi_minor_m"]
        assert outline.geometry().area() == pytest.approx(area, rel=0.002)
        if row["looks"] > 1:
            assert row["pass_id"] == NULL and row["slant_m"] == NULL and row["own_ee_m2"] == NULL
        assert row["outing"] == "day" and row["photo"].startswith("p")
        assert not any(isinstance(v, float) and math.isnan(v) for v in row.values())
    text = "\n".join(heard.said)
    assert "looks of" in text and "Chi-square" in text and "not for navigation" in text


def test_the_gate_finds_the_same_objects(run, targets):
    """Objects 40 m apart: the gate does what the names do."""
    def spread(columns, number):
        shift = np.column_stack([80.0 * (number % 4), 80.0 * (number // 4)])
        columns["x"] = columns["x"] + shift[:, 0]
        columns["y"] = columns["y"] + shift[:, 1]
    layer, number, _, _ = targets(change=spread)
    named = run("adjusttargets", {"TARGETS": layer, "GROUP_FIELD": "label", **MEMORY})
    gated = run("adjusttargets", {"TARGETS": layer, **MEMORY})
    assert gated["TARGET_COUNT"] == named["TARGET_COUNT"] and gated["CHI2"] == pytest.approx(named["CHI2"])


def test_offsets_are_solved_or_refused_by_name(run, targets):
    layer, _, _, true = targets(seed=2, objects=20)
    heard = Heard()
    results = run("adjusttargets", {"TARGETS": layer, "GROUP_FIELD": "label", **MEMORY,
                                    "SOLVE": ["latency", "beam azimuth", "lever arm forward"]}, heard)
    rows = {row["name"]: row for row in rows_of(results["OFFSETS"])}
    assert set(rows) == {"latency_s", "mount_deg"}
    for name, row in rows.items():
        assert abs(row["value"] - true[name]) < 4 * row["sigma"] and row["sigma"] < row["prior_sigma"]
        assert row["applied"] == 0
    assert rows["latency_s"]["correlations"].startswith("mount_deg ")
    said = "\n".join(heard.said)
    assert "warning: Not solved. Lever arm forward" in said and "Solved: latency (latency_s)" in said


def test_a_blunder_is_named_and_kept(run, targets):
    def spoil(columns, number):
        crowd = np.bincount(number)[number] >= 4
        columns["y"][int(np.flatnonzero(crowd)[0])] += 25.0
    layer, number, _, _ = targets(change=spoil)
    heard = Heard()
    results = run("adjusttargets", {"TARGETS": layer, "GROUP_FIELD": "label", **MEMORY}, heard)
    assert any("does not fit the other looks" in line for line in heard.said)
    assert max(row["blunders"] for row in rows_of(results["OUTPUT"])) >= 1
    assert sum(row["looks"] for row in rows_of(results["OUTPUT"])) == len(number)
    assert results["CHI2"] > results["CHI2_HIGH"]


def test_a_swapped_side_is_named_first_and_alone(run, targets):
    """One look of an object seen often is laid off on the wrong side of its track: it drags the others along, but it is
    the only one that is named, with what would mend it; mended, the same looks do not warn."""
    def swap(columns, number):
        crowd = np.bincount(number)[number] >= 4
        k = spoilt.append(int(np.flatnonzero(crowd)[2])) or spoilt[-1]
        away = outings.unit(columns["heading_deg"][k] + 90)
        side = 1 if columns["side"][k] == "starboard" else -1
        columns["x"][k] -= 2 * side * columns["ground_m"][k] * away[0]
        columns["y"][k] -= 2 * side * columns["ground_m"][k] * away[1]
        columns["side"][k] = "port" if side > 0 else "starboard"
        truth.append("starboard" if side > 0 else "port")
    spoilt, truth = [], []
    layer, number, _, _ = targets(change=swap)
    heard = Heard()
    results = run("adjusttargets", {"TARGETS": layer, "GROUP_FIELD": "label", **MEMORY}, heard)
    named = [line for line in heard.said if "does not fit the other looks" in line]
    assert len(named) == 1 and named[0].startswith(f"warning: Target {spoilt[0] + 1} (")
    assert f"on the {truth[0]} side it would fit" in named[0] and "without it" in named[0]
    rows = rows_of(results["OUTPUT"])
    assert sum(row["blunders"] for row in rows) > 1  # what the reader had to sort out before
    hit = next(row for row in rows if row["label"] == f"obj {number[spoilt[0]]}")
    assert "does not fit" in hit["doubt"]
    assert {f["target_id"]: f["doubt"] for f in results["ELLIPSES"].getFeatures()} == {
        row["target_id"]: row["doubt"] for row in rows}
    assert any("ellipses of" in line and "do not hold" in line for line in heard.said if line.startswith("warning"))
    # mended, nothing is in doubt
    clean = {r["label"]: r for r in rows_of(run("adjusttargets", {
        "TARGETS": targets()[0], "GROUP_FIELD": "label", **MEMORY})["OUTPUT"])}
    assert all(not r["doubt"] for r in clean.values())


def test_a_fish_is_joined_to_nothing_and_named_where_a_name_joins_it(run, targets):
    def fish(columns, number):
        columns["status"][int(np.flatnonzero(np.bincount(number)[number] >= 4)[0])] = "water column"
    layer, number, _, _ = targets(change=fish)
    heard = Heard()
    rows = rows_of(run("adjusttargets", {"TARGETS": layer, "GROUP_FIELD": "label", **MEMORY}, heard)["OUTPUT"])
    assert [row["doubt"] for row in rows if row["doubt"]] == ["1 of its looks hangs in the water column"]
    assert any(line.startswith("warning: 1 targets hang in the water column") for line in heard.said)
    gated = rows_of(run("adjusttargets", {"TARGETS": layer, **MEMORY})["OUTPUT"])
    assert [row["looks"] for row in gated if row["status"] == "water column"] == [1]
    assert all(not row["doubt"] or "water" not in row["doubt"] for row in gated)


def two_outings(first, second, seed=8):
    """Change of a layer: the second half of the passes becomes another outing over the same objects."""
    rng = np.random.default_rng(seed)
    places = np.column_stack([rng.uniform(5020, 5180, 16), rng.uniform(5020, 5240, 16)])
    depths = rng.uniform(5, 12, 16)
    found = []
    for name, offsets in (("A", first), ("B", second)):
        for pass_id, (start, heading, speed) in enumerate(outings.LINES, 1):
            found += [(number, {**row, "outing": name, "pass_id": pass_id}) for number, row in outings.run_pass(
                rng, places, np.array(start, float), heading, 330, speed, 38, depths, offsets)]
    columns = {key: np.array([row[key] for _, row in found]) for key in found[0][1]}
    return columns, np.array([number for number, _ in found]), places, None


def of_two_boats(monkeypatch, targets, make, second=1.58):
    nothing = {**dict.fromkeys(outings.SIX, 0.0), "bias": np.zeros(2), "depth_offset_m": 0.0}
    made = two_outings({**nothing, "latency_s": -0.15}, {**nothing, "latency_s": second})
    monkeypatch.setattr(outings, "outing", lambda *_, **__: made)

    def boat(columns, number):
        columns["label"] = np.array([f"obj {k}" for k in number], object)
    return targets(change=boat)[0]


def test_two_boats_get_an_offset_each(run, targets, monkeypatch):
    layer = of_two_boats(monkeypatch, targets, run)
    heard = Heard()
    rows = rows_of(run("adjusttargets", {"TARGETS": layer, "GROUP_FIELD": "label", "SOLVE": ["latency"], **MEMORY},
                       heard)["OFFSETS"])
    assert [(row["name"], row["boat"], row["outings"]) for row in rows] == [("latency_s", "A", "A"),
                                                                           ("latency_s", "B", "B")]
    for row, true in zip(rows, (-0.15, 1.58)):
        assert abs(row["value"] - true) < 3 * row["sigma"] and row["sigma"] < 0.3
    assert any(line.startswith("Solved: latency of B (latency_s)") for line in heard.said)
    assert not any("share the boat" in line for line in heard.said)


@pytest.mark.parametrize("second, agrees", [(1.58, False), (-0.15, True)])
def test_outings_that_share_a_boat_are_tested_to_agree(run, targets, monkeypatch, second, agrees):
    layer = of_two_boats(monkeypatch, targets, run, second)
    layer.startEditing()
    from qgis.core import QgsField
    from qgis.PyQt.QtCore import QVariant
    layer.addAttribute(QgsField("hull", QVariant.String))
    at = layer.fields().indexOf("hull")
    for feature in layer.getFeatures():
        layer.changeAttributeValue(feature.id(), at, "Lund")
    layer.commitChanges()
    heard = Heard()
    rows = rows_of(run("adjusttargets", {"TARGETS": layer, "GROUP_FIELD": "label", "SOLVE": ["latency"],
                                         "BOAT_FIELD": "hull", **MEMORY}, heard)["OFFSETS"])
    assert [(row["boat"], row["outings"]) for row in rows] == [("Lund", "A; B")]
    said = [line for line in heard.said if "Lund" in line and "chi-square" in line]
    assert len(said) == 1 and said[0].startswith("warning: Outings A and B") != agrees
    if agrees:
        assert abs(rows[0]["value"] + 0.15) < 3 * rows[0]["sigma"]


def test_side_unsure_and_water_column_keep_their_names(run, targets):
    def vague(columns, number):
        columns["status"][:] = np.where(number == number[0], "side unsure", columns["status"])
        columns["status"][:] = np.where(number == number[1], "water column", columns["status"])
        k = np.isin(number, [number[0], number[1]])
        for name in ("dg_dscale_m", "dg_ddepth"):
            columns[name] = np.where(k, 0.0, columns[name])
        columns["own_ee_m2"] = np.where(k, 80.0, columns["own_ee_m2"])
    layer, number, _, _ = targets(change=vague)
    results = run("adjusttargets", {"TARGETS": layer, "GROUP_FIELD": "label", **MEMORY})
    status = {row["label"]: row["status"] for row in rows_of(results["OUTPUT"])}
    assert status[f"obj {number[0]}"] == "side unsure" and status[f"obj {number[1]}"] == "water column"


def test_what_is_combined_is_not_combined_again(run, targets):
    once = run("adjusttargets", {"TARGETS": targets()[0], "GROUP_FIELD": "label", **MEMORY})["OUTPUT"]
    with pytest.raises(QgsProcessingException, match="combined already"):
        run("adjusttargets", {"TARGETS": once, **MEMORY})


REFUSED = [({"CONFIDENCE": 5}, "10 and 99.99|CONFIDENCE|confidence"), ({"GATE": 100}, "GATE"),
           ({"SOLVE": ["lateness"]}, "SOLVE")]


@pytest.mark.parametrize("values, words", REFUSED)
def test_refusals_stand_at_every_door(run, run_as_child, targets, values, words):
    given = {"TARGETS": targets()[0], **MEMORY, **values}
    with pytest.raises(QgsProcessingException, match=words):
        run("adjusttargets", given)
    with pytest.raises(QgsProcessingException, match=words):
        run_as_child("adjusttargets", {**values, "TARGETS": given["TARGETS"].id()})


@pytest.mark.parametrize("drop", [("own_ee_m2",), ("target_id",), ("sig_trim_deg", "turn_dps")])
def test_layers_that_are_no_targets_are_refused_by_the_missing_fields(run, targets, drop):
    with pytest.raises(QgsProcessingException, match=f"{drop[0]}.*Locate targets"):
        run("adjusttargets", {"TARGETS": targets(drop=drop)[0], **MEMORY})


def test_as_a_models_child(run_as_child, targets):
    layer, number, _, _ = targets()
    results, made = run_as_child("adjusttargets", {"TARGETS": layer.id(), "GROUP_FIELD": "label"})
    assert made.featureCount() == len(set(number.tolist()))


def test_from_the_command_line(qgis_process, run, targets, tmp_path):
    import processing
    layer, number, _, _ = targets()
    path = str(tmp_path / "targets.gpkg")
    processing.run("native:savefeatures", {"INPUT": layer, "OUTPUT": path})
    code, results, errors = qgis_process("adjusttargets", {
        "TARGETS": path, "GROUP_FIELD": "label", "SOLVE": "latency,beam azimuth",
        "OUTPUT": str(tmp_path / "out.gpkg"), "OFFSETS": str(tmp_path / "offsets.gpkg")})
    assert code == 0, errors
    assert results["TARGET_COUNT"] == len(set(number.tolist()))
    assert QgsVectorLayer(results["OUTPUT"], "o", "ogr").featureCount() == results["TARGET_COUNT"]
    assert QgsVectorLayer(results["OFFSETS"], "o", "ogr").featureCount() == 2
    code, _, errors = qgis_process("adjusttargets", {"TARGETS": path, "GATE": 20, "OUTPUT": str(tmp_path / "no.gpkg")})
    assert code != 0 and "GATE" in errors
