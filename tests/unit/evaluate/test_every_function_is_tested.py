"""Every public function of `evaluate` has a documented range and source, and the five kinds of test.

A function is found by walking the package, a test by its name: ``test_<function>__<kind>_…`` in a module that
imports the function's module.
"""

import ast
import importlib
import inspect
import pkgutil
import re
import types
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest

import evaluate

TESTS = Path(__file__).parent
KINDS = {
    "a published value or closed form": ("published", "closed_form"),
    "a limiting case": ("limit",),
    "a law": ("law",),
    "refusal of bad input": ("refuses",),
    "an independent method": ("independent",),
}
SECTIONS = ("Parameters", "Returns", "Raises", "Notes", "References")
_REGISTRY = "a look-up in the registry of units"
NOT_FORMULAS = {
    "evaluate.checks": "checks of inputs; every formula's refusals test them",
    "evaluate.formula_functions": "other names for formulas, walked row by row in test_formulas",
    "evaluate.formulas.formulas": "a look-up in the table of formulas",
    "evaluate.formulas.formula": "a look-up in the table of formulas",
    "evaluate.series": "a check of inputs; every statistic's refusals test it",
    "evaluate.rule_patterns": "builders of the rules, which are tested one by one through judge()",
    "evaluate.rule_definitions": "look-ups by name in a table of rules",
    "evaluate.so2_constants.constant_set": "a look-up by name in a table of constants",
    "evaluate.units.quantities": _REGISTRY,
    "evaluate.units.units": _REGISTRY,
    "evaluate.units.quantity": _REGISTRY,
    "evaluate.units.unit": _REGISTRY,
    "evaluate.units.unit_from_text": _REGISTRY,
    "evaluate.units.fits": _REGISTRY,
}
"""Modules and functions that compute no number of their own; each is tested in the plain way."""


def modules() -> Iterator[types.ModuleType]:
    for each in pkgutil.iter_modules(evaluate.__path__, "evaluate."):
        yield importlib.import_module(each.name)


def public_functions(module: types.ModuleType) -> list[Callable[..., Any]]:
    found = [inspect.unwrap(each) for name, each in vars(module).items() if not name.startswith("_")]
    functions = [each for each in found if inspect.isfunction(each)]
    return [each for each in functions if each.__module__ == module.__name__]


def public_parts() -> list[tuple[type, str]]:
    """Return every public method and property of the package's classes, with the class that defines it."""
    classes = {
        each
        for module in modules()
        for name, each in vars(module).items()
        if inspect.isclass(each) and each.__module__ == module.__name__ and not name.startswith("_")
    }
    return [
        (each, name)
        for each in sorted(classes, key=lambda each: (each.__module__, each.__name__))
        for name, part in vars(each).items()
        if not name.startswith("_")
        and (inspect.isfunction(part) or isinstance(part, property | classmethod | staticmethod))
    ]


def imported_modules(tree: ast.Module) -> set[str]:
    plain = {alias.name for node in ast.walk(tree) if isinstance(node, ast.Import) for alias in node.names}
    froms = [node for node in ast.walk(tree) if isinstance(node, ast.ImportFrom) and node.module]
    whole = {f"{node.module}.{alias.name}" for node in froms for alias in node.names}
    return plain | whole | {str(node.module) for node in froms}


def names_by_module() -> dict[str, set[str]]:
    """Return, for every module of the package, the names of the tests in the files that import it."""
    found: dict[str, set[str]] = {}
    for path in sorted(TESTS.glob("test_*.py")):
        tree = ast.parse(path.read_text(encoding="utf-8"))
        names = {node.name for node in ast.walk(tree) if isinstance(node, ast.FunctionDef)}
        for module in imported_modules(tree):
            found.setdefault(module, set()).update(names)
    return found


TESTED = names_by_module()
FORMULAS = [
    function
    for module in modules()
    if module.__name__ not in NOT_FORMULAS
    for function in public_functions(module)
    if f"{module.__name__}.{function.__name__}" not in NOT_FORMULAS
]


def missing_kinds(module: str, function: str, tested: dict[str, set[str]]) -> list[str]:
    names = tested.get(module, set())
    return [
        kind
        for kind, words in KINDS.items()
        if not any(name.startswith(f"test_{function}__{word}_") for name in names for word in words)
    ]


@pytest.mark.parametrize("function", FORMULAS, ids=lambda each: f"{each.__module__}.{each.__name__}")
def test_a_function_has_every_kind_of_test(function: Callable[..., Any]) -> None:
    assert missing_kinds(function.__module__, function.__name__, TESTED) == []


@pytest.mark.parametrize("function", FORMULAS, ids=lambda each: f"{each.__module__}.{each.__name__}")
def test_a_function_documents_its_units_range_errors_and_source(function: Callable[..., Any]) -> None:
    documented = inspect.getdoc(function) or ""
    headings = [f"\n{section}\n{'-' * len(section)}\n" for section in SECTIONS]
    assert [heading.split()[0] for heading in headings if heading not in documented] == []


@pytest.mark.parametrize(("of", "name"), public_parts(), ids=lambda each: getattr(each, "__name__", each))
def test_a_method_or_property_is_documented_and_used_by_a_test_of_its_module(of: type, name: str) -> None:
    assert inspect.getdoc(getattr(of, name))
    tests = [path.read_text(encoding="utf-8") for path in sorted(TESTS.glob("test_*.py"))]
    assert any(re.search(rf"\b{name}\b", text) for text in tests if f"{of.__module__} import" in text)


def test_the_walk_finds_functions_and_sees_a_missing_kind() -> None:
    assert len(FORMULAS) > 40
    tested = {
        "evaluate.new": {"test_f__published_a", "test_f__limit_b", "test_f__law_c", "test_g__refuses_d"}
    }
    assert missing_kinds("evaluate.new", "f", tested) == ["refusal of bad input", "an independent method"]


def test_what_is_no_formula_is_named_for_a_reason_and_exists() -> None:
    known = {module.__name__ for module in modules()}
    known |= {f"{each.__name__}.{name}" for each in modules() for name in vars(each)}
    assert set(NOT_FORMULAS) <= known
    assert all(NOT_FORMULAS.values())
