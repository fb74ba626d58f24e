"""Self-contained HTML pages: no script, no network; read on a phone, printed on paper, plain in a rich-text pane.

Colours keep a contrast of at least 4.5 : 1 on white (WCAG 2.1, 1.4.3). Everything a user named passes ``text``.
"""
from __future__ import annotations

import math
from html import escape
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

__all__ = ["CAUTION", "NO_BREAK", "bullets", "definition_list", "figure", "number", "page", "paragraph", "section",
           "table", "text"]

NO_BREAK = "\u2011"
"""A hyphen at which no line is broken."""

CAUTION = ("Positions and depths are estimates, not for navigation; depths and hazards come from charts and local "
           "notices, and charting or engineering use needs a licensed surveyor. Boating, fishing, access, diving and "
           "cultural-heritage rules of the place apply.")

_STACKED, _MANY, _SHORT = 3, 9, 14
"""Columns over which a table's rows are stacked on a phone, and over which its letters are smaller; rows up to which it
is kept on one page."""

_CSS = """
*{box-sizing:border-box}
body{font:16px/1.5 system-ui,-apple-system,"Segoe UI",Roboto,"DejaVu Sans",sans-serif;color:#14232b;background:#fff;
margin:0 auto;max-width:62rem;padding:1rem}
h1{font-size:1.6rem;line-height:1.2;margin:.2rem 0 .3rem}
h2{font-size:1.2rem;margin:2rem 0 .5rem;padding-top:.6rem;border-top:3px solid #12384a}
p{margin:.5rem 0}
.lead{color:#3b4f59;margin-top:0}
dl.key{display:grid;grid-template-columns:repeat(auto-fit,minmax(12rem,1fr));gap:.6rem;margin:1rem 0;padding:0}
dl.key div{border:1px solid #b9c6cd;border-left:6px solid #12384a;border-radius:4px;padding:.5rem .7rem}
dl.key dt{font-size:.86rem;color:#3b4f59}
dl.key dd{margin:0;font-size:1.35rem;font-weight:650}
dl.key dd small{display:block;font-size:.82rem;font-weight:400;color:#3b4f59}
.wide{overflow-x:auto}
.wide:focus-visible{outline:3px solid #0b5a80;outline-offset:2px}
table{border-collapse:collapse;width:100%;margin:.5rem 0;font-size:.92rem}
caption{text-align:left;color:#3b4f59;padding:.2rem 0;font-size:.9rem}
th,td{padding:.32rem .7rem .32rem 0;border-bottom:1px solid #d5dee2;text-align:left;vertical-align:top}
thead th,thead th.n{border-bottom:2px solid #12384a;vertical-align:bottom;white-space:normal}
.n{text-align:right;font-variant-numeric:tabular-nums;white-space:nowrap}
.w{white-space:nowrap}
figure{margin:1rem 0}
figure>svg{width:100%;height:auto;border:1px solid #b9c6cd;background:#fff}
.legend{list-style:none;margin:.3rem 0;padding:0;display:flex;flex-wrap:wrap;gap:.2rem 1.2rem;font-size:.9rem}
.legend svg{vertical-align:-3px;margin-right:.45rem}
@media(max-width:40rem){figure>svg text{font-size:26px}figure>svg .edge text{font-size:19px}
figure>svg .desk{display:none}figure>svg .phone{display:inline}}
@media screen and (max-width:40rem){.stack,.stack caption,.stack tbody,.stack tr,.stack tbody th{display:block}
.stack thead{position:absolute;width:1px;height:1px;overflow:hidden;clip-path:inset(50%)}
.stack tr{border-bottom:1px solid #d5dee2;padding:.35rem 0}
.stack tbody th,.stack td{border:0;padding:0;text-align:left;white-space:normal}
.stack td{display:inline-block;margin-right:1rem}.stack td:empty{display:none}
.stack td::before{content:attr(data-head) " ";color:#3b4f59;font-size:.86em}}
@media screen and (min-width:40.01rem){.many{font-size:.78rem}.many th,.many td{padding-right:.4rem}}
figcaption{color:#3b4f59;font-size:.9rem}
.caution{border:2px solid #8a4b00;border-radius:4px;padding:.6rem .8rem;margin:1.5rem 0}
@media print{@page{margin:14mm}body{font-size:10.5pt;max-width:none;padding:0}h1{font-size:17pt;margin:0 0 1mm}
h2{break-after:avoid;break-inside:avoid;margin:5mm 0 1mm}
main>h2::after,main>.wide:not(.short)::before{content:"";display:block;height:35mm;margin-bottom:-35mm;break-inside:avoid}
.lead{font-size:9.5pt;margin:0}
dl.key{grid-template-columns:repeat(3,1fr);gap:1.5mm;margin:2mm 0}dl.key div{padding:.8mm 2mm}
dl.key dd{font-size:13pt;line-height:1.2}dl.key dt,dl.key dd small{font-size:8pt}
figure{margin:2mm 0}figure>svg{display:block;margin:0 auto;max-height:145mm}
.legend,figcaption{font-size:8.5pt;line-height:1.3}.legend{gap:0 4mm}
tr,figure,ul,dl.key div,.caution,.short{break-inside:avoid}thead{display:table-header-group}
tbody tr:nth-child(-n+3):not(:last-child){break-after:avoid}
tbody tr:nth-last-child(-n+3):not(:first-child){break-before:avoid}
.wide{overflow:visible}table{font-size:9pt;margin:1mm 0}caption{font-size:8.5pt}th,td{padding:.9mm 2.2mm .9mm 0}}
"""


def text(value: object) -> str:
    """Anything as escaped text; None as nothing.

    Examples
    --------
    >>> from athwart.report.pages import text
    >>> text("a < b"), text(None)
    ('a &lt; b', '')
    """
    return "" if value is None else escape(str(value), quote=True)


