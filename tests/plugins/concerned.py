"""Which tests execute the lines of a break: a record that is made once and follows the code as it changes.

Each test file is recorded with the core as it was then, and again only when the file itself changes; lines of a module
that has changed since are found by the difference of its two texts.
"""
from __future__ import annotations

import ast
import difflib
import hashlib
import json
import re


def statement(source, line, last):
    """(lines of the statement around lines ``line`` to ``last``, the function it is in or None, the node)."""
    best, inside = None, None
    for node in ast.walk(ast.parse(source)):
        if isinstance(node, ast.stmt) and node.lineno <= line <= node.end_lineno:
            if best is None or (node.lineno, -node.end_lineno) > (best.lineno, -best.end_lineno):
                best = node
            body = node.body[0].lineno if isinstance(node, ast.FunctionDef) else line + 1
            if body <= line and (inside is None or node.lineno > inside.lineno):
                inside = node
    end = best.end_lineno
    if isinstance(getattr(best, "body", None), list):
        end = max(best.lineno, best.body[0].lineno - 1)
    return {*range(best.lineno, end + 1), *range(line, last + 1)}, inside, best


def body_lines(source):
    """The lines inside functions: those that a test executes, not an import."""
    found = set()
    for node in ast.walk(ast.parse(source)):
        if isinstance(node, (ast.FunctionDef, ast.Lambda)):
            first = node.body if isinstance(node, ast.Lambda) else node.body[0]
            found.update(range(first.lineno, node.end_lineno + 1))
    return found


def places(one, sources):
    """{module: lines} by which a break can be met: its statement, or those that use a constant's name."""
    source = sources[one.module]
    lines, inside, node = statement(source, one.line, one.line + source.encode()[slice(*one.span)].count(b"\n"))
    if inside is not None:
        return {one.module: lines}
    if isinstance(node, ast.FunctionDef):  # a default
        return {one.module: set(range(node.body[0].lineno, node.end_lineno + 1))}
    found = _uses(_assigned(node), sources, {})
    return found or {one.module: body_lines(source)}


def _assigned(node):
    targets = node.targets if isinstance(node, ast.Assign) else [getattr(node, "target", None)]
    return {name.id for target in targets if target is not None for name in ast.walk(target)
            if isinstance(name, ast.Name)}


def _uses(names, sources, found, depth=3):
    """Lines inside functions where a name stands; names of constants made from it count, too."""
    made = set()
    if not names:
        return found
    wanted = re.compile(rf"\b({'|'.join(sorted(names))})\b")
    for module, text in sources.items():
        hits = {k for k, line in enumerate(text.splitlines(), 1) if wanted.search(line)}
        if not hits:
            continue
        inner = hits & body_lines(text)
        for line in inner:
            found.setdefault(module, set()).update(statement(text, line, line)[0])
        for line in hits - inner:
            made |= _assigned(statement(text, line, line)[2])
    return _uses(made - names, sources, found, depth - 1) if depth else found


class Record:
    """Which lines of the core each test executes, kept in a file."""

    def __init__(self, kept, root, sources):
        self.kept, self.root, self.sources = kept, root, sources
        self.files, self.batches = {}, {}
        if kept.exists():
            told = json.loads(kept.read_text(encoding="utf-8"))
            self.files, self.batches = told["files"], told["batches"]
        self.moved = {}

    def _of(self, file):
        return hashlib.sha256((self.root / file).read_bytes()).hexdigest()

    def stale(self, files):
        """Those of some test files that have no record or have changed since."""
        return [file for file in files if self.files.get(file, {}).get("of") != self._of(file)]

    def add(self, files, told):
        """Keep what plugin ``touched`` has recorded of some files."""
        batch = hashlib.sha256(json.dumps(self.sources, sort_keys=True).encode()).hexdigest()[:12]
        self.batches[batch] = self.sources
        for file in files:
            self.files[file] = {"of": self._of(file), "batch": batch, "tests": told.get(file, {})}
        used = {one["batch"] for one in self.files.values()}
        self.batches = {name: texts for name, texts in self.batches.items() if name in used}
        self.kept.write_text(json.dumps({"files": self.files, "batches": self.batches}), encoding="utf-8")

    def _then(self, batch, module, lines):
        """Lines of a module in the text of an earlier batch."""
        old, new = self.batches[batch].get(module), self.sources[module]
        if old is None or old == new:
            return lines if old else set()
        key = batch, module
        if key not in self.moved:
            matcher = difflib.SequenceMatcher(None, old.splitlines(), new.splitlines(), autojunk=False)
            self.moved[key] = matcher.get_opcodes()
        found = set()
        for what, i1, i2, j1, j2 in self.moved[key]:
            ours = {line for line in lines if j1 < line <= j2}
            if what == "equal":
                found |= {line - j1 + i1 for line in ours}
            elif ours:
                found |= set(range(i1 + 1, i2 + 1)) or {i1, i1 + 1}
        return found

    def meeting(self, where, files):
        """({test: seconds} that execute some lines of ``where``, {test: seconds} of the others of their files)."""
        executing, others, masks = {}, {}, {}
        for file in files:
            known = self.files.get(file)
            if known is None or not (self.root / file).exists():
                continue
            batch = known["batch"]
            if batch not in masks:
                masks[batch] = {module: sum(1 << line for line in self._then(batch, module, lines))
                                for module, lines in where.items()}

            def met(test, mask=masks[batch], tests=known["tests"]):
                bits = tests[test][1]
                return any(module in bits and int(bits[module], 16) & lines for module, lines in mask.items())

            tests = [test for test in known["tests"] if test]
            as_read = "" in known["tests"] and met("")  # a table made while the file is read serves all its tests
            own = {test: known["tests"][test][0] for test in tests if as_read or met(test)}
            executing.update(own)
            if own:  # what a shared fixture or a cache did once
                others.update({test: known["tests"][test][0] for test in tests if test not in own})
        return executing, others
