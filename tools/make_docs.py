#!/usr/bin/env python3
"""tools/make_docs.py: the bundled HTML pages: one for each tool, from its own parameters; the guide, from docs/*.md.

Needs QGIS's Python and, for the guide, the `markdown` package. The pages are committed, so that help opens offline.
"""
from __future__ import annotations

import os
import pathlib
import re
import sys

ROOT = pathlib.Path(__file__).resolve().parents[1]
DOCS = ROOT / "docs"
CSS = """
nav{font-size:.92rem;margin:0 0 1rem}nav a{margin-right:1rem}
a{color:#0b5a80}h3{font-size:1.05rem;margin:1.4rem 0 .3rem}
code{background:#eef3f5;padding:.05rem .25rem;border-radius:3px;font-size:.92em}
pre{background:#eef3f5;padding:.7rem;overflow-x:auto}pre code{padding:0}
img{max-width:100%;height:auto;border:1px solid #b9c6cd}
dt.p{font-weight:650;margin-top:.8rem}dt.p code{font-weight:400}dd{margin:.1rem 0 0 1.2rem}dd small{color:#3b4f59}
"""
KINDS = {"source": "vector layer", "vector": "vector layer", "raster": "raster layer", "field": "field",
         "number": "number",
         "distance": "length, metres on the command line", "enum": "one of", "boolean": "yes or no", "string": "text",
         "crs": "coordinate reference system", "file": "file", "multilayer": "files", "sink": "layer", "point": "point",
         "fileDestination": "file", "rasterDestination": "raster", "outputNumber": "number", "extent": "extent",
         "outputHtml": "HTML file", "outputFile": "file", "outputVector": "layer", "outputRaster": "raster"}


def load_tools():
    """(pages module, tools in the order of the job); starts QGIS."""
    os.environ.setdefault("QT_QPA_PLATFORM", "offscreen")
    from qgis.core import QgsApplication
    application = QgsApplication([], False)
    application.initQgis()
    sys.path.insert(0, str(ROOT / "tests" / "plugins"))
    import clone
    clone.load()
    from athwart.algorithms import all_tools
    from athwart.survey import pages
    return application, pages, [tool.create() for tool in all_tools()]


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
    if default not in (None, "") and isinstance(default, (int, float, str, bool)):
        notes.append(f"default {default:g}" if isinstance(default, float) else f"default {default}")
    if definition.flags() & definition.Flag.FlagOptional:
        notes.append("may stay blank")
    return (f'<dt class="p">{pages.text(definition.description())} <code>{definition.name()}</code></dt>'
            f"<dd>{pages.text(definition.help())}<br><small>{pages.text('; '.join(notes))}</small></dd>")


def tool_page(pages, tool, folded):
    """A tool's page."""
    definitions = tool.parameterDefinitions()
    inputs = [d for d in definitions if not d.isDestination()]
    shown = [d for d in inputs if not d.flags() & folded]
    hidden = [d for d in inputs if d.flags() & folded]
    destinations = {d.name(): d for d in definitions if d.isDestination()}
    outputs = "".join(
        parameter_item(pages, destinations[o.name()]) if o.name() in destinations else
        f'<dt class="p">{pages.text(o.description())} <code>{o.name()}</code></dt>'
        f"<dd>{pages.text(tool.OUTPUT_HELP.get(o.name(), ''))}</dd>" for o in tool.outputDefinitions())
    words = [" ".join(part.split()) for part in tool.HELP.strip().split("\n\n")]
    parts = [links(pages, "../"), *(pages.paragraph(w) for w in words),
             pages.section("What you give", f"<dl>{''.join(parameter_item(pages, d) for d in shown)}</dl>")]
    if hidden:
        parts.append(pages.section("Advanced", f"<dl>{''.join(parameter_item(pages, d) for d in hidden)}</dl>"))
    parts.append(pages.section("What you get", f"<dl>{outputs}</dl>"))
    example = f"qgis_process run athwart:{tool.name()} -- " + " ".join(
        f"{d.name()}=..." for d in [*shown[:4], *list(destinations.values())[:1]])
    parts.append(pages.section("On the command line", f"<pre><code>{pages.text(example)}</code></pre>"))
    return pages.page(tool.displayName(), tool.shortDescription(), parts, CSS)


def tools_index(pages, tools):
    """The page that lists every tool by group."""
    groups = {}
    for tool in tools:
        groups.setdefault(tool.group(), []).append(tool)
    parts = [links(pages, "")]
    for group, members in groups.items():
        items = "".join(f'<li><a href="tools/{t.name()}.html">{pages.text(t.displayName())}</a>: '
                        f"{pages.text(t.shortDescription())}</li>" for t in members)
        parts.append(pages.section(group, f"<ul>{items}</ul>"))
    return pages.page("Athwart: the tools", "Every tool, in the order of the job.", parts, CSS)


def guide_page(pages, source):
    """A page of the guide from Markdown whose first line is its title and whose second paragraph is its lead."""
    import markdown
    title, lead, rest = re.match(r"# (.+?)\n\n(.+?)\n\n(.*)", source, re.S).groups()
    body = markdown.markdown(rest, extensions=["tables", "attr_list"], output_format="html")
    body = re.sub(r'href="([\w/-]+)\.md(#[\w-]+)?"', r'href="\1.html\2"', body)
    body = body.replace("<table>", '<div class="wide"><table>').replace("</table>", "</table></div>")
    return pages.page(title, " ".join(lead.split()), [links(pages, ""), body], CSS)


def main():
    application, pages, tools = load_tools()
    folded = type(tools[0].parameterDefinitions()[0]).Flag.FlagAdvanced
    (DOCS / "tools").mkdir(parents=True, exist_ok=True)
    written = {DOCS / "tools.html": tools_index(pages, tools)}
    for tool in tools:
        written[DOCS / "tools" / f"{tool.name()}.html"] = tool_page(pages, tool, folded)
    for source in sorted(DOCS.glob("*.md")):
        written[source.with_suffix(".html")] = guide_page(pages, source.read_text(encoding="utf-8"))
    for path, content in written.items():
        path.write_text(content, encoding="utf-8")
    print(f"{len(written)} pages in {DOCS}")
    sys.stdout.flush()
    os._exit(0)  # QGIS may crash while it is torn down


if __name__ == "__main__":
    main()
