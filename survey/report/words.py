"""What a coverage report says in sentences: the survey's dates, the methods paragraph, and what is doubtful."""
from __future__ import annotations

import datetime

import numpy as np

from ..model.messages import Message
from .pages import number

__all__ = ["ALL_AT_ONCE", "between", "dates", "doubts", "methods_text", "passes_asked"]

ALL_AT_ONCE = "every edge moved at once by 1.645 standard deviations of its error"

_MONTHS = ("January", "February", "March", "April", "May", "June", "July", "August", "September", "October",
           "November", "December")
_DAY_S = 86_400
_NO_SURVEY_BEFORE = 315_532_800.0  # 1980: clocks that were never set begin in 1970
_DAYS_SPELLED = 4
_EPOCH = datetime.date(1970, 1, 1)


def between(low, high, digits=1):
    """'70.0 to 80.0 %'; an unknown end is called so, and two are one.

    Examples
    --------
    >>> from athwart.report.words import between
    >>> between(70.0, 80.0).split()
    ['70.0', 'to', '80.0', '%']
    """
    if np.isnan(low) and np.isnan(high):
        return "unknown"
    return f"{number(low, digits, '%' if np.isnan(high) else '')} to {number(high, digits, '%')}"


def passes_asked(looks):
    """'at least one pass', 'at least 2 separate passes', or that the layer does not say how many.

    Examples
    --------
    >>> from athwart.report.words import passes_asked
    >>> passes_asked(1), passes_asked(2)
    ('at least one pass', 'at least 2 separate passes')
    """
    if not looks:
        return "as many passes as were asked for (the layer does not say how many)"
    return "at least one pass" if looks == 1 else f"at least {looks} separate passes"


def dates(layers):
    """'22 June 2024, 13:05 to 16:40 UTC', several days, or ''; from the track, else the passes, else the swaths.

    Examples
    --------
    >>> from athwart.report.coverage_report import Layers
    >>> from athwart.report.words import dates
    >>> dates(Layers(None))
    ''
    """
    for layer, names in ((layers.track, ("t_s", "t_s")), (layers.passes, ("start_time", "end_time")),
                         (layers.swaths, ("start_time", "end_time"))):
        if layer is None:
            continue
        first, last = (layer.numbers(name) for name in names)
        known = (first >= _NO_SURVEY_BEFORE) & (last >= first)
        if known.any():
            return _spelled(first[known], last[known])
    return ""


