"""Published or independently computed figures for slant range, ground range and shadows, and for geodesics."""
import math

import numpy as np
import pytest
from athwart.survey.beams import ranges
from athwart.survey.geometry.frame import Frame
from pyproj import Geod

# Flat bottom: Green, Maritime Archaeology: A Technical Handbook, 2nd ed. (2004), p. 80; the figures are Pythagoras.
GROUND = [
    (5, 3, 4.0, 1e-12),
    (50, 30, 40.0, 1e-12),
    (50, 10, 48.98979486, 1e-8),
    (20, 4, 19.59591794, 1e-8),
    (100, 8, 99.67948636, 1e-8),
    (10, 10, 0.0, 1e-12),
    (50, 9.5, 49.08920452, 1e-7),  # 10 m below the surface, transducer 0.5 m down
]


@pytest.mark.parametrize("slant, depth, ground, tolerance", GROUND)
def test_ground_range(slant, depth, ground, tolerance):
    assert ranges.ground_range(slant, depth) == pytest.approx(ground, abs=tolerance)
    assert ranges.slant_range(ground, depth) == pytest.approx(slant, abs=1e-7)


def test_no_bottom_below_the_range():
    assert math.isnan(ranges.ground_range(9.9, 10))


@pytest.mark.parametrize("slant, depth, sigma", [(50, 10, 0.52041650), (12, 10, 1.17743944)])
def test_spread_of_the_ground_range(slant, depth, sigma):
    # s_G^2 = (R/G)^2 s_R^2 + (H/G)^2 s_H^2 with 0.5 m each, by linear propagation (JCGM 100:2008, eq. 10)
    by_slant, by_depth = ranges.slope_of_ground_range(slant, depth)
    assert 0.5 * math.hypot(by_slant, by_depth) == pytest.approx(sigma, abs=1e-7)


def test_height_from_a_shadow():
    # similar triangles; H 10, object of 1 m at true ground range 30
    assert ranges.shadow_height(10, 31.32091952, 34.80102170) == pytest.approx(1.0, abs=1e-8)
    assert ranges.ground_range_behind_shadow(10, 31.32091952, 34.80102170) == pytest.approx(30.0, abs=1e-7)
    assert ranges.shadow_height(5, 15, 20) == pytest.approx(1.25, abs=1e-12)
    # the slant form with R at the start of the shadow, h = H Ls / (R + Ls): 5 x 5 / 25 and 4 x 6 / 36
    assert ranges.shadow_height(5, 20, 25) == pytest.approx(1.0, abs=1e-6)
    assert ranges.shadow_height(4, 30, 36) == pytest.approx(0.666667, abs=1e-6)


def test_lengths_from_a_corrected_image_would_overstate_the_height():
    # on a flat-bottom corrected image the top plots at 29.68164416 and the shadow is 3.65168917 long: +9.55 %
    top = ranges.ground_range(31.32091952, 10)
    end = ranges.ground_range(34.80102170, 10)
    assert top == pytest.approx(29.68164416, abs=1e-7)
    assert end - top == pytest.approx(3.65168917, abs=1e-7)
    assert 10 * (end - top) / end == pytest.approx(1.09550675, abs=1e-6)
    assert ranges.shadow_height(10, 31.32091952, 34.80102170) < 1.001


@pytest.mark.parametrize("ground, extent", [(5, 0.48156390), (10, 0.72393312), (40, 0.97083944)])
def test_slant_extent_of_a_metre_of_bottom(ground, extent):
    assert ranges.slant_range(ground + 1, 10) - ranges.slant_range(ground, 10) == pytest.approx(extent, abs=1e-7)


# Trade facts in feet, common practice, no source: what boaters reckon they see, against the geometry
@pytest.mark.parametrize("slant, depth, reckoned, true", [(25, 1.5, 23.5, 24.95), (80, 20, 60.0, 77.46)])
def test_rule_of_thumb_falls_short(slant, depth, reckoned, true):
    assert ranges.ground_range(slant, depth, "subtract") == pytest.approx(reckoned, abs=1e-9)
    assert ranges.ground_range(slant, depth) == pytest.approx(true, abs=5e-3)


def test_displayed_range_and_depth_scale_alike():
    # 50 m and 10 m displayed at 1500 m/s in water of 10 C (Marczak 1997: 1447.289 m/s)
    ratio = 1447.289 / 1500
    assert ranges.ground_range(50 * ratio, 10 * ratio) == pytest.approx(47.26826, abs=1e-4)
    assert ranges.ground_range(50, 10) * ratio == pytest.approx(47.26826, abs=1e-4)


def test_places_forty_metres_off_a_boat_heading_030():
    # WGS84 geodesics of 40 m at 120 and 300 degrees from 45 N 93 W (geographiclib 2.1)
    frame = Frame("EPSG:4326", -93, 45)
    for azimuth, lat, lon in ((120, 44.99982003263, -92.99956065570), (300, 45.00017996568, -93.00043934705)):
        x, y = frame.inverse(40 * math.sin(math.radians(azimuth)), 40 * math.cos(math.radians(azimuth)))
        assert (x, y) == pytest.approx((lon, lat), abs=2e-10)


@pytest.mark.parametrize("lat1, lon1, lat2, lon2, ellipsoid, length, azimuth, back", [
    # Geoscience Australia's worked example of Vincenty (1975), GRS80: Flinders Peak to Buninyong
    (-(37 + 57 / 60 + 3.72030 / 3600), 144 + 25 / 60 + 29.52440 / 3600,
     -(37 + 39 / 60 + 10.15610 / 3600), 143 + 55 / 60 + 35.38390 / 3600,
     "GRS80", 54972.271, 306 + 52 / 60 + 5.37 / 3600, 127 + 10 / 60 + 25.07 / 3600),
    # GeographicLib's test program, case 1
    (35.60777, -139.44815, -11.17491, -69.95921, "WGS84", 8935244.5604818305, 111.098748429560, 309.289270889709),
    # Karney, Test set for geodesics (2010), DOI 10.5281/zenodo.32156
    (36.530042355041, 0, -48.164270779097768864, 5.762344694676510456, "WGS84", 9398502.0434687, 176.125875162171,
     355.334308316285),
])
def test_the_geodesics_that_other_tests_take_for_truth(lat1, lon1, lat2, lon2, ellipsoid, length, azimuth, back):
    found = Geod(ellps=ellipsoid).inv(lon1, lat1, lon2, lat2)
    assert found[2] == pytest.approx(length, abs=5e-4)
    assert np.mod(found[0], 360) == pytest.approx(azimuth, abs=0.01 / 3600)
    assert np.mod(found[1], 360) == pytest.approx(back, abs=0.01 / 3600)


def test_metres_in_a_degree_at_45_north():
    # WGS84: 111131.77765 north, 78846.83509 east (radii of curvature in the meridian and the prime vertical)
    frame = Frame("EPSG:4326", -93, 45)
    small = 1e-4
    east, _ = frame.forward(-93 + small, 45.0)
    _, north = frame.forward(-93.0, 45 + small)
    _, south = frame.forward(-93.0, 45 - small)
    assert east / small == pytest.approx(78846.83509, abs=1e-3)
    assert (north - south) / (2 * small) == pytest.approx(111131.77765, abs=1e-3)
