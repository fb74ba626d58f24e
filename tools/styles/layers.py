"""The style of every output layer, plugin/styles/<layer>.qml.

Colours are of the Okabe-Ito
set, told apart with any colour vision; every distinction is also one of shape, width or hatching, for print in grey.
"""
from __future__ import annotations

import pathlib

from athwart.survey.model.palette import AMBER, BED, BLUE, GREY, INK, PAPER, PURPLE, SHARES, VERMILION
from qgis.core import (
    QgsMapLayer,
    QgsPalLayerSettings,
    QgsProperty,
    QgsRuleBasedLabeling,
    QgsRuleBasedRenderer,
    QgsSymbolLayer,
    QgsVectorLayer,
    QgsVectorLayerSimpleLabeling,
)
from qgis.PyQt.QtGui import QFont

from .parts import (
    arrows,
    casing,
    fill,
    hatch,
    label_text,
    line,
    line_symbol,
    mark,
    marker_symbol,
    polygon_symbol,
)

STYLES = pathlib.Path(__file__).resolve().parents[2] / "plugin" / "styles"


def rules(*parts):
    """Renderer of (label, filter or '' or 'ELSE', symbol, largest scale denominator or 0) in drawing order."""
    root = QgsRuleBasedRenderer.Rule(None)
    root.setRuleKey("{athwart}")
    for number, (label, condition, symbol, *scale) in enumerate(parts):
        rule = QgsRuleBasedRenderer.Rule(symbol, 0, 0, condition, label)
        if scale:
            rule.setMinimumScale(scale[0])
        rule.setRuleKey(f"{{athwart-{number}}}")
        root.appendChild(rule)
    renderer = QgsRuleBasedRenderer(root)
    renderer.setUsingSymbolLevels(False)
    return renderer


def label_rules(*parts):
    """Labelling of (filter, settings)."""
    root = QgsRuleBasedLabeling.Rule(None)
    root.setRuleKey("{athwart-labels}")
    for number, (condition, settings) in enumerate(parts):
        rule = QgsRuleBasedLabeling.Rule(settings, 0, 0, condition)
        rule.setRuleKey(f"{{athwart-label-{number}}}")
        root.appendChild(rule)
    return QgsRuleBasedLabeling(root)


def length(expression):
    """Expression of a length in metres as text, in the unit of the layer's variable: m, or ft."""
    return (f"if(coalesce(@athwart_unit,'m') = 'ft', round({expression} / 0.3048) || ' ft', "
            f"round({expression},1) || ' m')")


def area(expression):
    """The same of an area in square metres."""
    return (f"if(coalesce(@athwart_unit,'m') = 'ft', round({expression} / 0.09290304) || ' ft²', "
            f"round({expression}) || ' m²')")


def swaths():
    """Bottom seen: the bed, of no hue, darker where passes overlap; blue is depth. Sides are not the message here."""
    seen = polygon_symbol(fill(BED, 70, outline=BED, outline_alpha=120, width=0.08))
    return "Polygon", rules(("bottom seen", "", seen)), None


