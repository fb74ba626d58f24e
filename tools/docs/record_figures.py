"""tools/run.sh tools.docs.record_figures: the guide's pictures of records, docs/images/{moments,echoes,...}.png.

The records are drawn by the sample's simulator; band, places and shadows marked on them are computed with the product's
own code. Needs matplotlib beside the core's packages. Look at the result.
"""
from __future__ import annotations

import io
import math
import pathlib
from dataclasses import replace

import matplotlib

matplotlib.use("agg")
import clone
import matplotlib.pyplot as plt
import numpy as np
from matplotlib.patches import Circle, Polygon, Rectangle
from PIL import Image

from . import small_png

clone.load()
from athwart.survey.beams import ranges  # noqa: E402

from sample_project.simulate import floors, plan, ways  # noqa: E402
from sample_project.simulate.waterfall import Display, Noise, draw  # noqa: E402

IMAGES = pathlib.Path(__file__).resolve().parents[2] / "docs" / "images"
INK, GOLD, BLUE, RED, GREY, WATER = "#12384a", "#b36b00", "#0b5a80", "#b3261e", "#5b6f79", "#dceaf0"
COLOURS = "copper"
"""Of records: dark is no echo."""
plt.rcParams.update({"font.family": "DejaVu Sans", "font.size": 10, "axes.edgecolor": GREY, "axes.labelcolor": INK,
                     "text.color": INK, "xtick.color": INK, "ytick.color": INK})


def save(figure, name):
    """One PNG of few colours, the same bytes each time."""
    drawn = io.BytesIO()
    figure.savefig(drawn, dpi=96, metadata={"Software": None}, bbox_inches="tight")
    plt.close(figure)
    small_png.of_few_colours(Image.open(drawn).convert("RGB"), 80).save(IMAGES / f"{name}.png", optimize=True)


def show(axes, made, rows, title=None):
    """Rows (first, last) of a record."""
    first, last = rows
    axes.imshow(made.grey[first:last], cmap=COLOURS, aspect="auto", vmin=0, vmax=235, interpolation="nearest",
                extent=(0, made.grey.shape[1], last, first))
    axes.set(xticks=[], yticks=[])
    if title:
        axes.set_title(title, fontsize=10, color=INK)


def label(axes, words, at, text_at, colour="white"):
    """Words with an arrow to a pixel."""
    axes.annotate(words, at, text_at, color=colour, fontsize=9, ha="center", va="center",
                  bbox={"facecolor": "#140c08", "edgecolor": "none", "pad": 1.5},
                  arrowprops={"arrowstyle": "->", "color": colour, "lw": 1.2})


def boat(axes, u, v, azimuth, size=3.0):
    """A hull seen from above."""
    shape = np.array([(0, 1.2), (0.4, 0.3), (0.4, -0.9), (-0.4, -0.9), (-0.4, 0.3)]) * size
    sin, cos = math.sin(azimuth), math.cos(azimuth)
    axes.add_patch(Polygon([(u + a * cos + b * sin, v - a * sin + b * cos) for a, b in shape], color=INK, zorder=5))


# --- a record beside the map ---------------------------------------------------------------------------------------

DEPTH, RANGE, TRUNK = 6.0, 27.0, plan.Thing("trunk", 15.0, 30.0, 6.0, 1.3, 1.4, 25.0, "")
MOMENTS = ((15.0, "The trunk is abeam"), (28.0, "The boat has gone on"), (56.0, "The boat has turned"))
SHOWN_S = 44.0
"""Seconds of record on the screen."""


