"""tools/run.sh tools.docs.first_hour: the tutorial's steps with exactly its values; renews the numbers in its text.

The same steps are played on the real desktop by tools/desk.sh and checked by tests/workflow/test_docs.py. Needs QGIS.
"""
from __future__ import annotations

import pathlib
import re

from .. import inside

ROOT = pathlib.Path(__file__).resolve().parents[2]
PAGE = ROOT / "docs" / "first-hour.md"

STEPS = (
    ("readlogs", {"INPUT": ["file:outing_south.gpx", "file:south_marks.gpx"]},
     {"OUTPUT": "Fixes", "WAYPOINTS": "Waypoints"}),
    ("preparetrack", {"INPUT": "Fixes", "OUTING": "south", "RANGE": 75, "RANGE_UNIT": "ft",
                      "SETTINGS": "south settings", "DEPTH": 22, "DEPTH_UNIT": "ft", "WAYPOINTS": "Waypoints",
                      "TRANSDUCER_FORWARD": -1},
     {"OUTPUT": "Track - south", "PASSES": "Passes - south"}),
    ("swathfootprint", {"INPUT": "Track - south", "WATER": "lake"}, {"OUTPUT": "Swaths - south"}),
    ("coveragegaps", {"SWATHS": "Swaths - south", "AREA": "selected:search areas", "PASSES": "Passes - south"},
     {"OUTPUT": "Gaps", "AREAS": "Areas"}),
    ("unscannedshoreline", {"SWATHS": "Swaths - south", "SHORELINE": "lake", "WATER": "lake"},
     {"OUTPUT": "Shore"}),
    ("locatetargets", {"PICKS": "Waypoints", "TRACK": "Track - south", "TIE": "boat point", "SIDE_FIELD": "name",
                       "RANGE_FIELD": "name", "RANGE_UNIT": "ft", "WATER": "lake", "MARK_DELAY": 1},
     {"OUTPUT": "Targets", "ELLIPSES": "Error ellipses", "REJECTED": "Rejected picks"}),
    ("coveragereport", {"TRACK": "Track - south", "PASSES": "Passes - south", "SWATHS": "Swaths - south",
                        "AREAS": "Areas", "GAPS": "Gaps", "SHORE": "Shore", "TARGETS": "Targets",
                        "TITLE": "Orrelmere, south bay, 22 June 2024"}, {"OUTPUT_HTML": "report"}),
)
"""(tool, parameters, names of its layers): a text that names an earlier layer, or one of the sample project, stands for
it; 'file:' for a file of the sample; 'selected:' for the features that ``SELECTED`` chooses."""
SELECTED = {"search areas": "\"name\" = 'South bay'"}


def filled(parameters, layers, sample):
    """Parameters of a step with layers and paths in the place of their names.

    Parameters
    ----------
    layers : dict
        QgsMapLayer by name.
    sample : pathlib.Path
        Folder of the sample.
    """
    from qgis.core import QgsProcessingFeatureSourceDefinition

    def one(value):
        if isinstance(value, list):
            return [one(item) for item in value]
        if not isinstance(value, str):
            return value
        kind, _, name = value.rpartition(":")
        if kind == "file":
            return str(sample / name)
        if kind == "selected":
            layers[name].selectByExpression(SELECTED[name])
            return QgsProcessingFeatureSourceDefinition(layers[name].id(), True)
        return layers[value].id() if value in layers else value
    return {name: one(value) for name, value in parameters.items()}


def run(sample):
    """Every step by processing.run; results by tool, layers by name. The sample's project is read for it."""
    import processing
    from qgis.core import QgsProcessingFeedback, QgsProject
    project = QgsProject.instance()
    if not project.read(str(sample / "athwart_sample.qgz")):
        raise SystemExit(f"{sample / 'athwart_sample.qgz'} does not open; run 'make sample' first.")
    layers = {layer.name(): layer for layer in project.mapLayers().values()}
    results = {}
    for tool, parameters, outputs in STEPS:
        wanted = {**filled(parameters, layers, sample), **dict.fromkeys(outputs, "TEMPORARY_OUTPUT")}
        results[tool] = processing.run(f"athwart:{tool}", wanted, feedback=QgsProcessingFeedback(False))
        for key, name in outputs.items():
            if key != "OUTPUT_HTML":
                layers[name] = project.addMapLayer(results[tool][key])
    return results, layers


def numbers(results, layers):
    """{what the text calls it: how it is written}; the page writes each as **number words**."""
    area = next(layers["Areas"].getFeatures())
    targets = list(layers["Targets"].getFeatures())
    radii = sorted(target["radius_m"] for target in targets)
    return {
        "fixes": f"{results['readlogs']['FIX_COUNT']}",
        "waypoints": f"{layers['Waypoints'].featureCount()}",
        "samples": f"{results['preparetrack']['SAMPLE_COUNT']}",
        "passes": f"{results['preparetrack']['PASS_COUNT']}",
        "km run": f"{results['preparetrack']['LENGTH_M'] / 1000:.1f}",
        "ha seen": f"{results['swathfootprint']['AREA_M2'] / 1e4:.1f}",
        "% seen": f"{area['covered_pct']:.0f}", "% at the low end": f"{area['low_pct']:.0f}",
        "% at the high end": f"{area['high_pct']:.0f}", "gaps": f"{results['coveragegaps']['GAP_COUNT']}",
        "m of shore not scanned": f"{results['unscannedshoreline']['UNSCANNED_M']:.0f}",
        "targets": f"{results['locatetargets']['TARGET_COUNT']}",
        "picks rejected": f"{results['locatetargets']['REJECTED_COUNT']}",
        "m in the middle": f"{radii[len(radii) // 2]:.0f}",
    }


def written(text, found):
    """The page with its bold numbers renewed; every number must stand in it exactly once."""
    for words, number in found.items():
        text, times = re.subn(rf"\*\*[\d.,]+ {re.escape(words)}\*\*", f"**{number} {words}**", text)
        if times != 1:
            raise ValueError(f"'**... {words}**' stands {times} times in {PAGE.name}; it must stand there once.")
    return text


def main():
    kept = inside.qgis(), inside.processing()
    found = numbers(*run(ROOT / "sample_project"))
    text = PAGE.read_text(encoding="utf-8")
    PAGE.write_text(written(text, found), encoding="utf-8")
    print(", ".join(f"{number} {words}" for words, number in found.items()))
    del kept
    inside.leave()


if __name__ == "__main__":
    main()
