"""Picks right under the boat and in the water column go the whole way, and are called what they are at every step."""
import pathlib

import gpxpy
import numpy as np
import tracks
from athwart.survey.geometry.frame import Frame

STATUS = {"fish": "water column", "under": "side unsure", "close": "near nadir", "plain": "bottom"}


def test_from_the_pick_to_the_plotter(run, make_layer, tmp_path):
    """Water 10 m deep: 5 m away hangs in it, 9.6 m without a side is under the boat, 11 m is close, 25 m is plain; seen
    twice each. The gate joins no fish."""
    crs = "EPSG:32615"
    frame = Frame(crs, -93.0, 45.0)
    north = np.concatenate([1.5 * np.arange(81), 120 - 1.5 * np.arange(81)])
    x, y = frame.inverse(np.zeros(162), north)
    track = tracks.made(crs, x, y, np.repeat([0.0, 180.0], 81), pass_id=np.repeat([1, 2], 81), depth_m=10.0,
                        sample_id=np.arange(162) + np.repeat([0, 5], 81), range_m=40.0,
                        t_s=1.7e9 + np.concatenate([np.arange(81), 200 + np.arange(81)]))
    layer = make_layer("Point", crs, *tracks.as_rows(track), "track")
    rows = [(None, [1.7e9 + t, side, slant, label])
            for label, slant, at in (("fish", 5.0, 20), ("under", 9.6, 30), ("close", 11.0, 40), ("plain", 25.0, 50))
            for t, side in ((at, "starboard"), (280 - at, "port"))]
    rows = [(place, [t, "" if label == "under" else side, slant, label]) for place, (t, side, slant, label) in rows]
    picks = make_layer("None", "", {"t_s": "double", "side": "string", "slant": "double", "what": "string"}, rows)
    targets = run("locatetargets", {"PICKS": picks, "TRACK": layer, "SIDE_FIELD": "side", "RANGE_FIELD": "slant",
                                    "RANGE_UNIT": "m", "LABEL_FIELD": "what", "OUTPUT": "memory:"})["OUTPUT"]
    assert [f["status"] for f in targets.getFeatures()] == [STATUS[f["label"]] for f in targets.getFeatures()]
    for group in ({"GROUP_FIELD": "label"}, {}):
        combined = run("adjusttargets", {"TARGETS": targets, **group, "SOLVE": ["latency", "beam azimuth"],
                                         "OUTPUT": "memory:", "OFFSETS": "memory:"})["OUTPUT"]
        found = {f["label"]: f for f in combined.getFeatures()}
        assert {label: f["status"] for label, f in found.items()} == STATUS
        assert sorted(f["looks"] for f in combined.getFeatures()) == ([2] * 4 if group else [1, 1, 2, 2, 2])
    assert found["close"]["radius_m"] < found["under"]["radius_m"]
    card, gpx = str(tmp_path / "card.html"), str(tmp_path / "out.gpx")
    casts = run("castplan", {"TARGETS": combined, "STAND_OFF": 15, "WIND_FROM": 200, "OUTPUT": "memory:",
                             "WATER_COLUMN": True, "OUTPUT_HTML": card})["OUTPUT"]
    assert {f["label"]: f["status"] for f in casts.getFeatures()} == STATUS
    html = pathlib.Path(card).read_text(encoding="utf-8")
    for words in ("Water column: ", "Side unsure: ", "Near nadir: "):
        assert html.count(words) == 1 + (words[0] == "W"), words
    run("exportgpx", {"WAYPOINTS": combined, "OUTPUT": gpx})
    with open(gpx, encoding="utf-8") as file:
        told = {w.name: w.description for w in gpxpy.parse(file).waypoints}
    assert all((STATUS[name.rstrip("2")] in words) == (name != "plain") for name, words in told.items())
    assert all("95 % within" in words for words in told.values())
