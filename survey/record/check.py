"""Does a picture of the record belong where it was said to? Bottom marks on it against the depths of the track.

The edge of the dark band is the depth under the boat. So the marks of one picture draw the same profile as the track,
moved in time, drawn out, and scaled, if rows or range were told wrongly. With x the mark's share of the range at the
edge, y the track's depth over its range, and t' = middle + shift + rate (t - middle), the fit is

    scale x = y(t'),   least squares over shift, rate and scale.

How well that can be told is the business of the bottom: the inverse of the normal matrix is the Cramer-Rao bound,
and on a level bottom, where dy/dt' is nothing, there is none. A search over the whole track finds the profile
wherever it is, and the other way round; against chance stand 99 fits to the same marks with their depths dealt out
anew (a permutation test, Fisher 1935) and the law that such least misfits follow (Gumbel 1958).
"""
from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np

from ..model.errors import InputError
from ..model.messages import Message
from .bottom_profile import MarkedBottom, Profile
from .checked import Checked, told_of
from .profile_fit import Fit, better_than_chance

if TYPE_CHECKING:
    from numpy.typing import ArrayLike

    from ..model.track import Track
    from .picture import Record

__all__ = ["LEAST_MARKS", "CheckSettings", "Checked", "check_record"]

LEAST_MARKS = 6

_TURNED = 4.6
"""Minus twice the logarithm of how often a picture is told upside down, one in ten; judgement, only to choose between
what fits alike."""


@dataclass(frozen=True)
class CheckSettings:
    """``sigma_m``: standard deviation of a mark's depth against the track's (m); the fit's own scatter, where that is
    larger, takes its place in the results.

    Examples
    --------
    >>> import athwart
    >>> athwart.CheckSettings().sigma_m
    0.2
    """

    sigma_m: float = 0.2

    def __post_init__(self) -> None:
        if not (math.isfinite(self.sigma_m) and self.sigma_m > 0):
            raise InputError(Message("{sigma_m} is {given:g}; give a length above 0, such as 0.2.",
                                     given=self.sigma_m))


def check_record(record: Record, column: ArrayLike, row: ArrayLike, track: Track,
                 settings: CheckSettings = None) -> Checked:
    """Check a picture's rows and range against the track.

    Parameters
    ----------
    record : Record
        As the picture was said to show the record.
    column, row : (n,) arrays
        Pixels of marks on the bottom line.
    track : Track
        With depths of a sounder.
    settings : CheckSettings, optional

    Returns
    -------
    Checked

    Raises
    ------
    InputError
        With too few marks, over a level bottom, and where nothing on the track fits.

    Examples
    --------
    >>> import numpy as np
    >>> import athwart
    >>> away, t = np.arange(0.0, 402.0, 2.0), np.arange(0.0, 201.0)
    >>> depth = 6 + np.sin(t / 17) + 0.02 * t
    >>> fixes = athwart.Fixes("EPSG:32619", 500000 + 0 * away, 4500000 + away, t_s=1e9 + t, depth_m=depth)
    >>> track = athwart.prepare(fixes, athwart.TrackSettings(range_m=30.0)).track
    >>> record = athwart.Record(600, 101, newest="bottom", first_s=1e9 + 50, last_s=1e9 + 150)
    >>> row = np.arange(0.5, 101, 10)  # drawn eight seconds too late
    >>> found = athwart.check_record(record, 300 + 10 * np.interp(row - 0.5 + 42, t, depth), row, track)
    >>> found.status, round(found.shift), round(found.rate, 2), round(found.scale, 2)
    ('shifted', -8, 1.0, 1.0)
    """
    settings = settings or CheckSettings()
    column, row = np.asarray(column, float), np.asarray(row, float)
    _, share = record.across(column)
    profile = Profile(record, track)
    told = MarkedBottom(record, row, share, profile, track)
    if told.count_of_marks < LEAST_MARKS:
        raise InputError(f"{told.count_of_marks} bottom marks lie on the picture; it takes {LEAST_MARKS} to find "
                         "shift, rate and scale, better 15, spread over all of it.", field="marks")
    told.refuse_level(settings.sigma_m)
    other = replace(record, newest="top" if record.newest == "bottom" else "bottom")
    turned = MarkedBottom(other, row, share, profile, track)
    fits = [(fit, upside_down) for one, upside_down in ((told, False), (turned, True))
            for fit in Fit.places(one, profile, settings.sigma_m)]
    if not fits:
        raise InputError("Nowhere on the track does its depth run like the marks, nor the other way round. Check that "
                         "picture and track are of the same outing, and that the marks stand on the bottom line.",
                         field="marks")
    least = min((fit for fit, _ in fits), key=lambda fit: fit.rss)
    good = sorted(((fit, upside_down) for fit, upside_down in fits if fit.as_good_as(least)),
                  key=lambda one: one[0].unlikely(least) + _TURNED * one[1])
    beaten: dict[bool, bool] = {}
    for best, upside_down in good:
        if best.explains() and upside_down not in beaten:
            beaten[upside_down] = better_than_chance(best)
        if best.explains() and beaten[upside_down]:
            break
    else:
        raise InputError("The marks fit the track no better than the same depths in any other order would: nothing can "
                         "be said. Check that picture and track are of the same outing, and mark more of the bottom.",
                         field="marks")
    others = [one for one in good if one[0] is not best]
    return told_of(record, turned.record if upside_down else record, best, upside_down, others,
                   settings.sigma_m)