def number(value: float, digits: int = 0, unit: str = "", missing: str = "unknown") -> str:
    """A figure with thin spaces between thousands and its unit; ``missing`` for None and NaN.

    Examples
    --------
    >>> from athwart.report.pages import number
    >>> number(345.64, 1), number(None)
    ('345.6', 'unknown')
    """
    if value is None or math.isnan(value):
        return missing
    shown = f"{value:,.{digits}f}".replace(",", "\u202f")
    return f"{shown}\u00a0{unit}" if unit else shown


def paragraph(words: object, css: str = "") -> str:
    """A paragraph of plain words, escaped.

    Examples
    --------
    >>> from athwart.report.pages import paragraph
    >>> paragraph("5 m < depth")
    '<p>5 m &lt; depth</p>'
    """
    return f'<p{_css(css)}>{text(words)}</p>'


def definition_list(pairs: Iterable[Sequence[object]]) -> str:
    """Key figures: (what it is, the figure, a remark or '') each.

    Examples
    --------
    >>> from athwart.report.pages import definition_list
    >>> "7.3 ha" in definition_list([("Area", "7.3 ha", "of it seen")])
    True
    """
    items = []
    for term, figure_, remark in pairs:
        small = f"<small>{text(remark)}</small>" if remark else ""
        items.append(f"<div><dt>{text(term)}</dt><dd>{text(figure_)}{small}</dd></div>")
    return f'<dl class="key">{"".join(items)}</dl>'


def table(caption: str, heads: Sequence[str], rows: Iterable[Sequence[object]], numeric: Sequence[int] = (),
          whole: Sequence[int] = ()) -> str:
    """A table with header cells a screen reader can follow; on a phone a wide one stands row below row.

    Parameters
    ----------
    heads : sequence of str
    rows : sequence of sequences of str
        Cells, escaped here; the first of each row is its header.
    numeric : sequence of int
        Columns set flush right.
    whole : sequence of int
        Columns whose cells are not broken over lines.

    Examples
    --------
    >>> from athwart.report.pages import table
    >>> "<caption>Gaps</caption>" in table("Gaps", ["Kind"], [["nadir"]])
    True
    """
    stacked = len(heads) > _STACKED

    def cell(tag: str, index: int, value: object, more: str = "") -> str:
        css = ' class="n"' if index in numeric else ' class="w"' if index in whole else ""
        if stacked and tag == "td":
            more = f' data-head="{text(heads[index])}"'
        return f"<{tag}{css}{more}>{text(value)}</{tag}>"

    head = "".join(cell("th", i, value, ' scope="col"') for i, value in enumerate(heads))
    rows = list(rows)
    body = "".join("<tr>" + "".join(
        cell("td", i, value) if i else cell("th", i, value, ' scope="row"') for i, value in enumerate(row)
    ) + "</tr>\n" for row in rows)
    size, many = " short" if len(rows) <= _SHORT else "", " many" if len(heads) > _MANY else ""
    look = f' class="stack{many}"' if stacked else ""
    return (f'<div class="wide{size}" role="group" aria-label="{text(caption)}" tabindex="0">'  # a keyboard scrolls it
            f'<table{look}><caption>{text(caption)}</caption><thead><tr>{head}</tr></thead>\n'
            f"<tbody>\n{body}</tbody></table></div>")


def bullets(items: Iterable[object]) -> str:
    """A list of sentences, escaped.

    Examples
    --------
    >>> from athwart.report.pages import bullets
    >>> bullets(["one", "a < b"])
    '<ul><li>one</li><li>a &lt; b</li></ul>'
    """
    return f"<ul>{''.join(f'<li>{text(item)}</li>' for item in items)}</ul>"


def figure(svg: str, caption: str, legend: str = "") -> str:
    """An inline drawing and its legend (already safe markup) with a caption.

    Examples
    --------
    >>> from athwart.report.pages import figure
    >>> figure("<svg></svg>", "The map")
    '<figure><svg></svg><figcaption>The map</figcaption></figure>'
    """
    return f"<figure>{svg}{legend}<figcaption>{text(caption)}</figcaption></figure>"


def section(title: str, *parts: str) -> str:
    """A heading and what stands under it.

    Examples
    --------
    >>> from athwart.report.pages import section
    >>> section("Gaps", "<p>none</p>").splitlines()
    ['<h2>Gaps</h2>', '<p>none</p>']
    """
    return f"<h2>{text(title)}</h2>\n" + "\n".join(part for part in parts if part)


def page(title: str, lead: str, parts: Iterable[str], css: str = "") -> str:
    """A whole page that ends with the caution.

    Parameters
    ----------
    title, lead : str
        Escaped here.
    parts : sequence of str
        Markup made by this module.
    css : str
        Rules of this page alone, after the common ones.

    Examples
    --------
    >>> from athwart.report.pages import page
    >>> "North bay" in page("North bay", "A report.", [])
    True
    """
    body = "\n".join(part for part in parts if part)
    return ('<!DOCTYPE html>\n<html lang="en">\n<head>\n<meta charset="utf-8">\n'
            '<meta name="viewport" content="width=device-width, initial-scale=1">\n'
            f"<title>{text(title)}</title>\n<style>{_CSS}{css}</style>\n</head>\n<body>\n<main>\n"
            f"<h1>{text(title)}</h1>\n"
            f"{paragraph(lead, 'lead')}\n{body}\n"
            f'<p class="caution"><strong>Caution.</strong> {text(CAUTION)}</p>\n</main>\n</body>\n</html>\n')


def _css(name: str) -> str:
    return f' class="{name}"' if name else ""
