"""Layers of a report made by hand, and its page as a reader hears it."""
from html.parser import HTMLParser

import numpy as np


def columns(layer, rows, **given):
    """Columns of a contract layer: unknown everywhere but where given."""
    blank = {"string": "", "bool": False, "datetime": ""}
    made = {}
    for f in layer:
        value = given.get(f.name, blank.get(f.kind, np.nan))
        made[f.name] = np.array(value if isinstance(value, list) else [value] * rows,
                                dtype=object if f.kind in ("string", "datetime") else None)
    return made


class Reader(HTMLParser):
    """Checks that every element closes, and collects what a reader hears."""

    VOID = {"meta", "br"}

    def __init__(self):
        super().__init__()
        self.open, self.seen, self.words, self.headings = [], [], [], []

    def handle_starttag(self, tag, attrs):
        self.seen.append((tag, dict(attrs)))
        if tag not in self.VOID:
            self.open.append(tag)

    def handle_startendtag(self, tag, attrs):
        self.seen.append((tag, dict(attrs)))

    def handle_endtag(self, tag):
        assert self.open.pop() == tag

    def handle_data(self, data):
        if "style" not in self.open:
            self.words.append(data)
            if self.open and self.open[-1] in ("h1", "h2"):
                self.headings.append((self.open[-1], data))


def read(page):
    reader = Reader()
    reader.feed(page)
    assert not reader.open
    return reader
