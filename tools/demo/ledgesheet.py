"""The ledge sheet: one object at the foot of a drop-off, hidden from one side and shown from the other."""
from __future__ import annotations

import csv

import numpy as np
from athwart.survey.model.palette import BLUE, INK, PAPER, PURPLE, VERMILION
from qgis.core import (
    QgsCategorizedSymbolRenderer,
    QgsFeature,
    QgsGeometry,
    QgsPointXY,
    QgsProject,
    QgsRectangle,
    QgsRendererCategory,
    QgsSingleSymbolRenderer,
    QgsVectorLayer,
)

from ..basemap import CONTOUR, LAND, SHORE, contour_layer, truth_layer, vector
from ..styles.parts import fill, line, line_symbol, polygon_symbol
from . import chain
from .dress import STYLES, raster
from .section import Floor, section
from .sheet import COLUMN, MARGIN, QUIET, WIDTH, Sheet

HEIGHT = 206.0
TOP = 37.0
SPAN, ACROSS, SKY, DEEP = 52.0, 40.0, 3.4, 14.4
"""Metres shown: along the beam, along the boat's way, above the surface and below it."""
BEYOND = 8.0
WIDE = (WIDTH - 4 * MARGIN - COLUMN) / 2
MM_PER_M = WIDE / SPAN
LEVELS = (5.0, 10.0)
TRUTH, SEEN, BLANK = "#b00020", "#9ecae1", "#f4f5f5"

SYMBOLS = {
    "lit": ("the pass sees", lambda: polygon_symbol(fill(SEEN, 170))),
    "shadow": ("hidden by nearer ground", lambda: polygon_symbol(fill(VERMILION, 205))),
    "water": ("", lambda: polygon_symbol(fill("#eef4f7", 255))),
    "ground": ("", lambda: polygon_symbol(fill("#d9cfbc", 255, outline=SHORE, width=0.35))),
    "hull": ("", lambda: polygon_symbol(fill(INK, 255))),
    "object": ("", lambda: polygon_symbol(fill(TRUTH, 255, outline=PAPER, width=0.3))),
    "seen": ("", lambda: line_symbol(line(BLUE, 1.1))),
    "hidden": ("", lambda: line_symbol(line(VERMILION, 1.1))),
    "ray": ("", lambda: line_symbol(line(INK, 0.2))),
    "surface": ("", lambda: line_symbol(line(CONTOUR, 0.3))),
    "levels": ("", lambda: line_symbol(line(CONTOUR, 0.12, alpha=120))),
    "map floor": ("the floor by the contour map", lambda: line_symbol(line(INK, 0.45, dash=(1.0, 0.8)))),
    "plane": ("plane of the section", lambda: line_symbol(line(INK, 0.3, dash=(1.6, 1.0)))),
}
"""Kind: what the legend calls it, and how it is drawn."""


def drawn(kind, geometry, parts):
    """A layer of rings or lines, (n, 2) arrays each, drawn as ``SYMBOLS`` says."""
    title, symbol = SYMBOLS[kind]
    layer = QgsVectorLayer(f"{geometry}?crs=EPSG:32619", title, "memory")
    features = []
    for part in parts:
        points = [QgsPointXY(x, y) for x, y in np.asarray(part).tolist()]
        feature = QgsFeature()
        feature.setGeometry(QgsGeometry.fromPolygonXY([points]) if geometry == "Polygon"
                            else QgsGeometry.fromPolylineXY(points))
        features.append(feature)
    layer.dataProvider().addFeatures(features)
    layer.updateExtents()
    layer.setRenderer(QgsSingleSymbolRenderer(symbol()))
    QgsProject.instance().addMapLayer(layer, False)
    return layer


def object_of(files, label):
    """The object's entry in the truth: numbers as such."""
    with open(files.sample / "truth" / "objects.csv", encoding="utf-8", newline="") as file:
        (row,) = [row for row in csv.DictReader(file) if row["label"] == label]
    return {name: float(row[name]) for name in ("easting", "northing", "depth_m", "width_m", "height_m")}


