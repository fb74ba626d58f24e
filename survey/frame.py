"""Survey frame: a local transverse Mercator in which lake-scale geometry is plane.

A frame is centred on the samples it serves, has scale 1 on its axis and keeps the ellipsoid of the layer's own CRS,
so no datum shift and no projection scale (UTM: up to 1 part in 2500) enters a range laid off from the boat.
The scale error grows as x^2 / (2 R^2); ``MAX_OFF_AXIS_M`` keeps it under 1e-5, 1 mm in 100 m.
"""
from __future__ import annotations

import math

import numpy as np
from pyproj import CRS, Geod, Proj, Transformer

from .errors import InputError

__all__ = ["MAX_OFF_AXIS_M", "Frame", "frames_for", "horizontal_crs"]

MAX_OFF_AXIS_M = 28_000.0
"""Distance from the axis (m) at which transverse Mercator's scale error reaches 1e-5 (28^2 / (2 * 6371^2))."""

DENSIFY_TOLERANCE_M = 0.01


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
    """
    crs = CRS.from_user_input(crs)
    while crs.is_compound or crs.is_bound:
        crs = crs.sub_crs_list[0] if crs.is_compound else crs.source_crs
    if crs.ellipsoid is None or crs.geodetic_crs is None:
        raise InputError(f"The coordinate system '{crs.name}' is not tied to the Earth; give the layer a real one.")
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
    x is grid east, y grid north, metres. ``grid azimuth = true azimuth - convergence``.
    """

    def __init__(self, crs, lon0, lat0):
        self.crs = horizontal_crs(crs)
        self.lon0, self.lat0 = float(lon0), float(lat0)
        ellipsoid = self.crs.ellipsoid
        axes = {"a": ellipsoid.semi_major_metre, "b": ellipsoid.semi_minor_metre}
        self.geod = Geod(**axes)
        self._to_lonlat, self._to_degrees = _lonlat_transformer(self.crs)
        self._tm = Proj(proj="tmerc", lon_0=self.lon0, lat_0=self.lat0, k=1, **axes)

    @classmethod
    def around(cls, crs, x, y):
        """Frame centred on the middle of the points ``x``, ``y`` (crs units, 1-D arrays, at least one finite point)."""
        crs = horizontal_crs(crs)
        lon, lat = lonlat(crs, x, y)
        return cls(crs, *_middle(lon, lat))

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

        Taken from the projection's own derivatives at each point.
        """
        lon, lat = self._tm(np.asarray(east, float), np.asarray(north, float), inverse=True)
        return np.asarray(self._tm.get_factors(lon, lat).meridian_convergence)

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
        """
        xy = np.asarray(xy, float)
        if len(xy) > 1:
            xy = _cut_edges(xy, self._strays(xy, inverse))
        move = self.inverse if inverse else self.forward
        return np.column_stack(move(xy[:, 0], xy[:, 1]))

    def _strays(self, xy, inverse):
        """How far (m) each edge's transformed middle lies from the middle of its transformed ends."""
        middle = (xy[1:] + xy[:-1]) / 2
        if inverse:
            # judged in the frame: bring the middle of the mapped ends back
            x, y = self.inverse(xy[:, 0], xy[:, 1])
            x0, x1 = x[:-1], x[1:]
            if self.crs.is_geographic:
                x1 = x0 + (x1 - x0 + 180 / self._to_degrees) % (360 / self._to_degrees) - 180 / self._to_degrees
            east, north = self.forward((x0 + x1) / 2, (y[1:] + y[:-1]) / 2)
            return np.hypot(east - middle[:, 0], north - middle[:, 1])
        east, north = self.forward(xy[:, 0], xy[:, 1])
        e_mid, n_mid = self.forward(middle[:, 0], middle[:, 1])
        return np.hypot(e_mid - (east[1:] + east[:-1]) / 2, n_mid - (north[1:] + north[:-1]) / 2)


def lonlat(crs, x, y):
    """Coordinates in ``crs`` (pyproj.CRS) -> degrees in its geodetic CRS, arrays."""
    transformer, degrees = _lonlat_transformer(crs)
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
        Usually one frame and all samples; every sample stands in exactly one entry.
        Where a long pass is cut, the last sample of a piece is the first of the next, so that no strip is lost.
    """
    crs = horizontal_crs(crs)
    x, y = np.asarray(x, float), np.asarray(y, float)
    index = np.arange(len(x))
    if not len(x):
        return []
    whole = Frame.around(crs, x, y)
    if whole.off_axis_m(whole.forward(x, y)[0]) <= MAX_OFF_AXIS_M:
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


def _lonlat_transformer(crs):
    geodetic = crs.geodetic_crs
    factor = math.degrees(geodetic.axis_info[0].unit_conversion_factor)
    return Transformer.from_crs(crs, geodetic, always_xy=True), factor


def _middle(lon, lat):
    """Middle of the extent, safe across 180 degrees."""
    lon, lat = np.asarray(lon, float), np.asarray(lat, float)
    good = np.isfinite(lon) & np.isfinite(lat)
    if not good.any():
        raise InputError("No point has coordinates that the layer's coordinate system can place on the Earth.")
    lon, lat = lon[good], lat[good]
    turned = (lon - lon[0] + 180) % 360 - 180
    return lon[0] + (turned.min() + turned.max()) / 2, (lat.min() + lat.max()) / 2


def _cut_edges(xy, stray_m):
    pieces = np.maximum(1, np.ceil(np.sqrt(stray_m / DENSIFY_TOLERANCE_M))).astype(int)
    if pieces.max() == 1:
        return xy
    start = np.repeat(np.arange(len(pieces)), pieces)
    share = (np.arange(len(start)) - np.repeat(np.cumsum(pieces) - pieces, pieces)) / np.repeat(pieces, pieces)
    cut = xy[start] + share[:, None] * (xy[start + 1] - xy[start])
    return np.vstack([cut, xy[-1:]])