def moments():
    """Three moments of one run: the map above, the screen below it."""
    way = ways.Steered(((60.0, 2.0, 0.0), (math.pi * 17, 2.0, 180.0), (60.0, 2.0, 0.0)))
    floor = floors.Floor(floors.flat(DEPTH), floors.texture(5, 0.35), (TRUNK,))
    display = Display(ranges=((0.0, RANGE),), half=200, squeeze=2)
    figure, axes = plt.subplots(2, 3, figsize=(9.6, 7.8), height_ratios=[1.15, 1],
                                gridspec_kw={"hspace": 0.03, "wspace": 0.05})
    reach = float(ranges.ground_range(RANGE, DEPTH))
    blind = float(ranges.blind_range(DEPTH, 20.0))
    noise = Noise(speckle=5.0, clutter=0.008, beam_deg=1.0, fall_off=0.6, fish=1.3, gamma=0.6)
    made = draw(way, floor, display, noise, seed=11)
    for (moment, title), chart, screen in zip(MOMENTS, *axes):
        t = np.linspace(max(moment - SHOWN_S, way.begin), moment, 200)
        u, v, azimuth, _ = way.at(t)
        for side in (-1, 1):
            inner, outer = ((u + side * g * np.cos(azimuth), v - side * g * np.sin(azimuth)) for g in (blind, reach))
            for k in range(len(t) - 1):
                chart.fill([inner[0][k], inner[0][k + 1], outer[0][k + 1], outer[0][k]],
                           [inner[1][k], inner[1][k + 1], outer[1][k + 1], outer[1][k]], color="#f2d49a", lw=0)
        chart.plot(u, v, color=INK, lw=1.2)
        u, v, azimuth = (float(x[-1]) for x in way.at(t)[:3])
        cos, sin = math.cos(azimuth) * reach, math.sin(azimuth) * reach
        chart.plot([u - cos, u + cos], [v + sin, v - sin], color=RED, lw=1.5)
        boat(chart, u, v, azimuth)
        chart.add_patch(Rectangle((TRUNK.u - 0.65, TRUNK.v - 3), 1.3, 6, angle=-TRUNK.points_deg,
                                  rotation_point="center", color=RED, zorder=4))
        chart.set(xlim=(-32, 66), ylim=(-6, 106), aspect="equal", xticks=[], yticks=[], facecolor=WATER)
        chart.set_title(title, fontsize=11, color=INK)
        ping = int(np.searchsorted(made.t, moment))
        rows = made.shown <= ping
        top, count = int(np.argmax(rows)), int(SHOWN_S / (made.t[2] - made.t[0]))
        last = min(top + count, len(made.grey))
        show(screen, made, (top, last))
        screen.set_ylim(top + count, top)
        screen.set_facecolor("black")
    look = made.looks(TRUNK.u, TRUNK.v, TRUNK.height)[0]
    axes[0, 1].annotate("trunk", (TRUNK.u + 1, TRUNK.v), (46, 20), color=RED, fontsize=9,
                        arrowprops={"arrowstyle": "->", "color": RED})
    axes[0, 0].text(-30, 40, "in red: what this\nrow looks at", color=RED, fontsize=9)
    _moment_labels(axes[1], made, look, count)
    axes[1, 0].set_ylabel("newest row on top", color=INK)
    for column, screen in enumerate(axes[1]):
        screen.set_xlabel(f"port {RANGE:g} m   |   starboard {RANGE:g} m" if column == 1 else "", fontsize=9)
    save(figure, "moments")


def _moment_labels(screens, made, look, count):
    """Band, object, shadow and fish on the middle screen; the object on the others."""
    column, row = made.pixel(look)
    beyond = look[2] * DEPTH / (DEPTH - TRUNK.height)
    end = float(made.column(look[0], look[1], beyond))
    edge = float(made.column(look[0], -1, DEPTH))
    middle = screens[1]
    top = middle.get_ylim()[1]
    label(middle, "trunk", (column, row), (column + 20, row - count * 0.16))
    label(middle, "shadow", ((column + end) / 2 + 6, row), (end - 5, row + count * 0.17))
    label(middle, "bottom\nbegins", (edge, top + count * 0.3), (edge - 85, top + count * 0.14))
    label(middle, "band of\nwater", (made.centre - 16, top + count * 0.5), (made.centre - 125, top + count * 0.5))
    water = made.grey[int(top):int(top + count * 0.6)].astype(float)
    offset = np.abs(np.arange(water.shape[1]) - made.centre) / made.display.half * RANGE / DEPTH
    water[:, (offset < 0.25) | (offset > 0.9)] = 0
    fish = np.unravel_index(int(np.argmax(water)), water.shape)
    label(middle, "fish", (fish[1], top + fish[0] + 2), (made.centre + 100, top + count * 0.07))
    label(screens[0], "trunk, now", (column, row + 4), (column, row + 80))
    label(screens[2], "trunk, before\nthe turn", (column, row), (column - 5, row - count * 0.17))
    newest = screens[2].get_ylim()[1]
    label(screens[2], "inside of the\nturn, again\nand again", (made.centre + 130, newest + count * 0.36),
          (made.centre + 115, newest + count * 0.15))