def gaps():
    """Gaps: solid where they stay whatever the position error, hatched where they may not be there; grey under the
    boat. The number is that of the report; it stands alone where the words have no room."""
    sure = polygon_symbol(fill(None, 0, outline=PAPER, outline_alpha=200, width=0.7),
                          fill(VERMILION, 165, outline=VERMILION, width=0.3))
    unsure = polygon_symbol(hatch(VERMILION, 45, 1.6, 0.3),
                            fill(VERMILION, 28, outline=VERMILION, width=0.26, dash=True))
    under = polygon_symbol(fill(GREY, 150, outline=GREY, width=0.15))
    # The words are some 26 mm wide and 7 high on the map; a gap under 4 square millimetres has no number.
    mm = "(@map_scale / 1000)"
    unit = f"({mm} * sqrt(area($geometry) / \"area_m2\"))"  # the same in units of the layer, which may be degrees
    roomy = " OR ".join(f"contains($geometry, bounds(make_line(translate({at}, -13 * {unit}, -3.5 * {unit}), "
                        f"translate({at}, 13 * {unit}, 3.5 * {unit}))))"
                        for at in ("centroid($geometry)", "point_on_surface($geometry)"))
    words = "'gap ' || \"gap_id\" || ', ' || \"kind\" || '\\n' || " + area('"area_m2"')
    full = label_text(f"if(\"kind\" <> 'nadir' AND ({roomy}), {words}, '')", 7.5, INK,
                      QgsPalLayerSettings.Placement.Horizontal, up_to=30000)
    full.fitInPolygonOnly = True
    silent = f"\"kind\" = 'nadir' OR ({roomy}) OR \"area_m2\" < 4 * {mm} ^ 2"
    number = label_text(f"if({silent}, '', 'gap ' || \"gap_id\")", 7.5, INK,
                        QgsPalLayerSettings.Placement.Horizontal, up_to=30000)
    return "Polygon", rules(("under the boat", "\"kind\" = 'nadir'", under),
                            ("gap, certain", "\"certain\" AND \"kind\" <> 'nadir'", sure),
                            ("gap, within the position error", "ELSE", unsure)), label_rules(("", full), ("", number))


def shore():
    """Shore: what was not scanned stands out, thick and cased."""
    missed = line_symbol(casing(1.1), line(PURPLE, 0.7, dash=(2.0, 0.9)))
    return "LineString", rules(("shore scanned", "\"status\" = 'scanned'", line_symbol(line(BLUE, 0.7))),
                               ("shore not scanned", "\"status\" = 'unscanned'", missed)), None


def passes():
    """Passes: thin, with arrows the way the boat went and the number when near."""
    symbol = line_symbol(line(INK, 0.24), arrows(INK, 2.2, 34))
    number = label_text('"pass_id"', 7, INK, QgsPalLayerSettings.Placement.Line, up_to=25000, first=False)
    return "LineString", rules(("pass, the way of the boat", "", symbol)), QgsVectorLayerSimpleLabeling(number)


def track():
    """Samples: used ones small and dark, those left out as open circles."""
    return "Point", rules(
        ("sample left out", "NOT \"usable\"", marker_symbol(mark("circle", 1.2, None, VERMILION, 0.25)), 25000),
        ("sample", '"usable"', marker_symbol(mark("circle", 0.75, INK, None)), 25000),
        ("track", "", marker_symbol(mark("circle", 0.5, GREY, None)))), None


def fixes():
    """Fixes as logged: those with a depth dark, those without open."""
    return "Point", rules(
        ("fix without depth", '"depth_m" IS NULL', marker_symbol(mark("circle", 1.0, PAPER, GREY, 0.2))),
        ("fix with depth", "ELSE", marker_symbol(mark("circle", 0.9, BLUE, None)))), None


def bottom_line():
    """Line of the bottom on a picture: dots where it shows, crosses where it is carried over."""
    return "Point", rules(
        ("bottom, unsure", '"sure" IS FALSE', marker_symbol(mark("cross2", 1.6, None, VERMILION, 0.4))),
        ("bottom", "ELSE", marker_symbol(mark("circle", 0.8, AMBER, None)))), None


def waypoints():
    """Waypoints: a flag-like square and the name."""
    symbol = marker_symbol(mark("square", 2.0, AMBER, INK, 0.25))
    return "Point", rules(("waypoint", "", symbol)), QgsVectorLayerSimpleLabeling(label_text('"name"', 7, up_to=25000))


def marks():
    """Marks drawn by hand: a ring that leaves the echo in sight, and the label."""
    symbol = marker_symbol(mark("circle", 3.2, None, PAPER, 0.9), mark("circle", 3.2, None, VERMILION, 0.4))
    return "Point", rules(("mark", "", symbol)), QgsVectorLayerSimpleLabeling(label_text('"label"', 7.5))


