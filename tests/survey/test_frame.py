"""The survey frame against geodesics on the CRS's own ellipsoid and published grid figures."""
import numpy as np
import pytest
from athwart.survey.geometry import frame as frames
from athwart.survey.geometry.frame import Frame
from athwart.survey.model.errors import InputError
from pyproj import CRS, Geod, Transformer

PLACES = [  # crs, longitude, latitude
    ("EPSG:32615", -93.0, 45.0),
    ("EPSG:32615", -86.6, 45.0),  # 505 km off the zone's axis
    ("EPSG:32631", 3.0, 0.0),
    ("EPSG:32633", 15.0, 70.0),
    ("EPSG:4326", 25.0, 70.0),
    ("EPSG:4326", 179.999, -17.0),
    ("EPSG:2964", -150.4, 60.4),  # NAD27, US survey feet
    ("EPSG:3857", -72.05, 43.4),  # scale 1.38 here
    ("EPSG:4807", 3.0, 45.0),  # Paris meridian, grads
]


def at(crs, lon, lat):
    """A frame at a Greenwich place and the place in crs units, with the geodesic of the crs's ellipsoid."""
    crs = CRS(crs)
    from_greenwich = Transformer.from_crs(4326, crs, always_xy=True) if crs.name.startswith("NTF") else None
    x, y = (from_greenwich or Transformer.from_crs(crs.geodetic_crs, crs, always_xy=True)).transform(lon, lat)
    return Frame.around(crs, [x], [y]), x, y, crs.get_geod()


@pytest.mark.parametrize("crs, lon, lat", PLACES)
def test_ranges_laid_off_in_the_frame_are_geodesics(crs, lon, lat):
    frame, x, y, geod = at(crs, lon, lat)
    geodetic = CRS(crs).geodetic_crs
    degrees = np.degrees(geodetic.axis_info[0].unit_conversion_factor)
    to_crs = Transformer.from_crs(geodetic, crs, always_xy=True)
    lon1, lat1 = (np.asarray(v) * degrees for v in Transformer.from_crs(crs, geodetic, always_xy=True).transform(x, y))
    for off_axis in (0.0, 20_000.0, 27_900.0):  # metres east of the frame's axis
        lon0, lat0, _ = geod.fwd(lon1, lat1, 90, off_axis)
        east, north = frame.forward(*to_crs.transform(lon0 / degrees, lat0 / degrees))
        for azimuth in range(0, 360, 30):
            for reach in (1.0, 100.0, 1000.0):
                lon2, lat2, _ = geod.fwd(lon0, lat0, azimuth, reach)
                e2, n2 = frame.forward(*to_crs.transform(lon2 / degrees, lat2 / degrees))
                grid = np.radians(azimuth - frame.convergence(east, north))
                miss = np.hypot(e2 - east - reach * np.sin(grid), n2 - north - reach * np.cos(grid))
                assert miss < 1e-5 * reach + 1e-6


def test_convergence_of_utm_15_north():
    # pyproj 3.7.2 for UTM zone 15N at 45 N 91 W: 1.414504 degrees; convergence does not depend on the scale factor
    frame = Frame("EPSG:4326", -93, 0)
    east, north = frame.forward(-91.0, 45.0)
    assert frame.convergence(east, north) == pytest.approx(1.414504, abs=1e-6)
    utm = Transformer.from_crs(4326, 32615, always_xy=True).transform(-91.0, 45.0)
    assert (utm[0] - 500_000) / 0.9996 == pytest.approx(east, abs=1e-6)
    assert utm[1] / 0.9996 == pytest.approx(north, abs=1e-6)


def test_karney_short_geodesics():
    # three of the 76 to 397 m lines of the geodesic test set, Karney 2010 (DOI 10.5281/zenodo.32156)
    for lat1, azimuth, lat2, lon2, length in (
            (19.707097385334, 20.996796804557, 19.707739582810257, 0.000260256428101053, 76.1478894),
            (23.104245923137, 108.788775202534, 23.103520430280492, 0.002305237470119087, 249.4508219),
            (78.10174623178, 124.870465352256, 78.099711031638792, 0.014156770744057927, 397.364659)):
        frame = Frame("EPSG:4326", 0, lat1)
        east, north = frame.forward(lon2, lat2)
        assert np.hypot(east, north) == pytest.approx(length, abs=1e-6)
        assert np.degrees(np.arctan2(east, north)) == pytest.approx(azimuth, abs=1e-5)


@pytest.mark.parametrize("crs, lon, lat", PLACES)
def test_there_and_back(crs, lon, lat):
    frame, x, y, _ = at(crs, lon, lat)
    east, north = np.array([0.0, 5000.0, -5000.0]), np.array([0.0, -7000.0, 20.0])
    again = frame.forward(*frame.inverse(east, north))
    np.testing.assert_allclose(again, [east, north], atol=1e-6)
    np.testing.assert_allclose(frame.forward(x, y), 0, atol=1e-6)


def test_the_middle_of_points_on_both_sides_of_180_degrees():
    for lon in ([179.9, -179.8], [-179.8, 179.9]):
        frame = Frame.around("EPSG:4326", lon, [10.0, 10.2])
        assert frame.lon0 % 360 == pytest.approx(180.05)
        east, _ = frame.forward(np.array([179.9, -179.8]), np.array([10.0, 10.2]))
        assert east[0] == pytest.approx(-east[1], rel=1e-3)
        assert frame.inverse(east, np.zeros(2))[0] == pytest.approx([179.9, -179.8], abs=1e-3)


def test_a_frame_needs_a_point():
    with pytest.raises(InputError, match="No point has coordinates"):
        Frame.around("EPSG:4326", [np.nan], [np.nan])


