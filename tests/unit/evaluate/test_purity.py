"""What every module of `evaluate` keeps to: no clock, no file, no chance; each constant once, with source."""

import ast
import builtins
import subprocess
import sys
from collections import defaultdict
from collections.abc import Iterator
from pathlib import Path

import pytest

import evaluate

MODULES = sorted(path for path in Path(evaluate.__path__[0]).glob("*.py") if path.stem != "__init__")
CALCULATING = {"numpy", "scipy", "uncertainties", "evaluate"}
"""Packages that only calculate."""
HEAVY = {"numpy", "scipy", "uncertainties"}
"""What is imported where it is needed, so that the daemon starts fast."""
OF_PYTHON = {
    "bisect",
    "collections",
    "dataclasses",
    "datetime",
    "decimal",
    "enum",
    "fractions",
    "functools",
    "itertools",
    "math",
    "operator",
    "re",
    "types",
    "typing",
}
"""Modules of Python that leave the world alone; of `datetime`, only the dates that come in."""
IMPURE = {"open", "print", "input", "exec", "eval", "__import__", "breakpoint"}
IMPURE_PARTS = {"now", "today", "utcnow", "random", "default_rng", "fromfile", "tofile", "loadtxt", "savetxt"}
"""What stands behind a dot, such as ``date.today``."""
EXACT_DIGITS = 4
"""From so many digits on a figure is a measured one and no count, power or share."""


def tree(path: Path) -> ast.Module:
    return ast.parse(path.read_text(encoding="utf-8"))


def imported(module: ast.Module) -> set[str]:
    whole = {alias.name for node in ast.walk(module) if isinstance(node, ast.Import) for alias in node.names}
    parts = {str(node.module) for node in ast.walk(module) if isinstance(node, ast.ImportFrom)}
    return {name.partition(".")[0] for name in whole | parts}


def impure(module: ast.Module) -> set[str]:
    plain = {node.id for node in ast.walk(module) if isinstance(node, ast.Name)}
    parts = {node.attr for node in ast.walk(module) if isinstance(node, ast.Attribute)}
    return (plain & IMPURE) | (parts & IMPURE_PARTS)


def constants(path: Path) -> Iterator[tuple[str, str, ast.expr]]:
    """Yield each constant of a module that holds a figure: its name, all that is said of it, its value."""
    module, lines = tree(path), path.read_text(encoding="utf-8").splitlines()
    for node, after in zip(module.body, [*module.body[1:], None], strict=True):
        if not isinstance(node, ast.Assign | ast.AnnAssign) or node.value is None or not figures(node.value):
            continue
        target = node.targets[0] if isinstance(node, ast.Assign) else node.target
        said = [line.partition("#")[2] for line in lines[node.lineno - 1 : node.end_lineno]]
        said += [each.value for each in ast.walk(node.value) if is_text(each)]  # type: ignore[attr-defined]
        if isinstance(after, ast.Expr) and is_text(after.value):
            said.append(after.value.value)  # type: ignore[attr-defined]
        yield ast.unparse(target), " ".join(said).strip(), node.value


def is_text(node: ast.AST) -> bool:
    return isinstance(node, ast.Constant) and isinstance(node.value, str)


def figures(tree: ast.AST) -> list[float]:
    found = [node.value for node in ast.walk(tree) if isinstance(node, ast.Constant)]
    return [each for each in found if isinstance(each, int | float) and not isinstance(each, bool)]


@pytest.mark.parametrize("path", MODULES, ids=lambda path: path.stem)
def test_a_module_imports_nothing_that_sees_the_world(path: Path) -> None:
    assert imported(tree(path)) - CALCULATING - OF_PYTHON == set()


@pytest.mark.parametrize("path", MODULES, ids=lambda path: path.stem)
def test_a_module_reads_no_file_and_no_clock_and_throws_no_dice(path: Path) -> None:
    assert impure(tree(path)) == set()


@pytest.mark.parametrize("path", MODULES, ids=lambda path: path.stem)
def test_a_constant_says_what_it_is_beside_its_figure(path: Path) -> None:
    assert [name for name, said, _ in constants(path) if len(said.split()) < 2] == []


def test_a_measured_figure_stands_in_one_module_alone() -> None:
    places: dict[float, set[str]] = defaultdict(set)
    for path in MODULES:
        for value in figures(tree(path)):
            if len(f"{value:.12g}".replace(".", "").strip("0").split("e")[0]) >= EXACT_DIGITS:
                places[value].add(path.stem)
    assert {value: found for value, found in places.items() if len(found) > 1} == {}


def test_importing_every_module_loads_none_of_the_heavy_libraries() -> None:
    wanted = "; ".join(f"import evaluate.{path.stem}" for path in MODULES)
    text = f"import sys; {wanted}; print(sorted({HEAVY} & set(sys.modules)))"
    done = subprocess.run([sys.executable, "-c", text], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "[]"


def test_what_is_impure_or_stands_twice_is_seen() -> None:
    assert impure(ast.parse("open(path); day = date.today(); now = 3")) == {"open", "today"}
    assert imported(ast.parse("import os.path\nfrom time import sleep")) == {"os", "time"}
    assert figures(ast.parse("a = 1.2345 if b else -2 or True")) == [1.2345, 2]


def test_the_names_are_those_of_python() -> None:
    assert set(dir(builtins)) >= IMPURE
    assert set(sys.stdlib_module_names) >= OF_PYTHON
    assert len(MODULES) > 60
