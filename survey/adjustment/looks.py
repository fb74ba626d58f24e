"""Looks at objects as the adjustment sees them: a place, what is fresh in it, and how it leans on shared errors.

A look's place p = X - B z + e: X where the object lies, e the errors fresh in the pick, z the errors it shares with the
other looks of its pass and outing, each counted in units of its prior standard deviation.
"""
from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np

from ..geometry.frame import Frame
from ..model.errors import InputError
from ..model.messages import Message
from ..model.schemas import TARGETS
from ..model.table import Floats, Ints, Table
from ..model.track import SIDES

__all__ = ["OFFSETS", "OUTING_ERRORS", "PASS_ERRORS", "RepeatedLooks", "sensitivities"]

PASS_ERRORS = ("pass_east_m", "pass_north_m", "heading_deg")
OFFSETS = ("latency_s", "mount_deg", "lever_forward_m", "lever_starboard_m", "scale", "trim_deg")
"""What can be solved, by the names of the table of offsets; mount_deg is the beam azimuth: mount and heading bias."""
OUTING_ERRORS = ("bias_east_m", "bias_north_m", *OFFSETS, "depth_offset_m")

_PRIORS = {"pass_east_m": "sig_pass_m", "pass_north_m": "sig_pass_m", "heading_deg": "sig_heading_deg",
           "bias_east_m": "sig_bias_m", "bias_north_m": "sig_bias_m", "latency_s": "sig_latency_s",
           "mount_deg": "sig_mount_deg", "lever_forward_m": "sig_lever_m", "lever_starboard_m": "sig_lever_m",
           "scale": "sig_scale", "trim_deg": "sig_trim_deg", "depth_offset_m": "sig_depth_offset_m"}
_APPLIED = {"latency_s": "latency_s", "mount_deg": "mount_deg", "lever_forward_m": "lever_forward_m",
            "lever_starboard_m": "lever_starboard_m", "scale": "range_ratio"}
_OWN_FLOOR_M2 = 1e-6
_NEEDED = ("outing", "pass_id", "side", "heading_deg", "ground_m", "depth_m", "own_ee_m2", "own_en_m2", "own_nn_m2",
           "vel_east_mps", "vel_north_mps", "turn_dps", "dg_dscale_m", "dg_ddepth", "sigma_east_m", "sigma_north_m",
           "pct_range", "pct_depth", "heading_source",
           *_APPLIED.values(), *dict.fromkeys(_PRIORS.values()))


def sensitivities(azimuth_deg, mount_deg, side, ground, depth, velocity, turn_dps, dg_dscale, dg_ddepth):
    """How a look's place moves with each shared error.

    Parameters
    ----------
    azimuth_deg, mount_deg : (n,) arrays
        Grid azimuth of the bow, and the mount angle from it to the fan's forward axis.
    side : (n,) array
        -1 port, +1 starboard, 0 unknown.
    ground, depth : (n,) arrays, m
    velocity : (n, 2) array, m/s, east and north
    turn_dps : (n,) array
        How fast the heading shifts with the latency: the turn rate where it comes from the course, 0 beside a compass.
    dg_dscale, dg_ddepth : (n,) arrays
        Change of ground range for a unit of scale (m) and for a metre of depth.

    Returns
    -------
    on_pass : (n, 2, 3) array
        For ``PASS_ERRORS``: drift east, north; heading -side G f per degree.
    on_outing : (n, 2, 9) array
        For ``OUTING_ERRORS``: bias east, north; latency v, and in a turn the swing of the beam; beam azimuth
        -side G f per degree; lever f and s; scale side dG/dscale s; trim H f per degree; depth offset side dG/dH s.
    """
    bow, fan = np.radians(azimuth_deg), np.radians(azimuth_deg + mount_deg)
    ahead, right = np.column_stack([np.sin(bow), np.cos(bow)]), np.column_stack([np.cos(bow), -np.sin(bow)])
    forward, starboard = np.column_stack([np.sin(fan), np.cos(fan)]), np.column_stack([np.cos(fan), -np.sin(fan)])
    degree = math.radians(1)
    swing = -(side * ground * degree)[:, None] * forward
    late = velocity + turn_dps[:, None] * swing
    unit = np.broadcast_to(np.eye(2), (len(ground), 2, 2))
    on_pass = np.concatenate([unit, swing[:, :, None]], axis=2)
    on_outing = np.concatenate([unit, np.stack([
        late, swing, ahead, right, (side * dg_dscale)[:, None] * starboard, (depth * degree)[:, None] * forward,
        (side * dg_ddepth)[:, None] * starboard], axis=2)], axis=2)
    return on_pass, on_outing


