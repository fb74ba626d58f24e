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
th,td{padding:.32rem .9rem .32rem 0;border-bottom:1px solid #d5dee2;text-align:left;vertical-align:top}
thead th{border-bottom:2px solid #12384a;white-space:nowrap}
.n{text-align:right;font-variant-numeric:tabular-nums;white-space:nowrap}
.w{white-space:nowrap}
figure{margin:1rem 0}
figure>svg{width:100%;height:auto;border:1px solid #b9c6cd;background:#fff}
.legend{list-style:none;margin:.3rem 0;padding:0;display:flex;flex-wrap:wrap;gap:.2rem 1.2rem;font-size:.9rem}
.legend svg{vertical-align:-3px;margin-right:.45rem}
@media(max-width:40rem){figure>svg text{font-size:26px}figure>svg .edge text{font-size:19px}}
figcaption{color:#3b4f59;font-size:.9rem}
.caution{border:2px solid #8a4b00;border-radius:4px;padding:.6rem .8rem;margin:1.5rem 0}
@media print{@page{margin:14mm}body{font-size:10.5pt;max-width:none;padding:0}
h2{break-after:avoid}tr,figure,dl.key div,.caution{break-inside:avoid}thead{display:table-header-group}
.wide{overflow:visible}}
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
    """A table with header cells a screen reader can follow.

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
    def cell(tag: str, index: int, value: object, scope: str = "") -> str:
        css = ' class="n"' if index in numeric else ' class="w"' if index in whole else ""
        return f"<{tag}{css}{scope}>{text(value)}</{tag}>"

    head = "".join(cell("th", i, value, ' scope="col"') for i, value in enumerate(heads))
    body = "".join("<tr>" + "".join(
        cell("td", i, value) if i else cell("th", i, value, ' scope="row"') for i, value in enumerate(row)
    ) + "</tr>\n" for row in rows)
    return (f'<div class="wide" role="group" aria-label="{text(caption)}" tabindex="0">'  # a keyboard scrolls it
            f'<table><caption>{text(caption)}</caption><thead><tr>{head}</tr></thead>\n'
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