# --- echoes in the water -------------------------------------------------------------------------------------------

def echoes():
    """Fish, surface clutter, a standing trunk and a lost bottom in the band."""
    way = ways.Steered(((70.0, 2.0, 0.0),))
    pole = plan.Thing("pole", 3.0, 47.0, 1.0, 1.0, 6.0, 0.0, "")
    floor = floors.Floor(floors.rolling(9.0, 0.7, 50.0), floors.texture(8, 0.4), (pole,), crown=0.1)
    noise = Noise(speckle=5.0, clutter=0.008, beam_deg=1.2, fall_off=0.6, fish=2.2, surface=0.12, lost=0.02,
                  lost_for=8, gamma=0.6)
    made = draw(way, floor, Display(ranges=((0.0, 24.0),), half=240), noise, seed=4)
    figure, axes = plt.subplots(figsize=(8.6, 5.6))
    show(axes, made, (0, len(made.grey)))
    column, row = made.pixel(made.looks(pole.u, pole.v, pole.height)[0])
    label(axes, "top of a standing trunk", (column + 3, row), (made.centre + 155, row - 25))
    water = made.grey.astype(float)
    offset = np.abs(np.arange(water.shape[1]) - made.centre) / made.display.half * 24.0 / 9.0
    water[:, (offset < 0.35) | (offset > 0.8)] = 0
    water[int(row) - 25:int(row) + 25] = 0
    for at in _brightest(water, 3):
        label(axes, "fish", (at[1], at[0] + 1), (made.centre + math.copysign(140, at[1] - made.centre), at[0] + 12))
    gone = int(np.flatnonzero(made.lost[made.shown])[0])
    label(axes, "bottom lost", (made.centre + 100, gone + 3), (made.centre + 190, gone + 35))
    label(axes, "the surface, and bubbles\nof the boat", (made.centre - 4, 330), (made.centre - 165, 345))
    edge = made.column(made.shown, 1, draw(way, replace(floor, things=()), made.display).first[1][made.shown])
    axes.plot(edge, np.arange(len(edge)) + 0.5, color="#7fd4ff", lw=1, ls="--")
    label(axes, "where the bottom begins", (edge[60], 60), (made.centre + 165, 90), "#7fd4ff")
    save(figure, "echoes")


def _brightest(values, count, apart=60):
    """(row, column) of the brightest pixels, some rows apart."""
    left, found = values.copy(), []
    for _ in range(count):
        at = np.unravel_index(int(np.argmax(left)), left.shape)
        found.append(at)
        left[max(at[0] - apart, 0):at[0] + apart] = 0
    return found


# --- distortions ---------------------------------------------------------------------------------------------------

