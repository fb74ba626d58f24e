"""Steps on the ellipsoid against geodesics."""
import numpy as np
import pytest
from athwart.survey.geometry import ground
from pyproj import Geod

WGS84 = Geod(ellps="WGS84")
PLACES = [(179.9999, 0.0), (-93.0, 45.0), (25.0, 70.0), (-179.9999, -70.0)]


@pytest.mark.parametrize("lon, lat", PLACES)
@pytest.mark.parametrize("azimuth", range(0, 360, 45))
@pytest.mark.parametrize("length, tolerance", [(3.0, 1e-7), (90.0, 1e-6), (1000.0, 2e-5)])
def test_a_step_is_a_geodesic(lon, lat, azimuth, length, tolerance):
    lon2, lat2, _ = WGS84.fwd(lon, lat, azimuth, length)
    east, north = ground.steps(WGS84, [lon, lon2], [lat, lat2])
    middle = WGS84.fwd(lon, lat, azimuth, length / 2)
    bearing = np.radians(WGS84.inv(middle[0], middle[1], lon2, lat2)[0])
    assert east[0] == pytest.approx(length * np.sin(bearing), abs=tolerance)
    assert north[0] == pytest.approx(length * np.cos(bearing), abs=tolerance)


@pytest.mark.parametrize("lon, lat", PLACES)
def test_moved_lands_where_the_geodesic_does(lon, lat):
    for azimuth in range(0, 360, 30):
        shifted = ground.moved(WGS84, np.array([lon]), np.array([lat]), 20 * np.sin(np.radians(azimuth)),
                               20 * np.cos(np.radians(azimuth)))
        true = WGS84.fwd(lon, lat, azimuth, 20.0)
        assert WGS84.inv(shifted[0][0], shifted[1][0], true[0], true[1])[2] < 2e-4


def test_wrapped():
    assert ground.wrapped([0, 179, 181, -181, 540]).tolist() == [0, 179, -179, 179, -180]
