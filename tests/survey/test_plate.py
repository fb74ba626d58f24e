"""The plate through lines against dense least squares of its energy, cuts against shapely, regions against a flood."""
import numpy as np
import pytest
from athwart.survey.bottom.crossings import cuts_of
from athwart.survey.bottom.plate import padded, plate
from athwart.survey.bottom.regions import regions_of
from scipy import ndimage
from shapely.geometry import LineString

SHAPE = (65, 97)


def lines():
    """Wriggling closed lines about one place, and one that ends in the open: (n, 2) arrays of (col, row), levels."""
    angle = np.linspace(0, 2 * np.pi, 200)
    found = [np.column_stack([48.3 + a * np.cos(angle) * (1 + 0.1 * np.sin(5 * angle)),
                              32.2 + 0.65 * a * np.sin(angle)]) for a in (8, 17, 25, 36, 44)]
    return [*found, np.array([[77.2, 28.1], [78.7, 32.3], [78.1, 35.4]])], np.array([5.0, 4, 3, 2, 0, 1.5])


@pytest.mark.parametrize("shape", [(3, 3), (64, 64), (1000, 3), (700, 1301)])
def test_padded_can_be_halved(shape):
    rows, cols = padded(shape)
    assert rows >= shape[0] and cols >= shape[1] and rows < 1.5 * shape[0] + 64 and cols < 1.5 * shape[1] + 64
    while rows * cols > 600:
        assert rows % 2 and cols % 2
        rows, cols = rows // 2 + 1, cols // 2 + 1


def test_cuts_lie_where_shapely_crosses():
    drawn, levels = lines()
    down, along = cuts_of(drawn, levels, SHAPE)
    for cuts, step in ((down, (0, 1)), (along, (1, 0))):
        row, col = np.divmod(cuts.first, SHAPE[1])
        for i in range(0, len(row), 7):
            edge = LineString([(col[i], row[i]), (col[i] + step[0], row[i] + step[1])])
            line = LineString(drawn[cuts.line[i]])
            assert line.distance(edge.interpolate(cuts.at[i])) < 1e-9
            assert levels[cuts.line[i]] == cuts.level[i]
    whole = 0  # every edge that a line crosses is there, each time it does
    for col in range(SHAPE[1]):
        for line in drawn:
            meets = LineString(line).intersection(LineString([(col, -0.5), (col, SHAPE[0] - 0.5)]))
            whole += 0 if meets.is_empty else len(getattr(meets, "geoms", [meets]))
    assert len(down.first) == whole


def test_regions_are_what_a_flood_fills():
    """On a grid twice as fine whose cells between nodes are walls where a line cuts."""
    drawn, levels = lines()
    cuts = cuts_of(drawn, levels, SHAPE)
    found = regions_of(SHAPE, cuts)
    fine = np.zeros((2 * SHAPE[0] - 1, 2 * SHAPE[1] - 1), bool)
    fine[::2, ::2] = fine[1::2, ::2] = fine[::2, 1::2] = True
    for one_way, (dr, dc) in zip(cuts, ((1, 0), (0, 1))):
        row, col = np.divmod(one_way.first, SHAPE[1])
        fine[2 * row + dr, 2 * col + dc] = False
    flooded, count = ndimage.label(fine)
    pairs = {*zip(found.of.ravel().tolist(), flooded[::2, ::2].ravel().tolist())}
    assert len(pairs) == len(found.low) == len({a for a, _ in pairs}) == len({b for _, b in pairs})
    inner, ring = found.of[32, 48], found.of[32, 48 + 21]
    assert (found.low[inner], found.high[inner], found.way[inner]) == (5, 5, 1)
    assert (found.low[ring], found.high[ring]) == (3, 4)
    loose = found.of[32, 80]
    assert (found.low[loose], found.high[loose], found.low_open[loose], found.high_open[loose]) == (1.5, 3, True, False)


def dense(cuts, water, stiffness, tension, soft=0.02, slack=0.02, hold=5.0):
    """Least squares of the energy in the module's first lines, row by row."""
    rows, cols = water.shape
    count = rows * cols
    terms, values = [], []

    def term(weight, places, value=0.0):
        row = np.zeros(count)
        for place, factor in places:
            row[place] += factor
        terms.append(np.sqrt(weight) * row)
        values.append(np.sqrt(weight) * value)
    for r in range(rows):
        for c in range(cols):
            i = r * cols + c
            if 0 < r < rows - 1 and 0 < c < cols - 1:
                term(stiffness[r, c] * (1 if water[r, c] else soft),
                     [(i, -4), (i - 1, 1), (i + 1, 1), (i - cols, 1), (i + cols, 1)])
            for j, there in ((i + 1, c + 1 < cols), (i + cols, r + 1 < rows)):
                if there:
                    wet = water.ravel()[i] or water.ravel()[j]
                    term(tension if wet else max(tension, slack), [(i, -1), (j, 1)])
    for one_way in cuts:
        for first, at, level in zip(one_way.first, one_way.at, one_way.level):
            term(hold, [(first, 1 - at), (first + one_way.stride, at)], level)
    terms = np.array(terms)
    return np.linalg.solve(terms.T @ terms, terms.T @ np.array(values)).reshape(water.shape)


@pytest.mark.parametrize("uneven", [False, True])
def test_the_plate_is_the_least_energy(uneven):
    shape = (33, 49)
    drawn, levels = [line / 2 for line in lines()[0]], lines()[1]
    cuts = cuts_of(drawn, levels, shape)
    y, x = np.mgrid[:shape[0], :shape[1]]
    water = ((x - 24) / 22)**2 + ((y - 16) / 14.5)**2 < 1
    stiffness = np.where(x > 30, 0.01, 1.0) if uneven else np.ones(shape)
    tension = 0.01
    told = []
    heights = plate(lambda k, size: cuts_of([line / 2**k for line in drawn], levels, size), water, stiffness, tension,
                    1e-6, 0, told.append)
    np.testing.assert_allclose(heights, dense(cuts, water, stiffness, tension), atol=2e-3)
    assert told[-1] == 1 and np.all(np.diff(told) >= 0)


def test_a_plate_that_is_cancelled_stops():
    drawn, levels = lines()

    class Stopped(Exception):
        pass

    def step(fraction):
        if fraction > 0.3:
            raise Stopped
    with pytest.raises(Stopped):
        plate(lambda k, size: cuts_of([line / 2**k for line in drawn], levels, size), np.ones(SHAPE, bool),
              np.ones(SHAPE), 0.01, 1e-6, 0, step)
