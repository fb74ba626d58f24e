"""Survey frame: a local transverse Mercator in which lake-scale geometry is plane.

A frame is centred on the samples it serves, has scale 1 on its axis and keeps the ellipsoid of the layer's own CRS,
so no datum shift and no projection scale (UTM: up to 1 part in 2500) enters a range laid off from the boat.
The scale error grows as x^2 / (2 R^2); ``MAX_OFF_AXIS_M`` keeps it under 1e-5, 1 mm in 100 m.
"""
from __future__ import annotations

import math

import numpy as np
from pyproj import CRS, Geod, Proj, Transformer

from ..model.errors import InputError
from .projthreads import keep_context

__all__ = ["Frame", "MAX_OFF_AXIS_M", "carried", "frames_for", "horizontal_crs"]

MAX_OFF_AXIS_M = 28_000.0
"""Distance from the axis (m) at which transverse Mercator's scale error reaches 1e-5 (28^2 / (2 * 6371^2))."""

DENSIFY_TOLERANCE_M = 0.01

_STEP_DEG = 0.001

MAX_STRAY_M = 1e6
"""An edge that strays more than this (m) when carried over has been torn apart by the other crs, not bent."""


def horizontal_crs(crs):
    """The horizontal part of a CRS, as ``pyproj.CRS``.

    Parameters
    ----------
    crs : pyproj.CRS or str
        Anything pyproj reads: WKT, "EPSG:4326", a CRS. Compound and bound CRSs are reduced to their horizontal source.

    Raises
    ------
    InputError
        If the CRS is not tied to an ellipsoid (local engineering grids).

    Examples
    --------
    >>> from athwart.geometry.frame import horizontal_crs
    >>> horizontal_crs("EPSG:4979").name, horizontal_crs("EPSG:32619").to_epsg()
    ('WGS 84', 32619)
    """
    try:
        crs = CRS.from_user_input(crs)
        while crs.is_compound or crs.is_bound:
            crs = crs.sub_crs_list[0] if crs.is_compound else crs.source_crs
        if not (crs.is_geographic or crs.is_projected) or crs.ellipsoid is None:
            raise InputError(f"The coordinate system '{crs.name}' is not tied to the Earth; give the layer a real one.")
    finally:
        keep_context()
    return crs


