"""Floors to draw records of: how deep, how bright, what stands on them. Plane metres u (east), v (north)."""
from __future__ import annotations

from dataclasses import dataclass

import numpy as np

__all__ = ["Floor", "flat", "marked", "raised", "ramp", "rolling", "texture"]


@dataclass(frozen=True)
class Floor:
    """``depth(u, v)``: m below the transducer. ``brightness(u, v)``: echo strength, plain ground about 1. ``things``:
    as ``plan.Thing``; ``shine``: how much brighter than the floor they are; ``crown``: by which share of its height a
    thing is lower at its rim than in its middle."""

    depth: object
    brightness: object = None
    things: tuple = ()
    shine: float = 5.0
    crown: float = 0.35

    def bright(self, u, v):
        """Echo strength of the bare floor."""
        return np.ones(np.broadcast(u, v).shape) if self.brightness is None else self.brightness(u, v)


def flat(depth_m):
    """A level floor."""
    return lambda u, v: np.full(np.broadcast(u, v).shape, float(depth_m))


def rolling(depth_m, swell_m=1.0, length_m=60.0, azimuth_deg=30.0, slope=0.0):
    """A floor of long swells, falling by ``slope`` metres a metre towards the azimuth."""
    a = np.radians(azimuth_deg)

    def depth(u, v):
        along = np.asarray(u) * np.sin(a) + np.asarray(v) * np.cos(a)
        return depth_m + swell_m * np.sin(2 * np.pi * along / length_m) + slope * along
    return depth


def texture(seed, contrast=0.5, shortest_m=1.0, longest_m=40.0, count=24):
    """Patches and ripples of all sizes between two lengths."""
    rng = np.random.default_rng(seed)
    number = 2 * np.pi / np.exp(rng.uniform(np.log(shortest_m), np.log(longest_m), count))
    way, phase = rng.uniform(0, 2 * np.pi, (2, count))

    def brightness(u, v):
        total = np.zeros(np.broadcast(u, v).shape)
        for a, k, p in zip(way, number, phase):
            total += np.sin(k * (u * np.cos(a) + v * np.sin(a)) + p)
        return np.exp(contrast * total / np.sqrt(count / 2))
    return brightness


def ramp(azimuth_deg, zero_m=0.0, length_m=100.0):
    """Brightness that tells the place: 0 at ``zero_m`` along the azimuth, 1 ``length_m`` further on."""
    a = np.radians(azimuth_deg)
    return lambda u, v: (np.asarray(u) * np.sin(a) + np.asarray(v) * np.cos(a) - zero_m) / length_m


def marked(lines=(), circles=(), width_m=0.4, dark=0.15, light=1.0):
    """A dark floor with light lines ((u0, v0), (u1, v1)) without end and circles (u, v, radius)."""
    def brightness(u, v):
        off = np.full(np.broadcast(u, v).shape, np.inf)
        for (a, b), (c, d) in lines:
            off = np.minimum(off, np.abs((u - a) * (d - b) - (v - b) * (c - a)) / np.hypot(c - a, d - b))
        for a, b, radius in circles:
            off = np.minimum(off, np.abs(np.hypot(u - a, v - b) - radius))
        return np.where(off < width_m / 2, light, dark)
    return brightness


def raised(u, v, things, shine=5.0, crown=0.35):
    """Height of the things above the floor (m) and how much brighter than the floor they are."""
    height, bright = np.zeros(u.shape), np.ones(u.shape)
    for thing in things:
        a = np.radians(thing.points_deg)
        along = (u - thing.u) * np.sin(a) + (v - thing.v) * np.cos(a)
        across = (u - thing.u) * np.cos(a) - (v - thing.v) * np.sin(a)
        box = np.maximum(np.abs(along) / (thing.length / 2), np.abs(across) / (thing.width / 2))
        inside = box < 1
        height[inside] = thing.height * (1 - crown * box[inside] ** 2)
        bright[inside] = shine
    return height, bright
