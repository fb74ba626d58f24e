"""The bundled guide: made from what the tools are now, whole, readable without a network; the tutorial's numbers."""
import pathlib
import re
from html.parser import HTMLParser
from urllib.parse import unquote

import pytest
from athwart.algorithms import all_tools, tool_classes

ROOT = pathlib.Path(__file__).resolve().parents[2]
DOCS = ROOT / "docs"
PAGES = sorted([*DOCS.glob("*.html"), *DOCS.glob("tools/*.html")])


class Links(HTMLParser):
    """What a page points to, and the ids that can be pointed to."""

    def __init__(self, path):
        super().__init__()
        self.targets, self.ids, self.without_words = [], set(), []
        self.feed(path.read_text(encoding="utf-8"))

    def handle_starttag(self, tag, attrs):
        found = dict(attrs)
        self.ids |= {found["id"]} if "id" in found else set()
        self.targets += [found[name] for name in ("href", "src", "action", "data", "srcset") if name in found]
        if tag == "img" and not found.get("alt"):
            self.without_words.append(found.get("src"))


@pytest.fixture(scope="module")
def scripts():
    """(pages, first_hour) of tools/docs."""
    from tools.docs import first_hour, pages
    return pages, first_hour


def test_every_tool_has_a_page_and_its_help_button_opens_it(qgis_processing):
    from qgis.PyQt.QtCore import QUrl

    for tool in (each.create() for each in all_tools()):
        assert QUrl(tool.helpUrl()).toLocalFile() == str(DOCS / "tools" / f"{tool.name()}.html")
    assert {path.stem for path in DOCS.glob("tools/*.html")} == {tool.ID for tool in tool_classes()}


def test_pages_of_the_tools_are_what_the_script_makes_now(qgis_processing, scripts):
    """After a change of a label, a help text or a field run ``make docs``."""
    for path, page in scripts[0].pages_of_tools().items():
        assert path.read_text(encoding="utf-8") == page, f"{path.name} is old: run 'make docs'"


def test_pages_of_the_guide_are_what_the_script_makes_now(scripts):
    pytest.importorskip("markdown")
    for path, page in scripts[0].pages_of_guide().items():
        assert path.read_text(encoding="utf-8") == page, f"{path.name} is old: run 'make docs'"


def strays(path):
    """What is wrong with the links of a page."""
    page = Links(path)
    if not page.targets or page.without_words:
        yield f"no links at all, or pictures without words: {page.without_words}"
    for target in page.targets:
        file, _, anchor = target.partition("#")
        there = (path.parent / unquote(file)).resolve() if file else path
        if re.match(r"(?i)[a-z]+:|//", target):
            yield f"{target} leaves the plugin"
        elif not (there.is_file() and DOCS in there.parents):
            yield f"{target} is not there"
        elif anchor and anchor not in Links(there).ids:
            yield f"{target} has no such place"
    text = path.read_text(encoding="utf-8")
    yield from (f"{word} in the page" for word in ("<script", "@import", "url(") if word in text)


def test_links_lead_somewhere_and_never_to_the_network():
    assert [f"{path.name}: {stray}" for path in PAGES for stray in strays(path)] == []


@pytest.mark.parametrize("body", [
    '<a href="https://example.org">x</a>', '<a href="nowhere.html">x</a>', '<a href="index.html#nowhere">x</a>',
    '<img src="images/map.png">', '<a href="index.html">x</a><script>1</script>', "nothing"])
def test_a_stray_link_is_found(body, tmp_path):
    page = tmp_path / "page.html"
    page.write_text(body.replace('"index', f'"{DOCS}/index').replace('"images', f'"{DOCS}/images'), encoding="utf-8")
    assert list(strays(page))


def test_every_picture_and_page_is_reached_from_the_start():
    seen, waiting = set(), [DOCS / "index.html"]
    while waiting:
        path = waiting.pop()
        if path in seen:
            continue
        seen.add(path)
        if path.suffix == ".html":
            waiting += [(path.parent / target.partition("#")[0]).resolve() for target in Links(path).targets]
    images = [path for path in (DOCS / "images").rglob("*") if path.is_file()]
    shipped = {*PAGES, *(path for path in images if path.name != "map.png")}
    assert shipped - seen == set()
    assert "docs/images/map.png" in (ROOT / "README.md").read_text(encoding="utf-8")
    assert sum(path.stat().st_size for path in images) < 3_000_000


def test_every_tool_shows_what_goes_in_and_what_comes_out():
    """``make docs`` draws the picture of a new tool, too; say in tools/docs/captions.py what is on it."""
    from tools.docs import captions
    tools = {tool.ID for tool in tool_classes()}
    assert {path.stem for path in (DOCS / "images" / "tools").iterdir()} == tools >= set(captions.HALVES)
    for tool in tools:
        assert f"../images/tools/{tool}.png" in Links(DOCS / "tools" / f"{tool}.html").targets


def test_links_of_the_readme_resolve():
    for name in ("README.md", "DEVELOPERS.md", "CHANGELOG.md"):
        for target in re.findall(r"\]\(([^)#\s]+)", (ROOT / name).read_text(encoding="utf-8")):
            assert re.match("https?:", target) or (ROOT / target).exists(), f"{name}: {target}"


def test_the_tutorial_tells_the_numbers_that_come_out(provider, scripts, qgis_new_project):
    """Every step with exactly its values; ``make docs`` renews the numbers."""
    _, first_hour = scripts
    found = first_hour.numbers(*first_hour.run(ROOT / "sample_project"))
    text = first_hour.PAGE.read_text(encoding="utf-8")
    assert first_hour.written(text, found) == text


def test_the_tutorial_names_boxes_and_values_as_the_forms_do(scripts, qgis_processing):
    """Each row of its tables is a label of the tool above it and the value that the steps use."""
    text, tools = scripts[1].PAGE.read_text(encoding="utf-8"), {t.name(): t.create() for t in all_tools()}
    for tool, parameters, _ in scripts[1].STEPS:
        title = tools[tool].TITLE
        assert f"**{title}**" in text
        part = text.split(f"**{title}**", 1)[1].split("\n## ", 1)[0]
        rows = re.findall(r"^\| (?:Advanced: )?(.+?) \| `?(.+?)`?(?: meters)? \|$", part, re.M)
        labels = {tools[tool].parameterDefinition(name).description(): str(value).rpartition(":")[2]
                  for name, value in parameters.items()}
        shown = {box: value for box, value in rows if set(box) != {"-"} and box != "box"}
        assert not shown or shown == labels, tool
