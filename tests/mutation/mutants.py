"""Small wrong changes of a Python module, one at a time.

The operators: a comparison's boundary or sense, arithmetic, numbers, truth values, conditions,
clamps (`min`, `max`, `clip`, `abs`), what is returned, and statements left out. Nothing is changed
in annotations, assertions, the text of errors, or what only a type checker reads.
"""

from __future__ import annotations

import ast
from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass
from itertools import islice
from pathlib import Path

COMPARISONS: dict[type[ast.cmpop], tuple[type[ast.cmpop], ...]] = {
    ast.Lt: (ast.LtE, ast.GtE),
    ast.LtE: (ast.Lt, ast.Gt),
    ast.Gt: (ast.GtE, ast.LtE),
    ast.GtE: (ast.Gt, ast.Lt),
    ast.Eq: (ast.NotEq,),
    ast.NotEq: (ast.Eq,),
    ast.Is: (ast.IsNot,),
    ast.IsNot: (ast.Is,),
    ast.In: (ast.NotIn,),
    ast.NotIn: (ast.In,),
}
ARITHMETIC: dict[type[ast.operator], type[ast.operator]] = {
    ast.Add: ast.Sub,
    ast.Sub: ast.Add,
    ast.Mult: ast.Div,
    ast.Div: ast.Mult,
    ast.FloorDiv: ast.Mult,
    ast.Mod: ast.Mult,
    ast.Pow: ast.Mult,
    ast.BitAnd: ast.BitOr,
    ast.BitOr: ast.BitAnd,
    ast.LShift: ast.RShift,
    ast.RShift: ast.LShift,
}
CLAMPS = {
    "min": "max",
    "max": "min",
    "minimum": "maximum",
    "maximum": "minimum",
    "floor": "ceil",
    "ceil": "floor",
    "any": "all",
    "all": "any",
}
FIRST_ARGUMENT = {"min", "max", "minimum", "maximum", "clip", "abs", "round", "sqrt"}
"""Calls in whose place their first argument is tried."""


@dataclass(frozen=True, slots=True)
class Mutant:
    """One change. `key` names it without line numbers, so that a list of them outlives edits."""

    module: str
    number: int
    """Its place among the module's changes."""
    line: int
    lines: range
    """The lines of the statement: a test that reaches none of them cannot find the change."""
    scope: str
    """The qualified name of the outermost function or method; empty: at import."""
    change: str

    @property
    def key(self) -> str:
        return f"{self.scope or 'module'}: {self.change}"


def mutants(module: str, text: str) -> list[Mutant]:
    """Every mutant of a Python module's text, in the order of its lines."""
    found: list[Mutant] = []
    seen: Counter[tuple[str, str]] = Counter()
    for number, (site, new) in enumerate(_changes(ast.parse(text))):
        change = f"{_short(site.node)} -> {_short(new)}"
        seen[site.scope, change] += 1
        if (count := seen[site.scope, change]) > 1:
            change = f"{change} ({count})"
        line = getattr(site.node, "lineno", site.lines.start)
        found.append(Mutant(module, number, line, site.lines, site.scope, change))
    return found


def changed_source(text: str, number: int) -> str:
    """The text of the module with its change of that number."""
    tree = ast.parse(text)
    site, new = next(islice(_changes(tree), number, None))
    return ast.unparse(_Swap(site.node, new).visit(tree))


def _changes(tree: ast.Module) -> Iterator[tuple[_Site, ast.AST]]:
    for site in _inside(tree, "", "", range(0)):
        for new in _replacements(site.node, site.returns):
            yield site, new


@dataclass(frozen=True, slots=True)
class _Site:
    node: ast.AST
    lines: range
    scope: str
    returns: bool
    """Whether the node is a return statement of a function that gives something."""


def _inside(node: ast.AST, scope: str, prefix: str, lines: range) -> Iterator[_Site]:
    for name, value in ast.iter_fields(node):
        if name in ("annotation", "returns", "decorator_list", "type_params", "keywords_only"):
            continue
        for child in value if isinstance(value, list) else [value]:
            if isinstance(child, ast.AST):
                yield from _at(child, scope, prefix, lines)


def _at(node: ast.AST, scope: str, prefix: str, lines: range) -> Iterator[_Site]:
    if _is_left_alone(node):
        return
    if isinstance(node, ast.stmt):
        end = node.end_lineno or node.lineno
        body = getattr(node, "body", None)
        if isinstance(body, list) and body and not isinstance(node, ast.FunctionDef):
            end = max(node.lineno, body[0].lineno - 1)
        lines = range(node.lineno, end + 1)
    yield _Site(node, lines, scope, isinstance(node, ast.Return))
    if isinstance(node, ast.FunctionDef):
        own = scope or f"{prefix}{node.name}"
        for default in (*node.args.defaults, *node.args.kw_defaults):
            if default is not None:
                yield from _at(default, scope, prefix, lines)
        for child in node.body:
            yield from _at(child, own, prefix, lines)
        return
    if isinstance(node, ast.ClassDef):
        prefix = f"{prefix}{node.name}."
    yield from _inside(node, scope, prefix, lines)