class Side:
    """One look at the object: its layers in plan and in section."""

    def __init__(self, files, look, thing, south):
        floors = {name: Floor(files.folder / f"depth_{name}.tif") for name in chain.FLOORS}
        self.look, self.south = look, south
        self.cut = section(look, floors["grid"], south - BEYOND, south + SPAN + BEYOND)
        along = np.interp(self.cut.across, self.cut.plan[:, 1], self.cut.plan[:, 0])
        self.by_map = np.column_stack([self.cut.across, -floors["contours"](along, self.cut.across)])
        self.thing = thing

    def plan(self, files):
        """Layers of the map, topmost first."""
        number = self.look["pass_id"]
        seen = files.folder / f"seen_pass_{number}.tif"
        passes = vector(f"{files.database}|layername=passes|subset=outing = 'north' AND pass_id = {number}", "pass")
        passes.loadNamedStyle(str(STYLES / "passes.qml"))
        layers = [passes, contour_layer(files.sample), raster(seen, "hidden", "seen_hidden"),
                  raster(seen, "seen", "seen")]
        for layer in layers:
            QgsProject.instance().addMapLayer(layer, False)
        return [drawn("plane", "LineString", [self.cut.plan]), *layers]

    def profile(self):
        """Layers of the section, topmost first; across counts from its southern end."""
        cut, y = self.cut, self.cut.head[0]
        floor = np.column_stack([cut.across, cut.floor])
        ends = cut.across[[0, -1]]
        below = np.array([[ends[1], -DEEP - BEYOND], [ends[0], -DEEP - BEYOND]])
        surface = np.column_stack([ends, [0.0, 0.0]])
        hull = np.array([[-1.3, 0.8], [1.3, 0.8], [0.9, -0.25], [-0.9, -0.25]]) + [y, 0]
        thing, half = self.thing, self.thing["width_m"] / 2
        top = -thing["depth_m"] + thing["height_m"]
        lying = np.array([[-half, top], [half, top], [0.6 * half, -thing["depth_m"]], [-0.6 * half, -thing["depth_m"]]])
        made = [("hull", "Polygon", [hull]), ("object", "Polygon", [lying + [thing["northing"], 0]]),
                ("ray", "LineString", [] if cut.ray is None else [cut.ray]), ("hidden", "LineString", cut.hidden),
                ("seen", "LineString", cut.seen), ("map floor", "LineString", [self.by_map]),
                ("ground", "Polygon", [np.vstack([floor, below])]), ("surface", "LineString", [surface]),
                ("levels", "LineString", [surface - [0, level] for level in LEVELS]),
                ("shadow", "Polygon", cut.shadow), ("lit", "Polygon", cut.lit),
                ("water", "Polygon", [np.vstack([surface, below])])]
        return [drawn(kind, geometry, [np.asarray(part) - [self.south, 0] for part in parts])
                for kind, geometry, parts in made]


def missed(files):
    """What the whole outing left hidden or saw too poorly."""
    layer = vector(f"{files.database}|layername=gaps_grid|subset=kind IN ('hidden', 'weak')", "missed")
    layer.setRenderer(QgsCategorizedSymbolRenderer("kind", [
        QgsRendererCategory(kind, polygon_symbol(fill(color, 255, outline=color, width=0.45)), words)
        for kind, color, words in (("hidden", VERMILION, "C: hidden in every pass"),
                                   ("weak", PURPLE, "C: seen, but an object of 1 m may not show"))]))
    return layer


def ways(files):
    """Where the boat went, thin."""
    layer = vector(f"{files.database}|layername=passes|subset=outing = 'north'", "way of the boat")
    layer.setRenderer(QgsSingleSymbolRenderer(line_symbol(line(INK, 0.15, alpha=120))))
    layer.setLabelsEnabled(False)
    return layer


