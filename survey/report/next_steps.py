"""What to do next: gaps to run, targets to look at again, what to improve first."""
from __future__ import annotations

import numpy as np

from .layer_tables import NADIR, POOR_PCT
from .pages import number

__all__ = ["next_steps"]

_NAMED = 12

_AGAIN = {"side unsure": "it may lie on either side", "near nadir": "seen almost under the boat",
          "ambiguous": "the bottom meets the beam more than once there", "off grid": "placed as on a flat bottom",
          "water column": "it hung in the water when seen"}
"""Why a target is worth another look, by its status."""

_IMPROVE = {
    "position": "a better position: more satellites or corrections, or more passes over the same ground",
    "heading": "the heading: a compass, or straight lines in calm water",
    "range": "reading the record: pick at a shorter range setting",
    "depth": "the depth: a depth grid of the lake, or the depth read beside each pick",
    "timing": "the times: read them to the second, and determine the latency from passes in both directions",
    "beam": "the distance: pass nearer, where the beam is narrower along the track",
    "sound": "the speed of sound: measure the water's temperature",
    "offsets": "the boat's own measures: where antenna and transducer sit, and how the transducer points"}
"""What helps against the largest share of a target's error, by its name."""


def next_steps(layers):
    """Sentences, the weightiest first; none where nothing is left to do or nothing is known.

    Parameters
    ----------
    layers : survey.report.layers.Layers

    Examples
    --------
    >>> from athwart.report.coverage_report import Layers
    >>> from athwart.report.next_steps import next_steps
    >>> next_steps(Layers(None))
    []
    """
    said = []
    if layers.gaps is not None and len(layers.gaps):
        said += _of_gaps(layers.gaps, layers.units)
    if layers.shore is not None:
        missed = float(np.nansum(layers.shore.numbers("length_m")[layers.shore.words("status") == "unscanned"]))
        if missed > 0:
            said.append(f"Shore to run: {layers.units.length(missed)} has not been scanned.")
    if layers.targets is not None and len(layers.targets):
        said += _of_targets(layers.targets)
    if layers.passes is not None and len(layers.passes):
        fast = int((layers.passes.numbers("too_fast_pct") > POOR_PCT).sum())
        if fast:
            said.append(f"Slow down: {number(fast)} of {number(len(layers.passes))} passes were too fast in over "
                        f"{POOR_PCT:.0f} % of their length.")
    return said


def _of_gaps(gaps, units):
    kind, size = gaps.words("kind"), np.nan_to_num(gaps.numbers("area_m2"))
    sure, names = np.asarray(gaps.columns["certain"], bool), gaps.numbers("gap_id")
    under, said = kind == NADIR, []
    run = np.flatnonzero(~under & sure)
    run = run[np.argsort(-size[run], kind="stable")]
    if len(run):
        largest = _few(number(names[i]) for i in run)
        said.append(f"{number(len(run))} gap{'s' if len(run) > 1 else ''} to run, {units.area(size[run].sum())} "
                    f"together, largest first: {largest}.")
    maybe = int((~under & ~sure).sum())
    if maybe:
        said.append(f"{number(maybe)} more may be closed: the error of the positions decides. Run "
                    f"{'them' if maybe > 1 else 'it'} if every patch counts.")
    if under.any():
        said.append(f"{number(int(under.sum()))} strip{'s' if under.sum() > 1 else ''} under the boat, "
                    f"{units.area(size[under].sum())} together: passes beside the old ones close them.")
    return said


def _of_targets(targets):
    status, label, names = targets.words("status"), targets.words("label"), targets.numbers("target_id")
    said = []
    again = [i for i, word in enumerate(status) if word in _AGAIN]
    if again:
        told = _few(f"{number(names[i], missing='')} {label[i]} ({_AGAIN[status[i]]})".strip() for i in again)
        said.append(f"{number(len(again))} target{'s' if len(again) > 1 else ''} to look at again: {told}.")
    causes = targets.words("main_cause")
    known, counts = np.unique(causes[causes != ""].astype(str), return_counts=True)
    if len(known):
        first = counts.argmax()
        said.append(f"To improve first: {_IMPROVE.get(known[first], known[first])}. It is the largest part of the "
                    f"error of {number(int(counts[first]))} of {number(len(targets))} targets.")
    return said


def _few(names):
    names = list(names)
    return ", ".join(names[:_NAMED]) + (f" and {len(names) - _NAMED} more" if len(names) > _NAMED else "")