def _by_status():
    """Symbols of targets on a pale disc: the shape tells the status."""
    plain = [("target", "\"status\" = 'bottom' OR \"status\" IS NULL", mark("diamond", 3.0, AMBER, INK, 0.35)),
             ("target near nadir", "\"status\" = 'near nadir'", mark("diamond", 3.0, PAPER, INK, 0.45)),
             ("target, side unsure", "\"status\" = 'side unsure'", mark("half_square", 2.8, PAPER, INK, 0.4)),
             ("target in the water column", "\"status\" = 'water column'", mark("triangle", 2.8, PAPER, INK, 0.4)),
             ("target, ambiguous or off the grid", "ELSE", mark("cross2", 2.6, None, INK, 0.6))]
    return rules(*((label, test, marker_symbol(mark("circle", 4.6, PAPER, None, alpha=150), symbol))
                   for label, test, symbol in plain))


def targets():
    """Targets: the shape tells the status; the label the name and how far off it may be."""
    named = "coalesce(nullif(\"label\",''), 'target ' || \"target_id\")"
    off = f"""if("radius_m" IS NULL, '', '\\n± ' || {length('"radius_m"')})"""
    # One name for many looks at one object; two objects of one name, each beyond the other's circle, both keep it.
    looks = "array_agg(array(\"target_id\", $x, $y, \"radius_m\"), \"label\")"
    before = ("@element[0] < \"target_id\" AND sqrt((@element[1] - $x)^2 + (@element[2] - $y)^2) <"
              " coalesce(@element[3], 0) + coalesce(\"radius_m\", 0)")
    once = f"coalesce(\"label\",'') = '' OR array_length(array_filter({looks}, {before})) = 0"
    bold = QFont.Weight.DemiBold
    each = label_text(f"{named} || ', pass ' || \"pass_id\" || {off}", 7, up_to=500, weight=bold, first=True)
    near = label_text(f"if({once}, {named} || {off}, '')", 7.5, up_to=3000, weight=bold, first=True)
    near.maximumScale = 500
    far = label_text(f"if({once}, {named}, '')", 7.5, up_to=30000, weight=bold, first=True)
    far.maximumScale = 3000
    return "Point", _by_status(), label_rules(("", each), ("", near), ("", far))


def combined():
    """Combined targets: as targets, with the number of looks."""
    named = "coalesce(nullif(\"label\",''), 'object ' || \"target_id\")"
    looks = "\"looks\" || if(\"looks\" = 1, ' look', ' looks')"
    near = label_text(f"""{named} || '\\n± ' || {length('"radius_m"')} || ', ' || {looks}""", 7.5, up_to=3000,
                      weight=QFont.Weight.DemiBold, first=True)
    far = label_text(named, 7.5, up_to=30000, weight=QFont.Weight.DemiBold, first=True)
    far.maximumScale = 3000
    return "Point", _by_status(), label_rules(("", near), ("", far))


def casts():
    """Casts: the first to each target dark with distance and clock direction, the rest of the pattern thin."""
    first = label_text(f"""if("cast_no" = 1, {length('"distance_m"')} || ', ' || "clock", '')""", 7.5, INK,
                       QgsPalLayerSettings.Placement.Line, up_to=10000)
    return "LineString", rules(
        ("cast of the pattern", '"cast_no" > 1', line_symbol(line(GREY, 0.2))),
        ("target out of reach", "\"reach\" = 'out of reach'", line_symbol(line(VERMILION, 0.4, dash=(2.0, 1.2)))),
        ("cast at the target", "ELSE", line_symbol(casing(0.9), line(INK, 0.45)))), QgsVectorLayerSimpleLabeling(first)


def stations():
    """Stations: a hull that points where the bow does."""
    hull = mark("arrow", 4.5, INK, PAPER, 0.2)
    hull.setDataDefinedProperty(QgsSymbolLayer.Property.PropertyAngle,
                                QgsProperty.fromExpression('"heading_deg"'))
    number = label_text('"station_id"', 7.5, up_to=25000)
    return "Point", rules(("place to cast from", "", marker_symbol(hull))), QgsVectorLayerSimpleLabeling(number)


