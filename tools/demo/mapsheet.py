"""The map sheet: the lake with what was seen and missed, two close looks, a legend and the figures."""
from __future__ import annotations

from qgis.core import QgsProject

from .sheet import COLUMN, MARGIN, WIDTH, Sheet

HEIGHT = 297.0


def _stack(layers, base, names):
    """The named result layers between the layers of the base map, topmost first: the floor keeps its contours."""
    over = [layers[n] for n in ("truth", "targets", "ellipses", "passes", "shore", "areas") if n in names]
    return [base["names"], *over, base["lake"], *(layers[n] for n in ("gaps",) if n in names), base["contours"],
            *(layers[n] for n in ("swaths",) if n in names), base["depth (m)"]]


def draw(layers, base, figures, close, record, target, background):
    """Draw the sheet.

    Parameters
    ----------
    layers, base : dict
        Result layers by name (and 'truth'), and base layers by title.
    figures : list of (str, str)
        Heading and text of the figures beside the map.
    close : list of (str, QgsRectangle, list of str)
        Title, extent and result layers of the two close looks.
    record : (pathlib.Path, str)
        Picture of a record, and its caption.
    target : pathlib.Path
    background : str
    """
    sheet = Sheet(QgsProject.instance(), HEIGHT, "Orrelmere",
                  "Side-scan outings of June 2024: the bottom seen, what was missed, and where the picks lie")
    wide, column = WIDTH - 3 * MARGIN - COLUMN, WIDTH - MARGIN - COLUMN
    top, tall = 28.5, 168.0
    lake = base["lake"].extent()
    lake.scale(1.03)
    main = sheet.map((MARGIN, top, wide, tall), lake,
                     _stack(layers, base, ("shore", "areas", "gaps", "swaths", "targets")), background)
    sheet.scale_bar(main, MARGIN + 3, top + tall - 12, 100, 4)
    sheet.north_arrow(main, MARGIN + wide - 16, top + 4, 12)
    below, half = top + tall + 9.5, (wide - MARGIN) / 2
    low = HEIGHT - MARGIN - below
    for k, (title, extent, names) in enumerate(close):
        x = MARGIN + k * (half + MARGIN)
        sheet.bold(f"{'AB'[k]}   {title}", (x, below - 6, half, 5))
        near = sheet.map((x, below, half, low), extent, _stack(layers, base, names), background)
        bar = below + 3 if k == 0 else below + low - 12  # the corner with the least in it
        sheet.scale_bar(near, x + 3, bar, 10 if near.extent().width() < 200 else 50)
        sheet.show_frame(main, near, "AB"[k])
    y = top
    for heading, text in figures:
        y = sheet.figure(heading, text, column, y)
    sheet.rule(column, y, COLUMN)
    explained = ("swaths", "gaps", "areas", "shore", "passes", "targets", "ellipses", "truth")
    y = sheet.legend([layers[name] for name in explained], column, y + 3)
    sheet.picture(*record, column, y + 5)
    sheet.export(target)