class Frame:
    """Transverse Mercator centred on a point, scale 1, on the ellipsoid of ``crs``.

    Parameters
    ----------
    crs : pyproj.CRS or str
        CRS of the coordinates that go in and come out.
    lon0, lat0 : float
        Centre, degrees, in the geodetic CRS of ``crs``.

    Notes
    -----
    x is grid east, y grid north, metres. ``grid azimuth = true azimuth - convergence``. ``half_turn`` is 180 degrees in
    crs units where the crs is geographic, else None; ``radius_m`` the Gaussian radius of curvature at the centre.
    """

    def __init__(self, crs, lon0, lat0, _carrier=None):
        self.crs = horizontal_crs(crs)
        self.lon0, self.lat0 = float(lon0), float(lat0)
        ellipsoid = self.crs.ellipsoid
        axes = {"a": ellipsoid.semi_major_metre, "b": ellipsoid.semi_minor_metre}
        self.geod = Geod(**axes)
        self._to_lonlat, self._to_degrees = _carrier or lonlat_transformer(self.crs)
        self.half_turn = 180 / self._to_degrees if self.crs.is_geographic else None
        self.radius_m = axes["b"] / (1 - self.geod.es * math.sin(math.radians(self.lat0)) ** 2)
        self._tm = Proj(proj="tmerc", lon_0=self.lon0, lat_0=self.lat0, k=1, **axes)

    @classmethod
    def around(cls, crs, x, y):
        """Frame centred on the middle of the points ``x``, ``y`` (crs units, 1-D arrays, at least one finite point)."""
        crs = horizontal_crs(crs)
        carrier = lonlat_transformer(crs)
        return cls(crs, *_middle(*_degrees(carrier, x, y)), carrier)

    def forward(self, x, y):
        """crs coordinates -> frame metres; arrays of one shape."""
        lon, lat = self.to_lonlat(x, y)
        return self._tm(lon, lat)

    def inverse(self, east, north):
        """Frame metres -> crs coordinates. Longitudes come back within -180 .. 180."""
        lon, lat = self._tm(east, north, inverse=True)
        return self.from_lonlat(lon, lat)

    def to_lonlat(self, x, y):
        """crs coordinates -> degrees in the geodetic CRS of ``crs``."""
        lon, lat = self._to_lonlat.transform(x, y)
        return np.asarray(lon) * self._to_degrees, np.asarray(lat) * self._to_degrees

    def from_lonlat(self, lon, lat):
        """Degrees in the geodetic CRS of ``crs`` -> crs coordinates."""
        return self._to_lonlat.transform(
            np.asarray(lon) / self._to_degrees, np.asarray(lat) / self._to_degrees, direction="INVERSE")

    def frame_to_lonlat(self, east, north):
        """Frame metres -> degrees in the geodetic CRS of ``crs``."""
        return self._tm(east, north, inverse=True)

    def convergence(self, east, north):
        """Meridian convergence (degrees): the grid azimuth is the true azimuth minus this.

        The way the meridian runs over the grid, from 100 m south of each point to 100 m north of it.
        """
        lon, lat = self._tm(np.asarray(east, float), np.asarray(north, float), inverse=True)
        lat = np.clip(lat, _STEP_DEG - 90, 90 - _STEP_DEG)
        (east0, north0), (east1, north1) = (self._tm(lon, lat + step) for step in (-_STEP_DEG, _STEP_DEG))
        return np.degrees(np.arctan2(np.subtract(east0, east1), np.subtract(north1, north0)))

    def turns(self, x):
        """Whole turns by which longitudes (crs units) lie beyond half a turn from the centre; 0 in a projected crs."""
        x = np.asarray(x, float)
        if self.half_turn is None:
            return np.zeros(x.shape)
        return np.round((x - self.lon0 / self._to_degrees) / (2 * self.half_turn))

    def off_axis_m(self, east):
        """Largest distance from the axis, metres; compare with ``MAX_OFF_AXIS_M``."""
        east = np.abs(np.asarray(east, float))
        return float(np.nanmax(east)) if east.size else 0.0

    def densified(self, xy, inverse=False):
        """A line carried through the frame with its edges kept straight where they were straight.

        Parameters
        ----------
        xy : (n, 2) array
            Vertices in crs units, or in frame metres when ``inverse``.
        inverse : bool
            False: crs -> frame; True: frame -> crs.

        Returns
        -------
        (m, 2) array, m >= n
            Transformed vertices; an edge whose middle would stray over 1 cm is cut first
            (the straying falls with the square of the length, so one pass suffices).
            Longitudes do not jump at 180 degrees; they may come out past it.

        Raises
        ------
        InputError
            If the crs is torn or undefined there, as many world maps are at their rim.
        """
        xy = np.asarray(xy, float)
        if len(xy) > 1:
            stray, moved = self._strays(xy, inverse)
            if not (stray < MAX_STRAY_M).all():
                raise InputError(f"The coordinate system '{self.crs.name}' is torn or undefined where the survey or a "
                                 "polygon lies. Reproject the layers to one made for the place, such as its UTM zone.")
            if (stray <= DENSIFY_TOLERANCE_M).all():
                return moved
            xy = _cut_edges(xy, stray)
        return np.column_stack(self._moved(xy, inverse))

    def densified_all(self, lines, inverse=False):
        """``densified`` of each of many lines at once: calls of the projection cost more than short lines do.

        Parameters
        ----------
        lines : list of (n, 2) arrays
            With two vertices at least.
        inverse : bool

        Returns
        -------
        list of (m, 2) arrays
        """
        if not lines:
            return []
        xy, joints = np.concatenate(lines), np.cumsum([len(line) for line in lines])[:-1]
        stray, moved = self._strays(xy, inverse)
        stray[joints - 1] = 0.0
        if not (stray <= DENSIFY_TOLERANCE_M).all():
            return [self.densified(line, inverse) for line in lines]
        return np.split(moved, joints)

    def _moved(self, xy, inverse):
        if not inverse:
            return self.forward(xy[:, 0], xy[:, 1])
        x, y = self.inverse(xy[:, 0], xy[:, 1])
        return x - 2 * (self.half_turn or 0) * self.turns(x), y

    def _strays(self, xy, inverse):
        """How far (m) each edge's transformed middle lies from the middle of its transformed ends; and these ends."""
        middle, moved = (xy[1:] + xy[:-1]) / 2, np.column_stack(self._moved(xy, inverse))
        between = (moved[1:] + moved[:-1]) / 2
        # judged in the frame, in metres, either way
        a, b = (middle, between) if inverse else (between, middle)
        return np.hypot(*(a.T - np.array(self.forward(b[:, 0], b[:, 1])))), moved


def carried(source, target, x, y):
    """Points from one CRS to another; arrays.

    Examples
    --------
    >>> import numpy as np
    >>> from athwart.geometry.frame import carried
    >>> x, y = carried("EPSG:4326", "EPSG:32619", np.array([-69.0]), np.array([0.0]))
    >>> x.round(3).tolist(), abs(y).round(3).tolist()
    ([500000.0], [0.0])
    """
    source, target = horizontal_crs(source), horizontal_crs(target)
    if source == target:
        return np.asarray(x, float), np.asarray(y, float)
    return Transformer.from_crs(source, target, always_xy=True).transform(x, y)