class Panel:
    """Plan and section of one look, one below the other in the same scale."""

    def __init__(self, sheet, x):
        self.sheet, self.x, self.below = sheet, x, TOP + ACROSS * MM_PER_M

    def draw(self, side, files, truth):
        """Both maps; returns the layers that the legend explains, and the map."""
        look, y = side.look, side.cut.head[0] - side.south
        middle = QgsPointXY(look["x"], side.south + SPAN / 2)
        plan, profile = side.plan(files), side.profile()
        seen_from = self.sheet.map((self.x, TOP, WIDE, ACROSS * MM_PER_M),
                                   QgsRectangle.fromCenterAndSize(middle, SPAN, ACROSS), [truth, *plan], BLANK)
        seen_from.setMapRotation(90)
        self.sheet.map((self.x, self.below, WIDE, (SKY + DEEP) * MM_PER_M), QgsRectangle(0, -DEEP, SPAN, SKY), profile,
                       PAPER)
        self.sheet.scale_bar(seen_from, self.x + 3, TOP + 3, 5)
        self.sheet.north_arrow(seen_from, self.x + 3, self.below - 14, 11)
        self._name(side, y)
        return [*plan, *profile], seen_from

    def _name(self, side, y):
        """Words in the section and the plan."""
        thing, number = side.thing, side.look["pass_id"]
        across = thing["northing"] - side.south
        self.word(f"pass {number}, range {side.look['range_m']:.0f} m", y, 2.6)
        self.word("blind", y, -0.55 * side.look["depth_m"], QUIET)
        for level in LEVELS:
            self.word(f"{level:g} m", 1.9, -level + 1.3, QUIET)
        for text, stretches, color in (("hidden", side.cut.hidden, PAPER), ("seen", side.cut.seen, CONTOUR)):
            if stretches:  # the one nearest to the object
                middle = min((part[:, 0].mean() - side.south for part in stretches), key=lambda at: abs(at - across))
                self.sheet.bold(text, (self.x + middle * MM_PER_M - 20, TOP + 0.74 * ACROSS * MM_PER_M, 40, 5), 10,
                                color, centred=True)
        down = (thing["easting"] - side.look["x"] + ACROSS / 2) * MM_PER_M
        self.sheet.tag(chain.LEDGE, self.x + across * MM_PER_M, TOP + down + 2.5, TRUTH)
        self.word(chain.LEDGE, across, -thing["depth_m"] - 0.5, TRUTH)
        for ring in side.cut.shadow:
            self.word("hidden", ring[:, 0].min() - side.south - 2.6, ring[:, 1].mean() + 0.8, VERMILION)

    def word(self, text, across, up, color=INK):
        """A short text centred at a place of the section, metres from its left end and above the water."""
        width, height = 40.0, 4.0
        return self.sheet.words(text, (self.x + across * MM_PER_M - width / 2, self.below + (SKY - up) * MM_PER_M - 1,
                                       width, height), 8, color, centred=True)


def draw(files, figures, base, target):
    """Draw the sheet.

    Parameters
    ----------
    files : chain.Files
    figures : list of (str, str)
        Heading and text of the figures beside the pictures.
    base : dict
        Base layers by title.
    target : pathlib.Path
    """
    sheet = Sheet(QgsProject.instance(), HEIGHT, "The Step",
                  "A ledge hides what lies at its foot from the boat above it; the boat below sees the same object. "
                  "Plans, and sections through the beam in the same scale.")
    looks = sorted(chain.looks_at(files, chain.LEDGE), key=lambda look: not look["hidden"])
    thing = object_of(files, chain.LEDGE)
    south = float(np.mean([look["y"] for look in looks])) - SPAN / 2
    truth = truth_layer(files.sample)
    truth.setLabelsEnabled(False)
    column = WIDTH - MARGIN - COLUMN
    y = TOP
    for heading, text in figures:
        y = sheet.figure(heading, text, column, y)
    sheet.bold("C   The north outing as a whole", (column, y, COLUMN, 5))
    whole = vector(f"{files.database}|layername=areas_grid", "area searched")
    whole.loadNamedStyle(str(STYLES / "areas.qml"))
    whole.setLabelsEnabled(False)
    extent = whole.extent()
    extent.scale(1.05)
    left_over, way, contours = missed(files), ways(files), contour_layer(files.sample)
    contours.setLabelsEnabled(False)
    main = sheet.map((column, y + 6, COLUMN, COLUMN * 0.62), extent,
                     [truth, left_over, way, whole, base["lake"], contours, base["depth (m)"]], LAND)
    explained = {}
    for k, look in enumerate(looks):
        x, letter = MARGIN + k * (WIDE + MARGIN), "AB"[k]
        where = "above the ledge: the rowboat is hidden" if look["hidden"] else "below it: the rowboat shows"
        sheet.bold(f"{letter}   Pass {look['pass_id']}, {where}", (x, TOP - 6.5, WIDE, 5.5), 11.5)
        layers, plan = Panel(sheet, x).draw(Side(files, look, thing, south), files, truth)
        explained.update((layer.name(), layer) for layer in layers)
    sheet.show_frame(main, plan, "A, B")
    for layer in (truth, left_over, way, whole, contours):
        QgsProject.instance().addMapLayer(layer, False)
    named = [explained[SYMBOLS[kind][0]] for kind in ("lit", "shadow", "map floor", "plane")]
    sheet.legend([*named, truth, left_over], column, y + 9 + COLUMN * 0.62)
    sheet.export(target)
