"""Where the beams point: against geodesics, and in turns."""
import numpy as np
import pytest
import tracks
from athwart.survey.beams.pointing import Beams, turn_reach
from athwart.survey.geometry.frame import Frame
from pyproj import Geod


@pytest.mark.parametrize("side", [-1, 1])
@pytest.mark.parametrize("heading, mount", [(0, 0), (30, 0), (123.4, 2.5), (359, -4)])
def test_beam_points_are_geodesic_offsets(side, heading, mount):
    lon, lat = np.array([-91.0, -90.98]), np.array([45.0, 45.02])  # 2 degrees off the frame's first guess of north
    track = tracks.made("EPSG:4326", lon, lat, heading, mount_deg=mount)
    frame = Frame("EPSG:4326", -91.2, 45)
    east, north = Beams.of(track, frame).points(side, np.array([40.0, 55.0])).T
    lon2, lat2 = frame.inverse(east, north)
    wanted = Geod(ellps="WGS84").fwd(lon, lat, np.full(2, heading + mount + 90.0 * side), [40.0, 55.0])
    _, _, miss = Geod(ellps="WGS84").inv(lon2, lat2, wanted[0], wanted[1])
    assert np.max(miss) < 4e-4


def test_axes():
    frame = Frame("EPSG:32615", -93, 45)
    beams = Beams.of(tracks.in_frame(frame, [0.0, 0.0], [0.0, 1.0], [0.0, 90.0]), frame)
    np.testing.assert_allclose(beams.forward, [[0, 1], [1, 0]], atol=1e-9)
    np.testing.assert_allclose(beams.starboard, [[1, 0], [0, -1]], atol=1e-9)
    np.testing.assert_allclose(beams.points(-1, 10.0), [[-10, 0], [0, 11]], atol=1e-6)


def test_turn_reach():
    # 1.5 m/s at 5.7296 degrees a second (0.1 rad/s) to starboard: the centre of the turn lies 15 m to starboard
    assert turn_reach(1.5, np.degrees(0.1), 1) == pytest.approx(15.0)
    np.testing.assert_array_equal(turn_reach([1.5, 1.5, 1.5], [5.0, 0.0, np.nan], -1), np.inf)
    assert turn_reach(1.5, -np.degrees(0.1), -1) == pytest.approx(15.0)
    assert np.isinf(turn_reach(1.5, -5.0, 1))