def lonlat(crs, x, y):
    """Coordinates in ``crs`` (pyproj.CRS) -> degrees in its geodetic CRS, arrays."""
    return _degrees(lonlat_transformer(crs), x, y)


def _degrees(carrier: tuple[Transformer, float], x: np.ndarray, y: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    transformer, degrees = carrier
    lon, lat = transformer.transform(np.asarray(x, float), np.asarray(y, float))
    return np.asarray(lon) * degrees, np.asarray(lat) * degrees


def frames_for(crs, x, y, group):
    """Frames that between them serve every sample within ``MAX_OFF_AXIS_M`` of an axis.

    Parameters
    ----------
    crs : pyproj.CRS or str
    x, y : (n,) arrays
        crs units.
    group : (n,) int array
        Pass number of each sample, equal values contiguous; a pass is only cut when it is too long for one frame.

    Returns
    -------
    list of (Frame, (k,) int array)
        Usually one frame and all samples. Where a long pass is cut, the last sample of a piece is also the first of the
        next, so that no strip is lost; every other sample stands in exactly one entry.

    Examples
    --------
    >>> import numpy as np
    >>> from athwart.geometry.frame import frames_for
    >>> one = frames_for("EPSG:32619", np.array([5e5, 5e5 + 100]), np.array([4.5e6, 4.5e6]), np.array([0, 0]))
    >>> [index.tolist() for frame, index in one]
    [[0, 1]]
    """
    crs = horizontal_crs(crs)
    x, y = np.asarray(x, float), np.asarray(y, float)
    index = np.arange(len(x))
    if not len(x):
        return []
    whole = Frame.around(crs, x, y)
    onward = x - 2 * (whole.half_turn or 0) * whole.turns(x)
    corners = np.array([[a, b] for a in (np.nanmin(onward), np.nanmax(onward)) for b in (np.nanmin(y), np.nanmax(y))])
    # most lakes are small: a box of half the width spares a look at every sample
    if (whole.off_axis_m(whole.forward(*corners.T)[0]) <= MAX_OFF_AXIS_M / 2
            or whole.off_axis_m(whole.forward(x, y)[0]) <= MAX_OFF_AXIS_M):
        return [(whole, index)]
    group = np.asarray(group)
    found = []
    for samples in np.split(index, np.flatnonzero(group[1:] != group[:-1]) + 1):
        found.extend(_split(crs, x, y, samples))
    return found


def _split(crs, x, y, samples):
    frame = Frame.around(crs, x[samples], y[samples])
    if frame.off_axis_m(frame.forward(x[samples], y[samples])[0]) <= MAX_OFF_AXIS_M or len(samples) < 3:
        return [(frame, samples)]
    half = len(samples) // 2
    return _split(crs, x, y, samples[:half + 1]) + _split(crs, x, y, samples[half:])


def lonlat_transformer(crs: CRS) -> tuple[Transformer, float]:
    """(transformer, factor) from ``crs`` (pyproj.CRS) to its geodetic CRS, whose units times the factor are degrees.

    PROJ takes two milliseconds to set one up: keep it where it is asked for again.
    """
    geodetic = crs.geodetic_crs
    factor = math.degrees(geodetic.axis_info[0].unit_conversion_factor)
    return Transformer.from_crs(crs, geodetic, always_xy=True), factor


def _middle(lon, lat):
    """Middle of the extent, safe across 180 degrees."""
    lon, lat = np.asarray(lon, float), np.asarray(lat, float)
    good = np.isfinite(lon) & (np.abs(lat) <= 90)
    if not good.any():
        raise InputError("No point has coordinates that the layer's coordinate system can place on the Earth. Check "
                         "that the right one is set in the layer's properties (Source).")
    lon, lat = lon[good], lat[good]
    turned = (lon - lon[0] + 180) % 360 - 180
    return lon[0] + (turned.min() + turned.max()) / 2, (lat.min() + lat.max()) / 2


def _cut_edges(xy, stray_m):
    pieces = np.maximum(1, np.ceil(np.sqrt(stray_m / DENSIFY_TOLERANCE_M))).astype(int)
    start = np.repeat(np.arange(len(pieces)), pieces)
    share = (np.arange(len(start)) - np.repeat(np.cumsum(pieces) - pieces, pieces)) / np.repeat(pieces, pieces)
    cut = xy[start] + share[:, None] * (xy[start + 1] - xy[start])
    return np.vstack([cut, xy[-1:]])