def test_long_edges_are_cut_until_they_are_true_to_a_centimetre():
    frame = Frame.around("EPSG:4326", [-93.0], [45.0])
    ends = np.array([[-93.1, 45.0], [-92.9, 45.01]])
    carried = frame.densified(ends)
    assert len(carried) > 2
    dense = ends[0] + np.linspace(0, 1, 4001)[:, None] * (ends[1] - ends[0])
    truth = np.column_stack(frame.forward(dense[:, 0], dense[:, 1]))
    along = np.interp(truth[:, 0], carried[:, 0], carried[:, 1])
    assert np.abs(along - truth[:, 1]).max() < 0.0101
    back = frame.densified(np.array([[-10_000.0, 0.0], [10_000.0, 100.0]]), inverse=True)
    lon, lat = frame.inverse(np.linspace(-10_000, 10_000, 4001), np.linspace(0, 100, 4001))
    assert len(back) > 2
    assert np.abs(np.interp(lon, back[:, 0], back[:, 1]) - lat).max() * 111_000 < 0.0101
    assert len(frame.densified(np.array([[0.0, 0.0], [60.0, 0.0]]), inverse=True)) == 2


@pytest.mark.parametrize("inverse", [False, True])
@pytest.mark.parametrize("longest", [0.001, 0.3])
def test_many_lines_at_once_are_carried_as_one_by_one(inverse, longest):
    frame = Frame.around("EPSG:4326", [-93.0], [45.0])
    rng = np.random.default_rng(8)
    lines = [[-93.0, 45.0] + np.cumsum(rng.uniform(-longest, longest, (n, 2)) / n, axis=0) for n in (2, 5, 3, 40)]
    lines = [np.column_stack(frame.forward(*line.T)) for line in lines] if inverse else lines
    carried = frame.densified_all(lines, inverse)
    assert len(carried) == 4
    for one, line in zip(carried, lines):
        np.testing.assert_array_equal(one, frame.densified(line, inverse))
    assert (len(carried[0]) > 2) == (longest > 0.01)
    assert frame.densified_all([]) == []


def test_a_torn_map_is_refused_by_name():
    frame = Frame.around("EPSG:3857", [20037000.0, -20037000.0], [0.0, 0.0])
    with pytest.raises(InputError, match="Pseudo-Mercator.*Reproject"):
        frame.densified(np.array([[-100.0, 0.0], [2000.0, 0.0]]) + [[frame.forward(20037500.0, 0.0)[0], 0]],
                        inverse=True)


def test_horizontal_crs():
    assert frames.horizontal_crs("EPSG:6649").to_epsg() == 4617  # NAD83(CSRS) + CGVD28, compound
    assert frames.horizontal_crs("+proj=utm +zone=15 +ellps=WGS84 +towgs84=1,2,3").is_projected
    for unfit in ("EPSG:5703", "EPSG:4978",
                  'LOCAL_CS["site grid",UNIT["metre",1],AXIS["x",EAST],AXIS["y",NORTH]]'):
        with pytest.raises(InputError, match="not tied|real one"):
            frames.horizontal_crs(unfit)


def boustrophedon(width, lines=3, samples=50):
    x = np.tile(np.linspace(0, width, samples), lines) + 500_000.0
    return x, np.repeat(np.arange(lines) * 40.0, samples) + 5e6, np.repeat(np.arange(lines), samples)


def test_a_survey_of_40_km_needs_one_frame():
    x, y, group = boustrophedon(40_000.0)
    (frame, index), = frames.frames_for("EPSG:32615", x, y, group)
    assert len(index) == len(x)
    assert frame.off_axis_m(frame.forward(x, y)[0]) == pytest.approx(20_000, rel=1e-3)
    assert frames.frames_for("EPSG:32615", x[:0], y[:0], group[:0]) == []


def test_wider_surveys_are_cut_pass_by_pass_and_no_interval_is_lost():
    x, y, group = boustrophedon(200_000.0)
    found = frames.frames_for("EPSG:32615", x, y, group)
    intervals = []
    for frame, index in found:
        assert frame.off_axis_m(frame.forward(x[index], y[index])[0]) <= frames.MAX_OFF_AXIS_M
        assert len(set(group[index])) == 1
        assert (np.diff(index) == 1).all()
        intervals += [(a, a + 1) for a in index[:-1]]
    wanted = [(i, i + 1) for i in range(len(x) - 1) if group[i] == group[i + 1]]
    assert sorted(intervals) == wanted


def test_own_ellipsoid():
    frame = Frame("EPSG:2964", -150, 60)
    assert (frame.geod.a, frame.geod.b) == pytest.approx((Geod(ellps="clrk66").a, Geod(ellps="clrk66").b))


def test_frames_of_a_wide_survey_across_180_degrees():
    lon = np.concatenate([np.linspace(179.6, 179.9999, 200), np.linspace(-179.9999, -179.6, 200)])
    lat, group = np.full(400, 1.0), np.repeat(np.arange(8), 50)
    found = frames.frames_for("EPSG:4326", lon, lat, group)
    assert sorted(np.concatenate([index for _, index in found])) == list(range(400))
    for frame, index in found:
        east, _ = frame.forward(lon[index], lat[index])
        assert np.abs(east).max() < frames.MAX_OFF_AXIS_M


def test_convergence_beside_the_pole():
    # on a plane about the pole it is the difference of longitude
    frame = Frame("EPSG:4326", 10, 89.999)
    east, north = frame.forward([10.0, 40.0, 100.0], [89.9995, 89.9995, 89.9995])
    assert frame.convergence(east, north) == pytest.approx([0, 30, 90], abs=1e-3)
