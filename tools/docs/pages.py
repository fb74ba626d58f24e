"""tools/run.sh tools.docs.pages: the bundled HTML pages: one for each tool, from its class; the guide, from docs/*.md.

Needs the `markdown` package (``make docs``). The pages are committed, so that help opens offline.
"""
from __future__ import annotations

import pathlib
import re

from .. import inside
from .captions import halves_of

ROOT = pathlib.Path(__file__).resolve().parents[2]
DOCS = ROOT / "docs"
CSS = """
nav{font-size:.92rem;margin:0 0 1rem}nav a{margin-right:1rem}
a{color:#0b5a80}h3{font-size:1.05rem;margin:1.4rem 0 .3rem}
code{background:#eef3f5;padding:.05rem .25rem;border-radius:3px;font-size:.92em}p code,li code{overflow-wrap:anywhere}
pre{background:#eef3f5;padding:.7rem;white-space:pre-wrap;overflow-wrap:anywhere}pre code{padding:0}
img{max-width:100%;height:auto;border:1px solid #b9c6cd}
.halves{display:flex;flex-wrap:wrap;gap:.4rem 2rem}.halves div{flex:0 1 372px}
.halves img{width:372px;aspect-ratio:372/300;object-fit:cover;object-position:left;border:0}
.halves div+div img{object-position:right}.halves p{margin:.1rem 0;font-size:.9rem;color:#3b4f59}
dt.p{font-weight:650;margin-top:.8rem}dt.p code{font-weight:400}dd{margin:.1rem 0 0 1.2rem}dd small{color:#3b4f59}
summary{cursor:pointer;color:#0b5a80}
@media print{nav{display:none}}
"""
KINDS = {"source": "vector layer", "vector": "vector layer", "raster": "raster layer", "field": "field",
         "number": "number",
         "distance": "length, metres on the command line", "enum": "one of", "boolean": "yes or no", "string": "text",
         "crs": "coordinate reference system", "file": "file", "multilayer": "files", "sink": "layer", "point": "point",
         "fileDestination": "file", "rasterDestination": "raster", "outputNumber": "number", "extent": "extent",
         "outputHtml": "HTML file", "outputFile": "file", "outputVector": "layer", "outputRaster": "raster"}
KINDS_OF_FIELD = {"double": "number", "int": "whole number", "int64": "whole number", "string": "text",
                  "bool": "yes or no", "datetime": "date and time"}


def links(pages, up):
    """Navigation of every page."""
    return (f'<nav><a href="{up}index.html">Guide</a><a href="{up}tools.html">Tools</a>'
            f'<a href="{up}first-hour.html">First hour</a></nav>')


def parameter_item(pages, definition):
    """One entry of the list of parameters."""
    kind = KINDS.get(definition.type(), definition.type())
    if definition.type() == "enum":
        kind = "one of " + ", ".join(definition.options())
    default = definition.defaultValue()
    notes = [kind]
    if isinstance(default, bool):
        notes.append(f"default {'yes' if default else 'no'}")
    elif isinstance(default, (int, float)):
        notes.append(f"default {default:g}")
    elif isinstance(default, str) and default:
        notes.append(f"default {default}")
    if definition.flags() & definition.Flag.FlagOptional:
        notes.append("may stay blank")
    return (f'<dt class="p">{pages.text(definition.description())} <code>{definition.name()}</code></dt>'
            f"<dd>{pages.text(definition.help())}<br><small>{pages.text('; '.join(notes))}</small></dd>")


def output_item(pages, tool, output, destinations):
    """One entry of the list of outputs; layers with their fields."""
    definition = destinations.get(output.name())
    if definition is None:
        return (f'<dt class="p">{pages.text(output.description())} <code>{output.name()}</code></dt>'
                f"<dd>{pages.text(tool.OUTPUT_HELP.get(output.name(), ''))}</dd>")
    item = parameter_item(pages, definition)
    if definition.type() == "sink":
        what, told = "field", tool.LAYERS[output.name()]
    elif definition.type() == "rasterDestination":
        what, told = "band", tool.RASTERS[output.name()].bands
    else:
        return item
    rows = [(field.name, KINDS_OF_FIELD[field.kind], field.unit, field.text) for field in told]
    title = f"{what.capitalize()}s of {definition.description()}"
    table = pages.table(title, (what, "kind", "unit", "what it says"), rows)
    return f"{item}<dd><details><summary>{pages.text(title)}</summary>{table}</details></dd>"


def picture(pages, tool):
    """A tool's figure, once tools.docs.tool_pictures has drawn it; on a phone one half stands above the other."""
    name = tool.name()
    if not (DOCS / "images" / "tools" / f"{name}.png").is_file():
        return ""
    halves = (f'<div><img src="../images/tools/{name}.png" alt="{pages.text(f"{what}, drawn")}">'
              f"<p><strong>{what}.</strong> {pages.text(words)}</p></div>"
              for what, words in zip(("Given", "Made"), halves_of(name)))
    return f'<figure class="halves">{"".join(halves)}</figure>'