def objects():
    """Measured objects: a box as it lies, its bounds dashed where it is cut or hardly larger than the beam."""
    sure = polygon_symbol(fill(None, 0, outline=PAPER, outline_alpha=220, width=0.8),
                          fill(PURPLE, 60, outline=PURPLE, width=0.4))
    bound = polygon_symbol(fill(None, 0, outline=PAPER, outline_alpha=220, width=0.8),
                           fill(PURPLE, 30, outline=PURPLE, width=0.4, dash=True))
    feet = "coalesce(@athwart_unit,'m') = 'ft'"

    def size(name):
        bound = f"if(coalesce(\"{name}_at_least\",false),'≥ ',if(coalesce(\"{name}_at_most\",false),'≤ ',''))"
        return f"{bound} || if({feet}, round(\"{name}_m\" / 0.3048), round(\"{name}_m\", 1))"
    words = label_text(f"trim(concat(attribute('label'), ' ', {size('length')}, ' x ' || {size('width')}, "
                       f"if({feet}, ' ft', ' m')))", 7.5, INK, QgsPalLayerSettings.Placement.OutsidePolygons,
                       up_to=3000)
    cut = " or ".join(f"coalesce(attribute('{name}'), false)" for name in (
        "length_at_least", "length_at_most", "width_at_least", "width_at_most"))
    return "Polygon", rules(("object, at least or at most so large", cut, bound),
                            ("object measured", "ELSE", sure)), QgsVectorLayerSimpleLabeling(words)


def drawn_targets():
    """Known targets on a picture: a ring that leaves the pixels free, and the name."""
    ring = marker_symbol(mark("circle", 4.4, PAPER, PAPER, 1.0, 0), mark("circle", 4.4, VERMILION, VERMILION, 0.5, 0))
    name = label_text("coalesce(nullif(attribute('label'), ''), to_string(attribute('target_id')))", 8.0, INK)
    return "Point", rules(("known target", "", ring)), QgsVectorLayerSimpleLabeling(name)


def drawn_ellipses():
    """Where they are to be looked for: outlines only."""
    outline = polygon_symbol(fill(None, 0, outline=PAPER, outline_alpha=220, width=0.8),
                             fill(None, 0, outline=VERMILION, width=0.35, dash=True))
    return "Polygon", rules(("where it is to be looked for", "", outline)), None


def ellipses():
    """Error ellipses: the ground stays visible; a pale casing keeps the line clear of the swaths. One that does not
    hold is an outline of dashes."""
    holds = polygon_symbol(fill(AMBER, 46, outline=PAPER, outline_alpha=220, width=0.9),
                           fill(None, 0, outline=INK, width=0.32))
    doubtful = polygon_symbol(fill(None, 0, outline=PAPER, outline_alpha=220, width=0.9),
                              fill(None, 0, outline=INK, width=0.4, dash=True))
    return "Polygon", rules(("error ellipse", "coalesce(attribute('doubt'),'') = ''", holds),
                            ("error ellipse that does not hold", "ELSE", doubtful)), None


def areas():
    """Areas asked about: an outline and what was covered."""
    covered = label_text("concat(attribute('name'), ' ') || round(\"covered_pct\") || ' % seen'", 8.5, INK,
                         QgsPalLayerSettings.Placement.OutsidePolygons, QFont.Weight.DemiBold)
    return "Polygon", rules(("area searched", "", polygon_symbol(
        fill(None, 0, outline=INK, width=0.5, dash=True)))), QgsVectorLayerSimpleLabeling(covered)


