"""What the log says about located targets: how each pick was tied, with which errors, and what to be wary of."""
from __future__ import annotations

from dataclasses import asdict

import numpy as np

from ..model.messages import Message

__all__ = ["notes_of"]

_SHOWN, _MANY = 5, 20

_UNITS = {"heading": "degrees", "time": "s", "hand_time": "s", "latency": "s", "mount": "degrees", "trim": "degrees",
          "sound_speed": "m/s", "beam_width": "degrees"}

_STATUS_WORDS = {
    "near nadir": "so steep that the ground range is an interval; the place is the mean of what it can be on its side",
    "side unsure": "perhaps right under the boat and without a side; the place is on the track",
    "water column": "nearer than the bottom and anything that stands on it, so hanging in the water; the ellipse "
                    "covers every angle",
    "ambiguous": "the beam meets the bed more than once at this range; the ellipse weighs every meeting",
    "off grid": "the depth grid has no value there; the bottom was taken as flat",
}


def notes_of(picks, ties, columns, source, bent, beyond, sigmas, settings):
    """Sentences for the log.

    Parameters
    ----------
    picks, ties : survey.targets.picks.Picks, survey.targets.match.Matches
    columns : dict
        Of the targets that have a place.
    source : (n,) int array
        Index of each target's pick.
    bent : (n,) bool array
        Targets whose heading is too uncertain for an ellipse.
    beyond : (n,) array, m
        How far each place lies behind the first shore.
    sigmas : survey.uncertainty.sigmas.Sigmas
    settings : survey.targets.locate.Settings

    Returns
    -------
    notes, warnings : lists of str
    """
    ids = picks.source_id[source]
    notes = [f"Tied by {by}: picks {_listed(picks.source_id[ties.tied_by == by])}."
             for by in dict.fromkeys(ties.tied_by[ties.tied_by != ""].tolist())]
    notes += _on_errors(columns, sigmas, settings)
    warnings = [f"{status.capitalize()} ({words}): picks {_listed(ids[columns['status'] == status], _MANY)}."
                for status, words in _STATUS_WORDS.items() if (columns["status"] == status).any()]
    unmet = (columns["range_model"] != settings.range_model) & (columns["status"] != "off grid")
    if unmet.any():
        warnings.append("No bottom of the depth grid lies at this range; it was taken as flat: picks "
                        f"{_listed(ids[unmet], _MANY)}.")
    least = columns["height_at_least"]
    if least.any():
        warnings.append("The shadow runs off the record, so the height is at least what is given: picks "
                        f"{_listed(ids[least], _MANY)}. A longer range, or a pass farther off, would show its end.")
    if bent.any():
        warnings.append("Heading so uncertain that the true error region is a crescent and the ellipse too small: "
                        f"picks {_listed(ids[bent], _MANY)}. A compass, or longer straight passes, would help.")
    if (beyond > 0).any():
        worst = np.argsort(-beyond)[:_SHOWN]
        warnings.append(Message("Behind the shore of {water}, though their error lets them lie in the water: picks ")
                        + ", ".join(f"{ids[i]} ({beyond[i]:.1f} m)" for i in worst if beyond[i] > 0) + ".")
    return notes, warnings


def _on_errors(columns, sigmas, settings):
    if not len(columns["t_s"]):
        return []
    stated = {name for name, value in (settings.stated or {}).items() if value is not None}
    causes = {name.replace("sigma_", ""): value for name, value in asdict(sigmas).items()}
    listed = ", ".join(f"{name.replace('_', ' ')} {value:g} {_UNITS.get(name, 'm')}"
                       for name, value in causes.items() if name not in ("bias", "pass", "jitter", "heading"))
    bias, drift, heading = (_span(columns[name]) for name in ("sig_bias_m", "sig_pass_m", "sig_heading_deg"))
    of_track = "as given" if stated & {"sigma_bias", "sigma_pass", "sigma_jitter"} else "from the track's own sigma"
    notes = [f"Errors ({settings.errors}; one standard deviation; a judgement, replace what you have measured): "
             f"{listed}; position, each axis, bias {bias} m and drift {drift} m {of_track}; heading {heading} degrees."]
    ratio = columns["range_ratio"]
    if np.nanmax(np.abs(ratio - 1), initial=0.0) > 0:
        notes.append(f"Displayed ranges, shadows and own depths were multiplied by {_span(ratio)} (sound speed).")
    else:
        notes.append(Message("Ranges are as displayed. In fresh water of 5 to 25 degrees C they may be up to 5 % too "
                             "long: give {prepare(assumed_mps)} and {prepare(temperature_c)} to {prepare()} to correct "
                             "them."))
    causes, counts = np.unique(columns["main_cause"].astype(str), return_counts=True)
    notes.append("Largest cause of error: " + ", ".join(
        f"{causes[i]} ({counts[i]})" for i in np.argsort(-counts)) + ".")
    return notes


def _span(values):
    low, high = np.nanmin(values), np.nanmax(values)
    return f"{low:.4g}" if np.isclose(low, high) else f"{low:.4g} to {high:.4g}"


def _listed(ids, most=None):
    """Ids in their order, runs of whole numbers as 3-7; after ``most`` entries the rest is counted."""
    parts = []
    for text in map(str, ids):
        last = parts[-1] if parts else None
        if last and text.isdigit() and last[1].isdigit() and int(text) == int(last[1]) + 1:
            last[1] = text
        else:
            parts.append([text, text])
    shown = ", ".join(first if first == last else f"{first}-{last}" for first, last in parts[:most])
    return shown if len(parts) <= (most or len(parts)) else f"{shown} and more ({len(ids)} in all)"