def distortions():
    """Circles and a straight line on the floor, and what a record makes of them: stretched, squeezed, bent."""
    radius, display = 3.0, Display(ranges=((0.0, 24.0),), half=200, squeeze=2, layout="starboard")
    painted = Noise(painted=True)
    rings = [(15.0, 8.0, radius), (15.0, 22.0, radius)]
    across = [(u, 12.0, radius) for u in (4.4, 11.6, 18.8)]
    line = ((14.0, 0.0), (14.0, 60.0))
    cases = (
        ("Stretched: slow, then fast", ways.Steered(((15.0, 0.8, 0.0), (15.0, 2.4, 0.0))), {"circles": rings}, 5.0),
        ("Squeezed: near the boat, far out", ways.Steered(((24.0, 1.6, 0.0),)), {"circles": across}, 6.0),
        ("Bent: a straight edge in a turn", ways.Steered(((12.0, 1.6, 0.0), (14.0, 1.6, -28.0), (6.0, 1.6, 0.0))),
         {"lines": [line]}, 5.0))
    figure, axes = plt.subplots(2, 3, figsize=(9.6, 7.2), gridspec_kw={"hspace": 0.08, "wspace": 0.08})
    for (title, way, what, depth), chart, screen in zip(cases, *axes):
        made = draw(way, floors.Floor(floors.flat(depth), floors.marked(width_m=0.6, **what)), display, painted)
        u, v = way.at(np.linspace(way.begin, way.end, 200))[:2]
        chart.plot(u, v, color=INK)
        boat(chart, float(u[-1]), float(v[-1]), float(way.at(np.array([way.end]))[2][0]), 1.6)
        for a, b, r in what.get("circles", ()):
            chart.add_patch(Circle((a, b), r, fill=False, color=RED, lw=2))
        for a, b in what.get("lines", ()):
            chart.plot(*zip(a, b), color=RED, lw=2)
        chart.set(xlim=(-9, 25), ylim=(-2, 36), xticks=[], yticks=[], facecolor=WATER, aspect="equal")
        chart.set_title(title, fontsize=10.5, color=INK)
        show(screen, made, (0, len(made.grey)))
    axes[0, 0].set_ylabel("on the map")
    axes[1, 0].set_ylabel("on the record, newest row on top")
    save(figure, "distortions")


# --- structure -----------------------------------------------------------------------------------------------------

def structure():
    """Six things that anglers look for, as a record shows them from 5 to 25 m off."""
    thing, flat = plan.Thing, floors.flat(6.0)
    rng = np.random.default_rng(3)
    pile = tuple(thing("", 13 + rng.normal(0, 1.8), 20 + rng.normal(0, 2.6), *rng.uniform(0.6, 1.7, 3),
                       rng.uniform(0, 180), "") for _ in range(34))
    hull = (thing("", 14.0, 20.0, 6.0, 2.0, 1.2, 35.0, ""),)
    tree = (thing("", 12.0, 20.0, 11.0, 0.7, 0.9, 20.0, ""), thing("", 14.5, 23.5, 4.5, 0.35, 0.9, 75.0, ""),
            thing("", 12.9, 25.3, 3.6, 0.3, 0.8, -25.0, ""), thing("", 15.2, 21.5, 3.0, 0.3, 0.7, 110.0, ""))

    def step(to):
        def depth(u, v):
            edge = 12.5 + 1.6 * np.sin(np.asarray(v) / 6.0)
            return 6.0 + to * np.clip((np.asarray(u) - edge) / 2.0, 0, 1)
        return depth

    def patches(u, v):
        return np.where(np.asarray(u) + 2.5 * np.sin(np.asarray(v) / 5.0) > 14.0, 2.0, 0.45)
    cases = (("Fallen tree", flat, tree, None), ("Pile of rocks", flat, pile, None), ("Sunken boat", flat, hull, None),
             ("The bottom drops away", step(1.6), (), None), ("The bottom rises", step(-2.6), (), None),
             ("Soft bottom, then hard", flat, (), patches))
    display = Display(ranges=((0.0, 25.0),), half=220, squeeze=2, layout="starboard")
    noise = Noise(speckle=5.0, clutter=0.008, beam_deg=0.8, fall_off=0.5, gamma=0.6)
    grain = floors.texture(21, 0.22, 0.8, 12.0)
    figure, axes = plt.subplots(2, 3, figsize=(9.6, 7.0), gridspec_kw={"hspace": 0.14, "wspace": 0.05})
    for (title, depth, things, kind), panel in zip(cases, axes.flat):
        def bright(u, v, kind=kind):
            return grain(u, v) * (1.0 if kind is None else kind(u, v))
        made = draw(ways.Steered(((40.0, 1.6, 0.0),)), floors.Floor(depth, bright, things, shine=3.0), display, noise,
                    seed=2)
        show(panel, made, (0, len(made.grey)), title)
    figure.text(0.5, 0.08, "boat on the left of each picture; 25 m to the right; the boat runs 40 m from below upwards",
                ha="center", color=GREY, fontsize=9)
    save(figure, "structure")


if __name__ == "__main__":
    moments()
    echoes()
    distortions()
    structure()
