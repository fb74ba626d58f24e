"""The map of a report paints what the layer holds: the picture is read back and filled cell by cell."""
import re

import numpy as np
import pytest
import shapely.geometry as sg
import svgpaint
from athwart.survey.report import mapsvg, pages

BLUE = "#9fc5d8"


def strips():
    """Lines 40 m apart whose strips reach 45 m to either side, so that all ground is seen twice or thrice; an island
    (a hole) in one, one of two parts, and one that lies across all others."""
    made = [sg.box(0, 40 * i + low, 300, 40 * i + high) for i in range(6) for low, high in ((4, 45), (-45, -4))]
    made[3] = sg.Polygon(made[3].exterior.coords, [[(100, 5), (140, 5), (140, 25), (100, 25)]])
    made.append(sg.MultiPolygon([sg.box(310, 0, 350, 60), sg.box(310, 80, 350, 140)]))
    made.append(sg.Polygon([(50, -60), (90, -60), (260, 260), (220, 260)]))
    return made


def rings(geometry):
    return [np.asarray(ring.coords)[:-1] for part in getattr(geometry, "geoms", [geometry])
            for ring in (part.exterior, *part.interiors)]


@pytest.fixture
def drawing():
    return mapsvg.draw_map([mapsvg.MapLayer("Bottom seen", mapsvg.Ink(BLUE), strips())], "t")


def cells(geometries, step=1.0):
    """Middles of cells over all of it, metres."""
    low = np.min([g.bounds[:2] for g in geometries], axis=0) - 5
    high = np.max([g.bounds[2:] for g in geometries], axis=0) + 5
    x, y = np.meshgrid(np.arange(low[0] + step / 2, high[0], step), np.arange(low[1] + step / 2, high[1], step))
    return x.ravel(), y.ravel()


def to_drawing(svg, geometries):
    """(scale, x, y -> drawing units), fitted from the furthest vertices: neither margin nor scale is taken on trust."""
    drawn = np.vstack([ring for path in svgpaint.paths(svg, BLUE) for ring in path])
    truth = np.vstack([ring for g in geometries for ring in rings(g)])
    scale = np.ptp(drawn, axis=0) / np.ptp(truth, axis=0)
    assert scale[0] == pytest.approx(scale[1], rel=1e-3)
    return scale[0], lambda x, y: (drawn[:, 0].min() + (x - truth[:, 0].min()) * scale[0],
                                   drawn[:, 1].min() + (truth[:, 1].max() - y) * scale[1])


def test_every_cell_of_the_picture_is_painted_as_the_layer_has_it(drawing):
    layer = strips()
    x, y = cells(layer)
    truth, edge = np.zeros(len(x), bool), np.zeros(len(x), bool)
    for g in layer:
        truth |= svgpaint.crossings(rings(g), x, y) % 2 == 1
        edge |= svgpaint.near_edge(rings(g), x, y, 0.5)
    _, place = to_drawing(drawing, layer)
    shown = svgpaint.painted(drawing, BLUE, *place(x, y))
    assert truth.sum() > 50_000
    assert not (truth & ~shown & ~edge).any(), f"{100 * (truth & ~shown).sum() / truth.sum():.1f} % unpainted"
    assert not (shown & ~truth & ~edge).any()


def test_one_path_a_polygon(drawing):
    assert len(svgpaint.paths(drawing, BLUE)) == sum(len(getattr(g, "geoms", [g])) for g in strips())
    assert all(len(re.findall("M", d)) <= 2 for d in re.findall(r'<path d="([^"]+)"', drawing))  # a shell and its hole


def test_what_is_too_small_to_be_seen_does_not_break_the_map():
    dot = sg.Polygon([(0, 0), (1e-6, 0), (0, 1e-6)])
    svg = mapsvg.draw_map([mapsvg.MapLayer("Bottom seen", mapsvg.Ink(BLUE), [dot, sg.box(0, 0, 900, 900)])], "t")
    assert not re.search(r'd="[^"]*nan', svg) and len(svgpaint.paths(svg, BLUE)) == 2


def test_a_map_is_as_wide_as_the_pens_take_it_to_be(drawing):
    """960 drawing units, which widths of lines are given in; nothing is painted beyond them."""
    assert 'viewBox="0 0 960 ' in drawing
    drawn = np.vstack([ring for path in svgpaint.paths(drawing, BLUE) for ring in path])
    assert drawn[:, 0].min() >= 0 and drawn[:, 0].max() <= 960


@pytest.mark.parametrize("wide, tall", [(400, 100), (100, 1000)])
def test_the_scale_told_is_that_of_the_scale_bar_on_paper(wide, tall):
    """A page of A4 leaves 182 mm of width, and the rules for print 145 mm of height: the bar is so long there."""
    layers = [mapsvg.MapLayer("Bottom seen", mapsvg.Ink(BLUE), [sg.box(0, 0, wide, tall)])]
    svg = mapsvg.draw_map(layers, "t")
    width, height = map(float, re.search(r'viewBox="0 0 (\d+) (\d+)"', svg).groups())
    mm = min(182 / width, 145 / height)
    start, end, metres = map(float, re.search(
        r'<line x1="([\d.]+)" y1="[\d.]+" x2="([\d.]+)".*?<text[^>]*>(\d+) m</text>', svg, re.S).groups())
    told = mapsvg.scale_on_paper(layers, mapsvg.Setting())
    assert told == pytest.approx(1000 * metres / ((end - start) * mm), rel=0.05)  # two figures are told
    assert "max-height:145mm" in pages.page("t", "", [])
