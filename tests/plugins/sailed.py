"""Invented boat tracks for tests: dead reckoning by geodesics, nothing of the core's own.

A track is a list of true courses, one for each second under way; pyproj.Geod lays off every step.
"""
from __future__ import annotations

import numpy as np
from pyproj import Geod

WGS84 = Geod(ellps="WGS84")
START_S = 1_700_000_000.0


def straight(course, seconds):
    """Courses of a leg."""
    return [float(course)] * int(seconds)


def turn(course, degrees, rate):
    """Courses of a turn through ``degrees`` (positive to starboard) at ``rate`` degrees/s, from ``course``."""
    seconds = int(round(abs(degrees) / rate))
    return [course + degrees * (k + 0.5) / seconds for k in range(seconds)]


def sail(lon, lat, courses, speed=2.0, interval=1.0, start_s=START_S):
    """Places and times: (lon, lat, t_s), one more than there are courses; NaN courses stand still."""
    lons, lats = [lon], [lat]
    for course in courses:
        held = np.isnan(course)
        lon, lat, _ = WGS84.fwd(lons[-1], lats[-1], 0.0 if held else course, 0.0 if held else speed * interval)
        lons.append(lon)
        lats.append(lat)
    return np.array(lons), np.array(lats), start_s + interval * np.arange(len(lons))


def lawnmower(lines=3, seconds=120, rate=4.5):
    """Courses of parallel lines, east and west in turn, each turn made to the north."""
    courses = []
    for k in range(lines):
        courses += straight(90 if k % 2 == 0 else 270, seconds)
        if k + 1 < lines:
            courses += turn(90, -180, rate) if k % 2 == 0 else turn(270, 180, rate)
    return courses


def metres_apart(lon1, lat1, lon2, lat2):
    """Geodesic distances."""
    return np.asarray(WGS84.inv(lon1, lat1, lon2, lat2)[2])
