"""Finds what can be broken in a module: each number, sign and comparison, one at a time."""

import ast
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from typing import Final

STEP: Final = 1.01  # [1] a number is moved by 1 %

FLIPPED_SIGNS: Final[dict[type[ast.operator], type[ast.operator]]] = {ast.Add: ast.Sub, ast.Sub: ast.Add}
FLIPPED_COMPARISONS: Final[dict[type[ast.cmpop], type[ast.cmpop]]] = {
    ast.Lt: ast.GtE,
    ast.LtE: ast.Gt,
    ast.Gt: ast.LtE,
    ast.GtE: ast.Lt,
    ast.Eq: ast.NotEq,
    ast.NotEq: ast.Eq,
    ast.Is: ast.IsNot,
    ast.IsNot: ast.Is,
    ast.In: ast.NotIn,
    ast.NotIn: ast.In,
}


@dataclass(frozen=True, slots=True)
class Mutant:
    """One change of one module, told by the line it stands on, so that moving the line does not rename it."""

    module: str
    line: int
    code: str
    """The line, without its indent."""
    change: str
    """What becomes of which part, such as ``0.05 to 0.0505`` or ``Lt to GtE``."""
    nth: int
    """Which change of the module it is, counted from 0."""

    @property
    def key(self) -> tuple[str, str, str]:
        """What an explanation names."""
        return self.module, self.code, self.change


@dataclass(frozen=True, slots=True)
class _Change:
    node: ast.expr
    text: str
    apply: Callable[[], None]


def find_mutants(module: str, source: str) -> list[Mutant]:
    """Return every mutant of a module's source."""
    lines = source.splitlines()
    return [
        Mutant(module, change.node.lineno, lines[change.node.lineno - 1].strip(), change.text, nth)
        for nth, change in enumerate(_changes(ast.parse(source)))
    ]


def mutated(source: str, nth: int) -> ast.Module:
    """Return the syntax tree of a source with its `nth` change applied."""
    tree = ast.parse(source)
    changes = list(_changes(tree))
    changes[nth].apply()
    return tree


def _changes(node: ast.AST) -> Iterator[_Change]:
    """Yield the changes below a node, but none in annotations, decorators, messages and blocks for types."""
    if isinstance(node, ast.JoinedStr | ast.Raise) or _is_for_types(node):
        return
    yield from _changes_of(node)
    for name, value in ast.iter_fields(node):
        if name not in {"annotation", "returns", "decorator_list"}:
            for child in value if isinstance(value, list) else [value]:
                if isinstance(child, ast.AST):
                    yield from _changes(child)


def _is_for_types(node: ast.AST) -> bool:
    return isinstance(node, ast.If) and isinstance(node.test, ast.Name) and node.test.id == "TYPE_CHECKING"


def _changes_of(node: ast.AST) -> Iterator[_Change]:
    if isinstance(node, ast.Constant):
        yield from _of_number(node)
    elif isinstance(node, ast.BinOp) and type(node.op) in FLIPPED_SIGNS:
        yield _of_sign(node, FLIPPED_SIGNS[type(node.op)])
    elif isinstance(node, ast.UnaryOp) and isinstance(node.op, ast.USub):
        yield _Change(
            node, f"-{ast.unparse(node.operand)} loses its sign", lambda: setattr(node, "op", ast.UAdd())
        )
    elif isinstance(node, ast.Compare):
        yield from (_of_comparison(node, place) for place in range(len(node.ops)))


def _of_number(node: ast.Constant) -> Iterator[_Change]:
    value = node.value
    if isinstance(value, int | float) and not isinstance(value, bool) and value != 0:
        moved = value * STEP
        yield _Change(node, f"{value!r} to {moved:.6g}", lambda: setattr(node, "value", moved))


def _of_sign(node: ast.BinOp, flipped: type[ast.operator]) -> _Change:
    text = f"{ast.unparse(node)}: {type(node.op).__name__} to {flipped.__name__}"
    return _Change(node, text, lambda: setattr(node, "op", flipped()))


def _of_comparison(node: ast.Compare, place: int) -> _Change:
    flipped = FLIPPED_COMPARISONS[type(node.ops[place])]
    text = f"{ast.unparse(node)}: {type(node.ops[place]).__name__} to {flipped.__name__}"
    return _Change(node, text, lambda: node.ops.__setitem__(place, flipped()))
