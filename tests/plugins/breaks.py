"""Deliberate breaks of the core's source: where one can be made, and the source with it made.

A break is one small change that a careless hand could make: another comparison, `and` for `or`, plus for minus, another
number, smallest for largest, the other sign, a statement without effect.
"""
from __future__ import annotations

import ast
import hashlib
from dataclasses import dataclass

COMPARED = {ast.Lt: ast.LtE, ast.LtE: ast.Lt, ast.Gt: ast.GtE, ast.GtE: ast.Gt, ast.Eq: ast.NotEq, ast.NotEq: ast.Eq,
            ast.Is: ast.IsNot, ast.IsNot: ast.Is, ast.In: ast.NotIn, ast.NotIn: ast.In}
TURNED = {ast.Lt: ast.Gt, ast.LtE: ast.Gt, ast.Gt: ast.Lt, ast.GtE: ast.Lt}
COUNTED = {ast.Add: ast.Sub, ast.Sub: ast.Add, ast.Mult: ast.Div, ast.Div: ast.Mult, ast.FloorDiv: ast.Mult,
           ast.Mod: ast.Add, ast.Pow: ast.Mult}
JOINED = {ast.And: ast.Or, ast.Or: ast.And, ast.BitAnd: ast.BitOr, ast.BitOr: ast.BitAnd}
LEAST = {"min": "max", "max": "min", "minimum": "maximum", "maximum": "minimum", "fmin": "fmax", "fmax": "fmin",
         "argmin": "argmax", "argmax": "argmin", "floor": "ceil", "ceil": "floor", "any": "all", "all": "any"}
KINDS = ("compare", "join", "count", "number", "least", "sign", "drop")


@dataclass(frozen=True)
class Break:
    """One change: ``module`` (path under survey/), enclosing ``function``, ``line``, ``kind``, the text ``was`` and
    ``now``, ``turn`` (the how-manieth of its like in the function, from 0), ``span`` in bytes."""

    module: str
    function: str
    line: int
    kind: str
    was: str
    now: str
    turn: int
    span: tuple

    def key(self):
        """Its name in lists: does not change when other code does."""
        return f"{self.module} {self.function}: {self.was} -> {self.now}" + (f" #{self.turn}" if self.turn else "")

    def lot(self, seed):
        """A number that draws it or not: as good as random, the same for ever."""
        return hashlib.sha256(f"{seed} {self.key()}".encode()).hexdigest()

    def made(self, source):
        """The source with this break."""
        raw = source.encode("utf-8")
        start, end = self.span
        return (raw[:start] + self.now.encode("utf-8") + raw[end:]).decode("utf-8")


def breaks(module, source):
    """Every Break that can be made in a module, in order of place."""
    walker = _Walker(module, source)
    walker.visit(ast.parse(source))
    return walker.found


class _Walker(ast.NodeVisitor):
    def __init__(self, module, source):
        self.module, self.raw, self.found = module, source.encode("utf-8"), []
        lines = self.raw.splitlines(keepends=True)
        self.starts = [0]
        for line in lines:
            self.starts.append(self.starts[-1] + len(line))
        self.names, self.turns = [], {}

    def _span(self, node):
        return (self.starts[node.lineno - 1] + node.col_offset, self.starts[node.end_lineno - 1] + node.end_col_offset)

    def _add(self, node, kind, now, span=None):
        start, end = span or self._span(node)
        was = " ".join(self.raw[start:end].decode("utf-8").split())
        function = ".".join(self.names) or "(module)"
        like = (function, was, now)
        turn = self.turns[like] = self.turns.get(like, -1) + 1
        self.found.append(Break(self.module, function, node.lineno, kind, was, now, turn, (start, end)))

    def _swap(self, node, kind, **changed):
        fields = {name: getattr(node, name) for name in node._fields}
        self._add(node, kind, f"({ast.unparse(type(node)(**{**fields, **changed}))})")

    # what is not broken: words, annotations, refusals, lists of names
    def visit_JoinedStr(self, node):
        pass

    def visit_Raise(self, node):
        pass

    def visit_Import(self, node):
        pass

    visit_ImportFrom = visit_Import

    def visit_AnnAssign(self, node):
        if node.value is not None:
            self.visit(node.value)

    def visit_arg(self, node):
        pass

    def visit_ClassDef(self, node):
        self.names.append(node.name)
        self.generic_visit(node)
        self.names.pop()

    def visit_FunctionDef(self, node):
        self.names.append(node.name)
        for part in (*node.args.defaults, *filter(None, node.args.kw_defaults), *node.body):
            self.visit(part)
        self.names.pop()

    def visit_Compare(self, node):
        if len(node.ops) == 1:
            op = type(node.ops[0])
            self._swap(node, "compare", ops=[COMPARED[op]()])
            if op in TURNED:
                self._swap(node, "compare", ops=[TURNED[op]()])
        self.generic_visit(node)

    def visit_BoolOp(self, node):
        self._swap(node, "join", op=JOINED[type(node.op)]())
        self.generic_visit(node)

    def visit_BinOp(self, node):
        op = type(node.op)
        text = any(isinstance(side, (ast.JoinedStr, ast.List)) or (isinstance(side, ast.Constant)
                   and isinstance(side.value, str)) for side in (node.left, node.right))
        if op in JOINED:
            self._swap(node, "join", op=JOINED[op]())
        elif op in COUNTED and not text:
            self._swap(node, "count", op=COUNTED[op]())
        self.generic_visit(node)

    def visit_UnaryOp(self, node):
        if isinstance(node.op, (ast.USub, ast.Invert, ast.Not)):
            kind = "sign" if isinstance(node.op, ast.USub) else "join"
            self._add(node, kind, f"({ast.unparse(node.operand)})")
        if not (isinstance(node.op, ast.USub) and isinstance(node.operand, ast.Constant)):
            self.generic_visit(node)

    def visit_Constant(self, node):
        value = node.value
        if isinstance(value, bool):
            self._add(node, "number", str(not value))
        elif isinstance(value, int):
            self._add(node, "number", str(value + 1))
        elif isinstance(value, float):
            self._add(node, "number", repr(value * 2 if value else 1.0))

    def visit_Call(self, node):
        of = node.func
        name = of.attr if isinstance(of, ast.Attribute) else getattr(of, "id", "")
        if name in LEAST:
            start, end = self._span(of)
            self._add(of, "least", LEAST[name], (end - len(name), end))
        self.generic_visit(node)

    def visit_If(self, node):
        self._add(node.test, "compare", f"(not ({ast.unparse(node.test)}))")
        self.generic_visit(node)

    def visit_IfExp(self, node):
        self._add(node.test, "compare", f"(not ({ast.unparse(node.test)}))")
        self.generic_visit(node)

    def visit_Expr(self, node):
        if isinstance(node.value, ast.Call):
            self._add(node, "drop", "pass")
        if not isinstance(node.value, ast.Constant):
            self.generic_visit(node)

    def visit_AugAssign(self, node):
        self._add(node, "drop", "pass")
        self.generic_visit(node)

    def visit_Assign(self, node):
        if any(isinstance(target, ast.Name) and target.id == "__all__" for target in node.targets):
            return
        if all(isinstance(target, ast.Subscript) for target in node.targets):
            self._add(node, "drop", "pass")
        self.generic_visit(node)
