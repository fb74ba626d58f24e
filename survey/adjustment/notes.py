"""What an adjustment says about itself, in sentences for the log."""
from __future__ import annotations

import numpy as np

from ..model.track import side_name
from .least_squares import LEAST_DOF
from .solvability import WORDS, named

__all__ = ["boat_notes", "boat_warnings", "notes", "warnings"]


def notes(looks, group, adjustment, labels=()):
    """Sentences for the log: how many looks make how many objects, chi-square, offsets, doubles.

    ``labels``: what each boat is called, where there are several.
    """
    counts = np.bincount(group)
    said = [f"{len(looks)} looks of {len(set(looks.pass_no.tolist()))} passes make {len(counts)} objects; "
            f"{int((counts > 1).sum())} were seen more than once."]
    twice = sorted({int(g) for g in range(len(counts)) if len(set(looks.pass_no[group == g].tolist())) < counts[g]})
    if twice:
        said.append(f"Objects {_some(g + 1 for g in twice)} have several looks in one pass: their pass errors are "
                    "counted as shared.")
    if not (adjustment.dof >= LEAST_DOF and adjustment.chi2 > adjustment.chi2_high):  # then it is a warning
        said.append(_judgement(adjustment))
    for i, (name, boat) in enumerate(zip(adjustment.names, adjustment.boats)):
        said.append(f"Solved: {named((name, boat), labels)} ({name}) {adjustment.value[i]:.4g}, sigma "
                    f"{adjustment.sigma[i]:.2g} (applied before: {adjustment.unknowns.applied[i]:.4g}; sigma before: "
                    f"{adjustment.prior_sigma[i]:.2g}).")
    if len(adjustment.names) > 1:
        keys = list(zip(adjustment.names, adjustment.boats))
        said += [f"Correlation of {named(a, labels)} and {named(b, labels)}: {adjustment.correlation[i, j]:+.2f}."
                 for i, a in enumerate(keys) for j, b in enumerate(keys) if i < j and a[1] == b[1]]
    return said


def warnings(columns, looks, group, adjustment, misfits, doubt):
    """Sentences of what does not fit: misfits worst first, then what they mean for the ellipses."""
    ids = np.asarray(columns["target_id"], float)
    outing = np.asarray(columns["outing"]).astype(str)
    said, before = [], (adjustment.chi2, adjustment.dof)
    for misfit in misfits.worst_first:
        k = misfit.look
        text = (f"Target {ids[k]:.0f} (object {group[k] + 1}, outing {outing[k]}, pass {_whole(columns, k)}) does not "
                f"fit the other looks: {misfit.off:.1f} m {'across' if misfit.across else 'along'} the track, w = "
                f"{misfit.w:.1f}. Chi-square is {before[0]:.1f} with {before[1]} degrees of freedom with it and "
                f"{misfit.chi2:.1f} with {misfit.dof} without it. ")
        before = (misfit.chi2, misfit.dof)
        if misfit.swapped:
            text += (f"The most likely slip is its side: on the {side_name(-looks.side[k])} side it would fit. "
                     "Correct the side of that pick and locate it again.")
        elif misfit.others:
            text += (f"Target {', '.join(f'{ids[j]:.0f}' for j in misfit.others)} of the same object disagrees as "
                     "much: one of them is wrong, or they are two objects. Look at their records.")
        else:
            what = "range, side or object" if misfit.across else "moment or object"
            text += f"Its {what} is in doubt: look at its record."
        said.append(f"{text} It was counted in all the same.")
    if misfits.more:
        said.append(f"After these {len(misfits.worst_first)} there are more looks that do not fit: groups or standard "
                    "deviations are wrong rather than single looks.")
    if adjustment.dof >= LEAST_DOF and adjustment.chi2 > adjustment.chi2_high:
        said.append(_judgement(adjustment))
    wrong = np.flatnonzero(doubt != "")
    if len(wrong):
        shift = np.hypot(*np.nan_to_num(misfits.place - adjustment.place).T)
        most = f", by up to {shift.max():.1f} m" if shift.max() >= 0.05 else ""
        said.append(f"The ellipses of {len(wrong)} of {len(doubt)} objects do not hold while this stands{most}: "
                    f"objects {_some(wrong + 1)}. Their field doubt says why.")
    return said


def boat_warnings(agreements, boats, outings):
    """Sentences on outings that are said to share a boat, and do not agree."""
    said = []
    for test in agreements:
        if test.agrees:
            continue
        (a, b), (x, y), (s, t) = (outings[i] for i in test.outings), test.values, test.sigmas
        said.append(f"Outings {a} and {b} are said to share the boat {boats[test.boat]}, but their offsets disagree: "
                    f"{WORDS[test.name]} ({test.name}) {x:.4g}, sigma {s:.2g}, in {a} and {y:.4g}, sigma {t:.2g}, in "
                    f"{b}; chi-square {test.chi2:.1f} with {test.dof} degrees of freedom, at most {test.limit:.1f}. "
                    "They are not one boat, or something was changed between them: leave the field of boats blank, or "
                    "name two boats.")
    return said


def boat_notes(agreements, boats):
    """Sentences on outings that share a boat, and agree or cannot be tested."""
    said = []
    for test in agreements:
        if test.dof == 0:
            said.append(f"The outings of the boat {boats[test.boat]} cannot be held against each other: fewer than two "
                        "of them solve an offset alone.")
        elif test.agrees:
            said.append(f"The outings of the boat {boats[test.boat]} agree: {WORDS[test.name]} worst, chi-square "
                        f"{test.chi2:.1f} with {test.dof} degrees of freedom, at most {test.limit:.1f}.")
    return said


def _whole(columns, k):
    value = float(np.asarray(columns["pass_id"], float)[k])
    return f"{value:.0f}" if np.isfinite(value) else "unknown"


def _judgement(adjustment):
    text = f"Chi-square {adjustment.chi2:.1f} with {adjustment.dof} degrees of freedom"
    if adjustment.dof < LEAST_DOF:
        return f"{text}: under {LEAST_DOF} it is not judged."
    text += f", limits {adjustment.chi2_low:.1f} to {adjustment.chi2_high:.1f}"
    if adjustment.chi2 > adjustment.chi2_high:
        return (f"{text}: the looks disagree more than their standard deviations say. Look for blunders and wrong "
                "groups before you raise the standard deviations.")
    if adjustment.chi2 < adjustment.chi2_low:
        return f"{text}: the looks agree better than their standard deviations say; these are on the safe side."
    return f"{text}: the standard deviations fit."


def _some(numbers):
    numbers = list(numbers)
    return ", ".join(map(str, numbers[:5])) + (f" and {len(numbers) - 5} more" if len(numbers) > 5 else "")