@dataclass(eq=False, repr=False)
class RepeatedLooks(Table):
    """(n,) looks in frame metres, with everything the adjustment needs.

    ``place`` (n, 2); ``own`` (n, 2, 2) covariance of errors fresh in the pick; ``pass_no``, ``outing_no`` (n,) int
    from 0; ``pass_sigma`` (n, 3) and ``outing_sigma`` (n, 9) prior standard deviations; ``applied`` (n, 6) the
    ``OFFSETS`` already in the track; ``reading`` (n,) share of the own variance across the fan that misread ranges and
    depths bring, and with them a wrong ``ground``; ``boat_no`` (n,) int from 0: whose offsets they are, each outing's
    own unless said otherwise; the rest is the geometry that ``sensitivities`` takes.
    """

    place: Floats
    own: Floats
    pass_no: Ints
    outing_no: Ints
    pass_sigma: Floats
    outing_sigma: Floats
    applied: Floats
    reading: Floats
    azimuth_deg: Floats
    mount_deg: Floats
    side: Floats
    ground: Floats
    depth: Floats
    velocity: Floats
    turn_dps: Floats
    dg_dscale: Floats
    dg_ddepth: Floats
    boat_no: Ints | None = None

    def __post_init__(self):
        if self.boat_no is None:
            self.boat_no = self.outing_no
        self.check()

    @classmethod
    def of(cls, crs, x, y, columns):
        """Looks from the columns of a targets layer.

        Parameters
        ----------
        crs : pyproj.CRS or str
        x, y : (n,) arrays in its units
        columns : dict
            (n,) arrays by the names of ``schemas.TARGETS``; NaN where a number is unknown.

        Returns
        -------
        RepeatedLooks, Frame

        Raises
        ------
        InputError
            If fields are missing or empty, by name.
        """
        missing = [name for name in _NEEDED if name not in columns]
        if missing:
            raise InputError(Message("These are not located targets: the field{s} {names} {are} missing. Use the "
                                     "output of {locate()} with all its fields.", s="s" * (len(missing) > 1),
                                     names=", ".join(missing), are="are" if len(missing) > 1 else "is"))
        numeric = {f.name for f in TARGETS if f.kind == "double"}
        num = {n: np.asarray(columns[n], float) for n in _NEEDED if n in numeric}
        bad = [n for n in ("own_ee_m2", "own_nn_m2", *dict.fromkeys(_PRIORS.values())) if not np.isfinite(num[n]).all()]
        if bad:
            raise InputError(Message("Some targets have no {names}: they were combined already, or not made by "
                                     "{locate()}. Give the located targets of each pass, not combined ones.",
                                     names=", ".join(bad)))
        frame = Frame.around(crs, x, y)
        east, north = (np.asarray(v, float) for v in frame.forward(x, y))
        turn = np.radians(frame.convergence(east, north))
        outing = np.asarray(columns["outing"]).astype(str)
        outing_no = np.unique(outing, return_inverse=True)[1]
        pass_id = np.asarray(columns["pass_id"], float)
        pass_no = np.unique(np.column_stack([outing_no, pass_id]), axis=0, return_inverse=True)[1].reshape(-1)
        applied = np.column_stack([num[_APPLIED[n]] if n in _APPLIED else np.zeros(len(outing)) for n in OFFSETS])
        applied[~np.isfinite(applied)] = 0.0
        zero = np.nan_to_num
        own, azimuth, mount = _own(num), zero(num["heading_deg"]), zero(num["mount_deg"])
        return cls(
            np.column_stack([east, north]), _turned(own, turn), pass_no, outing_no,
            np.column_stack([num[_PRIORS[n]] for n in PASS_ERRORS]),
            np.column_stack([num[_PRIORS[n]] for n in OUTING_ERRORS]), applied, _reading(num, own, azimuth + mount),
            azimuth - np.degrees(turn), mount,
            np.array([SIDES.get(str(s), 0) for s in columns["side"]], float), zero(num["ground_m"]),
            zero(num["depth_m"]),
            _turned_vectors(zero(np.column_stack([num["vel_east_mps"], num["vel_north_mps"]])), turn),
            np.where(np.asarray(columns["heading_source"]).astype(str) == "compass", 0.0, zero(num["turn_dps"])),
            _finite(num["dg_dscale_m"]), _finite(num["dg_ddepth"])), frame

    def sensitivities(self):
        """(n, 2, 12) m: ``sensitivities`` of these looks, each column times its prior standard deviation.

        The pass's three errors come first, then the outing's nine.
        """
        on_pass, on_outing = sensitivities(self.azimuth_deg, self.mount_deg, self.side, self.ground, self.depth,
                                           self.velocity, self.turn_dps, self.dg_dscale, self.dg_ddepth)
        return np.concatenate([on_pass * self.pass_sigma[:, None, :],
                               on_outing * self.outing_sigma[:, None, :]], axis=2)

    def at_residual(self, across):
        """The same looks with their slopes taken at the adjusted ground ranges, at least a fifth of the measured ones.

        ``across`` (n,), m: residuals to starboard, of which ``reading`` is the ground range's own.
        """
        ground = np.maximum(self.ground - self.side * self.reading * across, 0.2 * self.ground)
        factor = np.divide(ground, self.ground, out=np.ones(len(self)), where=self.ground > 0)
        return replace(self, ground=ground, dg_dscale=self.dg_dscale * factor, dg_ddepth=self.dg_ddepth / factor)

    def mirrored(self, index):
        """The same looks, the one at ``index`` laid off on the other side of its track."""
        fan = math.radians(self.azimuth_deg[index] + self.mount_deg[index])
        turned = np.radians([self.pass_sigma[index, PASS_ERRORS.index("heading_deg")],
                             self.outing_sigma[index, OUTING_ERRORS.index("mount_deg")]])
        reach = self.side[index] * self.ground[index] * math.exp(-np.square(turned).sum() / 2)
        place, side = self.place.copy(), self.side.copy()
        place[index] -= 2 * reach * np.array([math.cos(fan), -math.sin(fan)])
        side[index] = -side[index]
        return replace(self, place=place, side=side)


