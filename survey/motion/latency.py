"""What a late receiver showed, read at the moment it was true."""
from __future__ import annotations

import numpy as np

from ..geometry.ground import wrapped

__all__ = ["Latency"]

_SAME_S = 1e-6


class Latency:
    """Values of a track at sonar times: the antenna at sonar time t is the track at stamp t + L.

    Parameters
    ----------
    clock_s, stretch : (n,) arrays
        Stamps, strictly rising, which are the sonar times as well; unbroken stretches.
    latency_s : float
        L, positive for a receiver that lags.

    Attributes
    ----------
    reached : (n,) bool array
        False where t + L lies past the end of the stretch: nothing is extrapolated.
    """

    def __init__(self, clock_s, stretch, latency_s):
        last = len(clock_s) - 1
        moment = clock_s + latency_s
        before = np.clip(np.searchsorted(clock_s, moment + _SAME_S, "right") - 1, 0, last)
        after = np.minimum(before + 1, last)
        exact = np.abs(moment - clock_s[before]) <= _SAME_S
        between = (moment > clock_s[before]) & (after > before) & (stretch[after] == stretch)
        self.reached = (stretch[before] == stretch) & (exact | between)
        span = np.where(after > before, clock_s[after] - clock_s[before], 1.0)
        share = np.where(exact, 0.0, (moment - clock_s[before]) / span)
        self._before, self._after, self._share = before[self.reached], after[self.reached], share[self.reached]

    def mixed(self, values):
        """Values (n,) of the stamps, interpolated at the sonar times reached."""
        values = np.asarray(values, float)
        mix = values[self._before] + self._share * (values[self._after] - values[self._before])
        return np.where(self._share == 0, values[self._before], mix)

    def mixed_lon(self, lon):
        """Longitudes (degrees) the same way, never the long way round the Earth."""
        step = wrapped(lon[self._after] - lon[self._before])
        return lon[self._before] + self._share * step