def _spelled(first, last):
    days = np.unique(np.concatenate([first // _DAY_S, last // _DAY_S]))
    if len(days) > _DAYS_SPELLED:
        return f"{len(days)} days from {_date(days[0])} to {_date(days[-1])} (UTC)"
    parts = []
    for day in days:
        here = (first < (day + 1) * _DAY_S) & (last >= day * _DAY_S)
        began, ended = max(first[here].min(), day * _DAY_S), min(last[here].max(), (day + 1) * _DAY_S - 1)
        parts.append(f"{_date(day)}, {_clock(began)} to {_clock(ended)} UTC")
    return " and ".join(parts) if len(parts) < 3 else "; ".join(parts)


def _date(day):
    on = _EPOCH + datetime.timedelta(days=int(day))
    return f"{on.day} {_MONTHS[on.month - 1]} {on.year}"


def _clock(t_s):
    minute = int(t_s % _DAY_S) // 60
    return f"{minute // 60:02d}:{minute % 60:02d}"


def methods_text(layers, whole=None, density=None):
    """A paragraph that can be pasted into a report, true to what the layers say.

    Parameters
    ----------
    layers : survey.report.layers.Layers
    whole : totals.Totals, optional
        Of the areas, where they are given.
    density : totals.Density, optional
        Of the targets, where they are given with areas.

    Examples
    --------
    >>> from athwart.report.coverage_report import Layers
    >>> from athwart.report.words import methods_text
    >>> methods_text(Layers(None)).startswith("Side-scan coverage was computed from the boat's track")
    True
    """
    when = dates(layers)
    said = [f"The survey was made on {when}."] if when else []
    said.append("Side-scan coverage was computed from the boat's track, the slant range in force and the water under "
                "the transducer.")
    if layers.track is not None and len(layers.track):
        said += _of_track(layers.track)
    if layers.swaths is not None and len(layers.swaths):
        said += _of_swaths(layers.swaths)
    if whole is not None:
        said += _of_areas(whole, dict(layers.looks), layers.units)
    if layers.targets is not None and len(layers.targets):
        said += _of_targets(layers.targets, density, layers.units)
    return " ".join(said)


def _of_track(track):
    by_compass = 100 * float(np.mean(track.words("heading_source") == "compass"))
    unused = int((~np.asarray(track.columns["usable"], bool)).sum())
    return [f"Heading came from a compass for {by_compass:.0f} % of the samples and from the course over ground "
            f"otherwise; {number(unused)} of {number(len(track))} samples could not be used."]


def _of_swaths(swaths):
    models = ", ".join(f"'{model}'" for model in sorted(set(swaths.words("range_model")) - {""})) or "an unknown"
    blind = _few(swaths.numbers("blind_deg"), "degrees")
    part = swaths.numbers("range_used_pct")
    told = f", {_few(part, '%')} of the range in force counted" if np.isfinite(part).any() else ""
    return [f"{_sides(swaths)}{told}.",
            f"Ground range followed the {models} model; bottom within {blind} of the vertical was not counted as seen. "
            "Strips were never carried across a break of the record."]


def _sides(swaths):
    """Which sides of the record were used, outing by outing where they differ."""
    words = {}
    for outing, side in zip(swaths.words("outing"), swaths.words("side")):
        words.setdefault(outing, set()).update(("port", "starboard") if side == "both" else {side} - {""})
    said = {outing: _side_words(used) for outing, used in sorted(words.items())}
    if len(set(said.values())) == 1:
        only = next(iter(said.values()))
        return f"{only[0].upper()}{only[1:]}"
    return "; ".join(f"on outing {outing or 'without a name'}, {text}" for outing, text in said.items()).capitalize()


def _side_words(used):
    if not used:
        return "the sides of the record that were used are unknown"
    return "both sides of the record were used" if len(used) > 1 else f"only the {next(iter(used))} side was used"


def _few(values, unit, digits=1):
    """One value or a span, rounded, with its unit."""
    values = np.unique(np.round(values[np.isfinite(values)], digits))
    if not len(values):
        return "an unknown part" if unit == "%" else f"an unknown number of {unit}"
    shown = f"{values[0]:g}" if len(values) == 1 else f"{values[0]:g} to {values[-1]:g}"
    return f"{shown} {unit}"


def _of_areas(whole, by_looks, units):
    grade = (" in which an object of the size the map of bottom seen was made for would have shown"
             if whole.grade == "detection" else "")
    sides = " (both sides of a pass are one look)" if whole.looks > 1 else ""
    size = units.ground(whole.area_m2)
    said = [f"Of {size}, {number(whole.seen_pct, 1, '%')} was seen by {passes_asked(whole.looks)}{sides}{grade}."]
    if whole.looks != 1 and 1 in by_looks and not whole.excluded and whole.area_m2 > 0:
        said.append(f"By at least one pass {number(100 * by_looks[1] / whole.area_m2, 1, '%')} was seen.")
    bounds = between(whole.low_pct, whole.high_pct)
    if not whole.drawn:
        said.append(f"With {ALL_AT_ONCE} it would be {bounds}.")
        return said
    joined = "; the intervals of the areas were added up as if all erred together" if whole.count > 1 else ""
    said.append(f"The 95 % interval of that share is {bounds}, from seeded draws of the errors of position, heading, "
                f"latency, depth and sound speed together (JCGM 101:2008){joined}.")
    if np.isfinite(whole.expected_pct):
        said.append(f"The mean of the draws, the share to expect, is {number(whole.expected_pct, 1, '%')}.")
    said.append(f"With {ALL_AT_ONCE} it would be {between(whole.worst_pct, whole.best_pct)}.")
    return said


def _of_targets(targets, density, units):
    level = targets.numbers("confidence_pct")
    said = [f"Targets are given with error ellipses at {number(np.nanmedian(level), 0, '%')} confidence from a budget "
            "of position, timing, heading, range, depth, beam, sound speed and boat offsets."
            if np.isfinite(level).any() else "The confidence of the targets' ellipses is unknown."]
    if density is not None and np.isfinite(density.per_ha):
        what = "targets" if density.combined else "single looks, which may show one object twice,"
        said.append(f"{number(density.inside)} {what} lay on the bottom inside the areas, on "
                    f"{units.ground(density.seen_m2)} seen by at least one pass: {units.per_ground(density.per_ha)} "
                    f"{'a' if units.metric else 'an'} {units.ground_word}, 95 % interval "
                    f"{units.per_ground(density.low)} to {units.per_ground(density.high)} (Poisson, Garwood 1936).")
    return said


def doubts(layers, whole=None, density=None):
    """Sentences on what of the layers is doubtful or left out, the weightiest first.

    Parameters as in ``methods_text``.

    Examples
    --------
    >>> from athwart.report.coverage_report import Layers
    >>> from athwart.report.words import doubts
    >>> doubts(Layers(None))
    []
    """
    said = [*_other_outings(layers)]
    if whole is not None:
        said += _of_sums(layers, whole)
        if not whole.looks:
            said.append(Message("The areas do not say how many looks were asked for: run {find_gaps()} again, or see "
                                "the table of looks."))
        if not whole.drawn:
            said.append(Message("The areas were made before shares came with an interval: their low and high figures "
                                "move every edge at once, which is far wider than the error of the share. Run "
                                "{find_gaps()} again."))
    if density is not None and density.all:
        said += _of_density(density)
    for name, layer in layers.given():
        lost = int((~layer.placed()).sum())
        if lost:
            said.append(f"{number(lost)} of {number(len(layer))} rows of the {name} have no geometry: they are in the "
                        "tables, but not on the map.")
    return said


def _other_outings(layers):
    """Layers that were not made from the same outings."""
    names = {name: set(layer.words("outing")) - {""} for name, layer in layers.given()
             if name in ("track", "passes", "swaths") and len(layer)}
    if len({frozenset(found) for found in names.values()}) < 2:
        return []
    told = "; ".join(f"{name}: {', '.join(sorted(found)) or 'none named'}" for name, found in names.items())
    return [f"The layers are not of the same outings ({told}): check that they belong together."]


def _of_sums(layers, whole):
    said = []
    if whole.doubled_m2:
        lost = (" What was seen of them together is unknown: give the swaths the areas were judged with, and "
                "leave excluded ground out of the areas." if whole.partly and np.isnan(whole.seen_pct) else "")
        interval = " Their intervals do not add up: each area's own stands in the table." if whole.partly else ""
        said.append(f"Areas overlap: {layers.units.ground(whole.doubled_m2)} lies in more than one of them and is "
                    f"counted once.{interval}{lost}")
    if layers.gaps is not None and np.isfinite(whole.seen_m2):
        listed, missed = float(np.nansum(layers.gaps.numbers("area_m2"))), whole.area_m2 - whole.seen_m2
        if listed > missed + 0.001 * whole.area_m2 + 1:
            said.append(Message("The gaps add up to {listed}, yet the areas miss only {missed}: they come from "
                                "different runs. Give the gaps and the areas of one run of {find_gaps()}.",
                                listed=layers.units.area(listed), missed=layers.units.area(missed)))
    return said


def _of_density(density):
    said = []
    if density.outside or density.hanging or density.unplaced:
        left = [f"{number(count)} {words}" for count, words in (
            (density.outside, "outside the areas"), (density.hanging, "in the water column"),
            (density.unplaced, "without a place")) if count]
        said.append(f"The density counts {number(density.inside)} of {number(density.all)} targets; left out: "
                    f"{', '.join(left)}.")
    if not density.combined and density.inside > 1:
        said.append(Message("The targets are single looks: one object may be among them several times. Use {adjust()} "
                            "before a density is quoted."))
    if not np.isfinite(density.per_ha):
        said.append("No density is given: the ground seen at least once is unknown. Give the swaths, and areas of "
                    "which some was seen.")
    return said