def _finite(values):
    """Infinite slopes at nadir count as none: the pick's own covariance already holds that error whole."""
    return np.where(np.isfinite(values), values, 0.0)


def _own(num):
    own = np.empty((len(num["own_ee_m2"]), 2, 2))
    own[:, 0, 0], own[:, 1, 1] = num["own_ee_m2"] + _OWN_FLOOR_M2, num["own_nn_m2"] + _OWN_FLOOR_M2
    own[:, 0, 1] = own[:, 1, 0] = np.nan_to_num(num["own_en_m2"])
    return own


def _reading(num, own, fan_deg):
    """Share of the own variance across the fan that comes with the ground range."""
    fan = np.radians(fan_deg)
    starboard = np.column_stack([np.cos(fan), -np.sin(fan)])
    across = np.einsum("ni,nij,nj->n", starboard, own, starboard)
    trace = np.square(num["sigma_east_m"]) + np.square(num["sigma_north_m"])
    read = (num["pct_range"] + num["pct_depth"]) / 100 * trace
    read = read - np.square(_finite(num["dg_ddepth"]) * num["sig_depth_offset_m"])
    return np.clip(np.nan_to_num(read) / across, 0.0, 1.0)


def _turned(covariance, angle):
    """Covariances in true east and north -> along the grid, which is turned by the convergence (rad)."""
    c, s = np.cos(angle), np.sin(angle)
    turn = np.stack([np.stack([c, -s], -1), np.stack([s, c], -1)], -2)
    return turn @ covariance @ np.swapaxes(turn, 1, 2)


def _turned_vectors(vectors, angle):
    c, s = np.cos(angle), np.sin(angle)
    return np.column_stack([c * vectors[:, 0] - s * vectors[:, 1], s * vectors[:, 0] + c * vectors[:, 1]])