def _is_left_alone(node: ast.AST) -> bool:
    if isinstance(node, ast.Assert | ast.Raise | ast.Import | ast.ImportFrom | ast.Global):
        return True
    if isinstance(node, ast.If) and "TYPE_CHECKING" in ast.unparse(node.test):
        return True
    if isinstance(node, ast.Expr) and isinstance(node.value, ast.Constant):
        return True
    if isinstance(node, ast.Assign) and "__all__" in ast.unparse(node.targets[0]):
        return True
    if isinstance(node, ast.Call) and ast.unparse(node.func) in ("TypeVar", "cast", "isinstance"):
        return True
    return isinstance(node, ast.FormattedValue) and isinstance(node.value, ast.Name)


def _replacements(node: ast.AST, returns: bool) -> Iterator[ast.AST]:
    match node:
        case ast.Compare(ops=ops):
            for at, op in enumerate(ops):
                for other in COMPARISONS[type(op)]:
                    yield ast.Compare(
                        node.left, [*ops[:at], other(), *ops[at + 1 :]], node.comparators
                    )
        case ast.BinOp(op=op) if type(op) in ARITHMETIC and not _is_text(node):
            yield ast.BinOp(node.left, ARITHMETIC[type(op)](), node.right)
        case ast.AugAssign(op=op):
            if type(op) in ARITHMETIC:
                yield ast.AugAssign(node.target, ARITHMETIC[type(op)](), node.value)
            yield ast.Pass()
        case ast.BoolOp(op=op, values=values):
            other = ast.Or() if isinstance(op, ast.And) else ast.And()
            yield ast.BoolOp(other, values)
        case ast.UnaryOp(op=ast.Not() | ast.USub(), operand=operand):
            yield operand
        case ast.Constant(value=bool() as value):
            yield ast.Constant(not value)
        case ast.Constant(value=int() as value):
            yield ast.Constant(value + 1)
        case ast.Constant(value=float() as value):
            yield ast.Constant(value * 1.25 if value else 1.0)
        case ast.Call(func=func, args=args):
            yield from _other_calls(node, func, args)
        case ast.If(test=test) | ast.While(test=test) if _is_plain(test):
            yield _with_test(node, ast.UnaryOp(ast.Not(), test))
        case ast.IfExp(test=test, body=body, orelse=orelse) if _is_plain(test):
            yield ast.IfExp(ast.UnaryOp(ast.Not(), test), body, orelse)
        case ast.comprehension(ifs=[_, *_]):
            yield ast.comprehension(node.target, node.iter, node.ifs[:-1], node.is_async)
        case ast.Return(value=value) if returns and value is not None and not _is_none(value):
            yield ast.Return(ast.Constant(None))
        case ast.Expr() | ast.Continue() | ast.Break():
            yield ast.Pass()
        case ast.Assign(targets=[ast.Attribute() | ast.Subscript()]):
            yield ast.Pass()


def _other_calls(node: ast.Call, func: ast.expr, args: list[ast.expr]) -> Iterator[ast.AST]:
    name = func.attr if isinstance(func, ast.Attribute) else getattr(func, "id", "")
    if name in CLAMPS:
        if isinstance(func, ast.Attribute):
            other: ast.expr = ast.Attribute(func.value, CLAMPS[name], ast.Load())
        else:
            other = ast.Name(CLAMPS[name], ast.Load())
        if name not in ("floor", "ceil") or isinstance(func, ast.Attribute):
            yield ast.Call(other, args, node.keywords)
    if name in FIRST_ARGUMENT and args and (name not in ("min", "max") or len(args) > 1):
        yield args[0]


def _is_plain(test: ast.expr) -> bool:
    """A condition that no other operator changes."""
    return not isinstance(test, ast.Compare | ast.BoolOp | ast.UnaryOp | ast.Constant)


def _is_text(node: ast.BinOp) -> bool:
    parts = (node.left, node.right)
    texts = (ast.JoinedStr, ast.List, ast.Tuple)
    return any(
        isinstance(part, texts) or (isinstance(part, ast.Constant) and isinstance(part.value, str))
        for part in parts
    )


def _is_none(value: ast.expr) -> bool:
    return isinstance(value, ast.Constant) and value.value is None


def _with_test(node: ast.If | ast.While, test: ast.expr) -> ast.stmt:
    kind = ast.If if isinstance(node, ast.If) else ast.While
    return kind(test, node.body, node.orelse)


class _Swap(ast.NodeTransformer):
    def __init__(self, old: ast.AST, new: ast.AST) -> None:
        self.old, self.new = old, new

    def visit(self, node: ast.AST) -> ast.AST:
        return self.new if node is self.old else self.generic_visit(node)


def _short(node: ast.AST) -> str:
    """The changed piece on one line; of a block its first line."""
    text = ast.unparse(node)
    first = text.splitlines()[0] if isinstance(node, ast.If | ast.While) else text
    words = " ".join(first.split())
    return words if len(words) <= 90 else words[:87] + "..."


def module_files(root: Path, names: list[str]) -> list[str]:
    """The modules that names stand for: a file, a folder, or a dotted name."""
    found: list[str] = []
    for name in names:
        path = root / name
        if not path.exists():
            path = root / (name.replace(".", "/") + ".py")
        if path.is_dir():
            inside = sorted([*path.rglob("*.py"), *path.rglob("bc_*.c")])
            found += [str(p.relative_to(root)) for p in inside if p.name != "__init__.py"]
        elif path.is_file():
            found.append(str(path.resolve().relative_to(root)))
        else:
            raise FileNotFoundError(name)
    return list(dict.fromkeys(found))