def plan_lines():
    """Plan: lines to run dark, with arrows and their name; those along a shore blue; turns thin and dashed."""
    name = label_text('"line_id"', 8, INK, QgsPalLayerSettings.Placement.Line, up_to=30000)
    return "LineString", rules(
        ("turn", "\"kind\" = 'turn'", line_symbol(casing(0.7), line(INK, 0.3, dash=(1.5, 1.2)))),
        ("way round land, or no room to turn", "\"kind\" = 'way'",
         line_symbol(casing(0.8), line(VERMILION, 0.45, dash=(1.2, 1.0)))),
        ("line along a shore", "\"kind\" = 'shore'", line_symbol(casing(1.0), line(BLUE, 0.6), arrows(BLUE, 3.2, 30))),
        ("line", "ELSE", line_symbol(casing(1.0), line(INK, 0.5), arrows(INK, 3.2, 30)))), label_rules(
            ("\"kind\" IN ('line', 'shore')", name))


def uncovered():
    """Not covered by the plan: hatched, the reasons told apart by colour and direction."""
    return "Polygon", rules(
        ("under the boat", "\"reason\" = 'nadir'", polygon_symbol(fill(GREY, 110))),
        ("too deep for the range", "\"reason\" = 'too deep'",
         polygon_symbol(fill(PURPLE, 60), hatch(PURPLE, 45, 2.0, 0.2))),
        ("shoal", "\"reason\" = 'shoal'", polygon_symbol(fill(AMBER, 90), hatch(AMBER, 0, 2.0, 0.2))),
        ("too near to land", "\"reason\" = 'setback'", polygon_symbol(fill(AMBER, 60), hatch(AMBER, 90, 2.0, 0.2))),
        ("not worth a line", "ELSE", polygon_symbol(fill(VERMILION, 130)))), None


def lakes():
    """Lakes of a district: darker where more was seen, hatched where an outing of it failed or none was made."""
    named = label_text("\"lake\" || if(\"covered_pct\" is null, '', ' ' || round(\"covered_pct\") || ' %')", 8.5, INK,
                       QgsPalLayerSettings.Placement.OutsidePolygons, QFont.Weight.DemiBold)
    classes = [(f"{words} seen", condition, polygon_symbol(fill(color, 255, outline=INK, width=0.3)))
               for words, condition, color in (
                   ("90 % and more", '"covered_pct" >= 90', SHARES[0]),
                   ("75 to 90 %", '"covered_pct" >= 75 AND "covered_pct" < 90', SHARES[1]),
                   ("50 to 75 %", '"covered_pct" >= 50 AND "covered_pct" < 75', SHARES[2]),
                   ("under 50 %", '"covered_pct" < 50', AMBER))]
    return "Polygon", rules(
        *classes, ("no share", "\"covered_pct\" IS NULL", polygon_symbol(fill(None, 0, outline=INK, width=0.3))),
        ("incomplete or failed", "\"state\" IN ('incomplete', 'failed')",
         polygon_symbol(hatch(VERMILION, 45, 2.2, 0.3)))), QgsVectorLayerSimpleLabeling(named)


DRAWN = (swaths, gaps, shore, passes, track, fixes, bottom_line, waypoints, marks, targets, ellipses, areas,
         combined, casts, stations, plan_lines, uncovered, objects, drawn_targets, drawn_ellipses, lakes)


def save(draw):
    """Save one style; only what is drawn goes into the file."""
    geometry, renderer, labels = draw()
    layer = QgsVectorLayer(f"{geometry}?crs=EPSG:3857", draw.__name__, "memory")
    layer.setRenderer(renderer)
    if labels is not None:
        layer.setLabeling(labels)
        layer.setLabelsEnabled(True)
    kept = (QgsMapLayer.StyleCategory.Symbology | QgsMapLayer.StyleCategory.Labeling
            | QgsMapLayer.StyleCategory.Rendering)
    message, ok = layer.saveNamedStyle(str(STYLES / f"{draw.__name__}.qml"), kept)
    if not ok:
        raise SystemExit(message)


def draw():
    """Save all of them; QGIS must be running."""
    STYLES.mkdir(parents=True, exist_ok=True)
    for one in DRAWN:
        save(one)
    print(f"{len(DRAWN)} styles of layers in {STYLES}")
