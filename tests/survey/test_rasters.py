"""Rasters in metres: the CRS they get, their extent, and the ground area of a cell against geodesics."""
import numpy as np
import pytest
from athwart.survey.bottom.rasters import Raster, metric_crs
from athwart.survey.geometry.frame import carried, horizontal_crs
from athwart.survey.model.errors import InputError
from pyproj import Geod, Transformer


@pytest.mark.parametrize("crs, lon, lat, wanted", [
    ("EPSG:32615", -93, 45, 32615), ("EPSG:4326", -93, 45, 32615), ("EPSG:4326", 179.5, -40, 32760),
    ("EPSG:3857", -93, 45, 32615), ("EPSG:26851", -93, 45, 32615), ("EPSG:3857", 10, 0.5, 3857),
    ("EPSG:32615", -88, 45, 32615), ("EPSG:32615", -61, 45, 32620)])
def test_a_metre_on_the_map_is_a_metre_on_the_ground(crs, lon, lat, wanted):
    """Degrees, feet, and projections whose scale is more than 1 % off give way to the UTM zone."""
    x, y = carried("EPSG:4326", crs, np.array([lon, lon + 0.01]), np.array([lat, lat + 0.01]))
    assert metric_crs(crs, x, y) == horizontal_crs(f"EPSG:{wanted}")


def test_places_nowhere_on_earth_are_refused():
    with pytest.raises(InputError, match="on the Earth"):
        metric_crs("EPSG:32615", np.array([np.inf]), np.array([np.nan]))


@pytest.mark.parametrize("lon", [-93.0, -90.0, -87.0])
def test_the_ground_area_of_a_cell_is_geodesic(lon):
    east, north = (float(v) for v in carried("EPSG:4326", "EPSG:32615", lon, 45.0))
    raster = Raster.around(horizontal_crs("EPSG:32615"), 50.0, np.array([east]), np.array([north]), 200.0)
    left, top = raster.left + 2 * 50, raster.top - 3 * 50
    corners = Transformer.from_crs("EPSG:32615", "EPSG:4326", always_xy=True).transform(
        [left, left + 50, left + 50, left], [top, top, top - 50, top - 50])
    area, _ = Geod(ellps="WGS84").polygon_area_perimeter(*corners)
    assert raster.ground_area(3, 2) == pytest.approx(abs(area), rel=1e-6)
    assert abs(area) != pytest.approx(2500, rel=1e-4)


def test_a_raster_holds_its_points_with_their_margin_on_whole_cells():
    rng = np.random.default_rng(4)
    x, y = rng.uniform(500_000, 501_000, 50), rng.uniform(4_980_000, 4_980_400, 50)
    raster = Raster.around(horizontal_crs("EPSG:32615"), 0.5, x, y, 30.3)
    col, row = raster.cells_from("EPSG:32615")(x, y)
    assert min(col.min(), row.min()) >= 60 and col.max() <= raster.cols - 61 and row.max() <= raster.rows - 61
    assert raster.left % 0.5 == raster.top % 0.5 == 0
    t = raster.transform
    np.testing.assert_allclose((t[0] + (col + 0.5) * t[1], t[3] + (row + 0.5) * t[5]), (x, y))


@pytest.mark.parametrize("cell, words", [(0.0, "cell size"), (np.nan, "cell size"), (-1.0, "cell size"),
                                         (0.001, "larger cell")])
def test_cells_that_will_not_do(cell, words):
    with pytest.raises(InputError, match=words):
        Raster.around(horizontal_crs("EPSG:32615"), cell, np.array([0.0, 1000.0]), np.array([0.0, 1000.0]), 10.0)