def tool_page(pages, tool):
    """A tool's page."""
    definitions = tool.parameterDefinitions()
    folded = type(definitions[0]).Flag.FlagAdvanced
    inputs = [d for d in definitions if not d.isDestination()]
    shown = [d for d in inputs if not d.flags() & folded]
    hidden = [d for d in inputs if d.flags() & folded]
    destinations = {d.name(): d for d in definitions if d.isDestination()}
    outputs = "".join(output_item(pages, tool, output, destinations) for output in tool.outputDefinitions())
    words = [" ".join(part.split()) for part in tool.HELP.strip().split("\n\n")]
    parts = [links(pages, "../"), picture(pages, tool), *(pages.paragraph(w) for w in words),
             pages.section("What you give", f"<dl>{''.join(parameter_item(pages, d) for d in shown)}</dl>")]
    if hidden:
        parts.append(pages.section("Advanced", f"<dl>{''.join(parameter_item(pages, d) for d in hidden)}</dl>"))
    parts.append(pages.section("What you get", f"<dl>{outputs}</dl>"))
    example = f"qgis_process run athwart:{tool.name()} -- " + " ".join(
        f"{d.name()}=..." for d in [*shown[:4], *list(destinations.values())[:1]])
    parts.append(pages.section("On the command line", f"<pre><code>{pages.text(example)}</code></pre>"))
    more = "".join(f'<li><a href="../{page}.html">{pages.text(guide_parts(page)[0])}</a></li>'
                   for page in tool.GUIDE)
    parts.append(pages.section("Read on", f"<ul>{more}</ul>"))
    return pages.page(tool.TITLE, tool.shortDescription(), parts, CSS)


def tools_index(pages, tools, models):
    """The page that lists every tool by group, and the ready-made models."""
    groups = {}
    for tool in tools:
        groups.setdefault(tool.group(), []).append(
            f'<li><a href="tools/{tool.name()}.html">{pages.text(tool.TITLE)}</a>: '
            f"{pages.text(tool.shortDescription())}</li>")
    for model in models:
        groups.setdefault("Models: several tools in one", []).append(
            f"<li>{pages.text(model.displayName())}: {pages.text(model.shortDescription())}</li>")
    parts = [links(pages, ""), *(pages.section(group, f"<ul>{''.join(items)}</ul>")
                                 for group, items in groups.items())]
    return pages.page("Athwart: the tools", "Every tool, in the order of the job.", parts, CSS)


def pages_of_tools():
    """{path: page} of every tool and of their index; QGIS must be running."""
    from athwart.algorithms import all_tools
    from athwart.plugin.ready_model import ready_models
    from athwart.survey.report import pages
    tools = [tool.create() for tool in all_tools()]
    return {DOCS / "tools.html": tools_index(pages, tools, ready_models()),
            **{DOCS / "tools" / f"{tool.name()}.html": tool_page(pages, tool) for tool in tools}}


def guide_parts(name):
    """(title, lead, rest) of a Markdown page whose first line is its title and whose second paragraph is its lead."""
    source = (DOCS / f"{name}.md").read_text(encoding="utf-8")
    return re.match(r"# (.+?)\n\n(.+?)\n\n(.*)", source, re.S).groups()


def pages_of_guide():
    """{path: page} of the guide."""
    import markdown
    from athwart.survey.report import pages
    made = {}
    for path in sorted(DOCS.glob("*.md")):
        title, lead, rest = guide_parts(path.stem)
        body = markdown.markdown(rest, extensions=["tables", "attr_list"], output_format="html")
        body = re.sub(r'href="([\w/-]+)\.md(#[\w-]+)?"', r'href="\1.html\2"', body)
        body = body.replace("<table>", '<div class="wide" role="group" aria-label="Table" tabindex="0"><table>')
        body = body.replace("</table>", "</table></div>")
        body = body.replace("<th>", '<th scope="col">')
        made[path.with_suffix(".html")] = pages.page(title, " ".join(lead.split()), [links(pages, ""), body], CSS)
    return made


def main():
    application = inside.qgis()
    written = {**pages_of_tools(), **pages_of_guide()}
    (DOCS / "tools").mkdir(exist_ok=True)
    for old in {*DOCS.glob("*.html"), *DOCS.glob("tools/*.html")} - set(written):
        old.unlink()
    for path, content in written.items():
        path.write_text(content, encoding="utf-8")
    print(f"{len(written)} pages in {DOCS}")
    del application
    inside.leave()


if __name__ == "__main__":
    main()
