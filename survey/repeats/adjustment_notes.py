"""What an adjustment says about itself, in sentences for the log."""
from __future__ import annotations

import numpy as np

from .adjustment import LEAST_DOF
from .solvability import WORDS

__all__ = ["notes"]


def notes(columns, looks, group, adjustment):
    """Sentences for the log: how many looks make how many objects, chi-square, offsets, blunders, doubles."""
    counts = np.bincount(group)
    said = [f"{len(looks)} looks of {len(set(looks.pass_no.tolist()))} passes make {len(counts)} objects; "
            f"{int((counts > 1).sum())} were seen more than once."]
    twice = sorted({int(g) for g in range(len(counts)) if len(set(looks.pass_no[group == g].tolist())) < counts[g]})
    if twice:
        said.append(f"Objects {_some(g + 1 for g in twice)} have several looks in one pass: their pass errors are "
                    "counted as shared.")
    said.append(_judgement(adjustment))
    for i, name in enumerate(adjustment.names):
        said.append(f"Solved: {WORDS[name]} ({name}) {adjustment.value[i]:.4g}, sigma {adjustment.sigma[i]:.2g} "
                    f"(applied before: {adjustment.unknowns.applied[i]:.4g}; sigma before: "
                    f"{adjustment.prior_sigma[i]:.2g}).")
    if len(adjustment.names) > 1:
        said += [f"Correlation of {WORDS[a]} and {WORDS[b]}: {adjustment.correlation[i, j]:+.2f}."
                 for i, a in enumerate(adjustment.names) for j, b in enumerate(adjustment.names) if i < j]
    ids = np.asarray(columns["target_id"], float)
    for k in np.flatnonzero(adjustment.blunders):
        along, across = np.nan_to_num(np.abs(adjustment.w[k]))
        what = "along the track, so its moment" if along > across else "across the track, so its range or side"
        off = abs(adjustment.residual[k, int(across >= along)])
        said.append(f"Check target {ids[k]:.0f} (object {group[k] + 1}): it disagrees with the other looks {what} is "
                    f"in doubt (w = {max(along, across):.1f}, {off:.1f} m). It was counted in all the same.")
    return said


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
