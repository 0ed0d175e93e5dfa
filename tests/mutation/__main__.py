"""``python -m tests.mutation [MODULE ...]``: break every formula of `evaluate` and list what no test noticed.

Exit status 1 if a mutant survived that `explained.toml` does not explain, or one it explains was killed.
"""

import argparse
import ast
import os
import sys
import time
import tomllib
from collections import Counter
from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import Final

from tests.mutation.mutants import Mutant, find_mutants, mutated
from tests.mutation.trial import Fate, fate, start, warm_up

ROOT: Final = Path(__file__).resolve().parents[2]
PACKAGE: Final = ROOT / "evaluate"
UNIT_TESTS: Final = ROOT / "tests" / "unit" / "evaluate"
EXPLAINED: Final = Path(__file__).with_name("explained.toml")
WALK: Final = "test_every_function_is_tested.py"  # says nothing about numbers
NOT_MUTATED: Final = frozenset({"__init__", "errors"})
UNBROKEN_CPU_S: Final = 120.0  # [s] that the tests may take before anything is broken
SLOWER: Final = 4.0  # [1] a mutant that takes so many times longer, and GRACE_S, is taken for endless
GRACE_S: Final = 3.0  # [s]
EXPLAINED_SURVIVORS: Final = "explained"
LAST_RESORT: Final = (str(ROOT / "tests" / "published"), str(UNIT_TESTS), f"--ignore={UNIT_TESTS / WALK}")
"""What faces a mutant that survived the tests that name its module."""


def main() -> int:
    """Run the trials and report."""
    parser = argparse.ArgumentParser(prog="python -m tests.mutation", description=__doc__)
    parser.add_argument("modules", nargs="*", help="such as trend or evaluate.trend; all by default")
    parser.add_argument("--near", action="store_true", help="spare a survivor the tests of other modules")
    parser.add_argument("--jobs", type=int, default=os.cpu_count() or 1, help="processes at once")
    chosen = parser.parse_args()
    warm_up()
    began = time.monotonic()
    explained = _explained()
    survivors: list[Mutant] = []
    total: Counter[str] = Counter()
    modules = [name.removeprefix("evaluate.") for name in chosen.modules] or _all_modules()
    for name in modules:
        counts: Counter[str] = Counter()
        for mutant, found in _trials(name, chosen.jobs, near_only=chosen.near):
            counts[_column(mutant, found, explained)] += 1
            survivors += [mutant] if found is Fate.SURVIVED else []
        sys.stdout.write(_row(name, counts))
        sys.stdout.flush()
        total += counts
    sys.stdout.write(_row("all", total))
    return _report(survivors, explained, modules, time.monotonic() - began)


def _column(mutant: Mutant, found: Fate, explained: dict[tuple[str, str, str], str]) -> str:
    if found is Fate.SURVIVED:
        return EXPLAINED_SURVIVORS if mutant.key in explained else str(found)
    return str(found)


def _row(name: str, counts: Counter[str]) -> str:
    columns = (Fate.KILLED, Fate.TIMED_OUT, EXPLAINED_SURVIVORS, Fate.SURVIVED)
    parts = ", ".join(f"{counts[column]} {column}" for column in columns)
    return f"{name}: {counts.total()} mutants: {parts}\n"


def _report(
    survivors: list[Mutant], explained: dict[tuple[str, str, str], str], modules: list[str], took_s: float
) -> int:
    unexplained = [mutant for mutant in survivors if mutant.key not in explained]
    tried = {f"evaluate.{name}" for name in modules}
    stale = [key for key in explained if key[0] in tried and key not in {mutant.key for mutant in survivors}]
    for mutant in unexplained:
        sys.stdout.write(f"SURVIVED {mutant.module}:{mutant.line}: {mutant.change}\n    {mutant.code}\n")
    for key in stale:
        sys.stdout.write(f"EXPLAINED BUT KILLED, or gone: {key}; take it out of {EXPLAINED.name}\n")
    sys.stdout.write(f"{took_s:.0f} s\n")
    return 1 if unexplained or stale else 0


def _all_modules() -> list[str]:
    return [path.stem for path in sorted(PACKAGE.glob("*.py")) if path.stem not in NOT_MUTATED]


def _explained() -> dict[tuple[str, str, str], str]:
    entries = tomllib.loads(EXPLAINED.read_text(encoding="utf-8")).get("mutant", [])
    return {(entry["module"], entry["code"], entry["change"]): entry["reason"] for entry in entries}


def _near_tests(module: str) -> list[str]:
    """Return the test files that name the module, its own first, or, where none does, those of its users."""
    own = f"test_{module.removeprefix('evaluate.')}.py"
    tests = [path for path in sorted(UNIT_TESTS.glob("test_*.py")) if path.name != WALK]
    tests.sort(key=lambda path: path.name != own)
    named = [str(path) for path in tests if _names(path, module)]
    if named:
        return named
    users = [path for path in sorted(PACKAGE.glob("*.py")) if _names(path, module)]
    return sorted({test for user in users for test in _near_tests(f"evaluate.{user.stem}")})


def _names(path: Path, module: str) -> bool:
    return module in _imported(ast.parse(path.read_text(encoding="utf-8")))


def _imported(tree: ast.Module) -> set[str]:
    found = {alias.name for node in ast.walk(tree) if isinstance(node, ast.Import) for alias in node.names}
    for node in ast.walk(tree):
        if isinstance(node, ast.ImportFrom) and node.module:
            found |= {node.module} | {f"{node.module}.{alias.name}" for alias in node.names}
    return found


def _trials(name: str, jobs: int, *, near_only: bool) -> Iterator[tuple[Mutant, Fate]]:
    """Yield every mutant of a module with its fate; a survivor of the near tests faces all others too."""
    path = PACKAGE / f"{name}.py"
    source, module = path.read_text(encoding="utf-8"), f"evaluate.{name}"
    near = _near_tests(module)
    survivors = find_mutants(module, source)
    if survivors and near:
        cpu_s = _unbroken_cpu_s(module, path, source, near)
        if cpu_s is None:
            raise SystemExit(f"{module}: tests fail before anything is broken; mend them first: {near}")
        mutants, survivors = survivors, []
        for mutant, found in _run(mutants, path, source, near, jobs, cpu_s):
            if found is Fate.SURVIVED:
                survivors.append(mutant)
            else:
                yield mutant, found
    cpu_s = _unbroken_cpu_s(module, path, source, LAST_RESORT) if survivors and not near_only else None
    if cpu_s is not None:
        yield from _run(survivors, path, source, LAST_RESORT, jobs, cpu_s)
    else:  # where other tests fail anyway they would seem to kill every mutant
        yield from ((mutant, Fate.SURVIVED) for mutant in survivors)


def _unbroken_cpu_s(module: str, path: Path, source: str, tests: Sequence[str]) -> float | None:
    """Return the processor time of the tests before anything is broken, or None if they fail. [s]"""
    pid = start(module, str(path), ast.parse(source), tests, UNBROKEN_CPU_S)
    _, status, used = os.wait4(pid, 0)
    return used.ru_utime + used.ru_stime if fate(status) is Fate.SURVIVED else None


def _run(
    mutants: list[Mutant], path: Path, source: str, tests: Sequence[str], jobs: int, unbroken_cpu_s: float
) -> Iterator[tuple[Mutant, Fate]]:
    waiting, running = list(reversed(mutants)), dict[int, Mutant]()
    longest_cpu_s = SLOWER * unbroken_cpu_s + GRACE_S
    while waiting or running:
        while waiting and len(running) < jobs:
            mutant = waiting.pop()
            tree = mutated(source, mutant.nth)
            running[start(mutant.module, str(path), tree, tests, longest_cpu_s)] = mutant
        pid, status = os.wait()
        yield running.pop(pid), fate(status)


if __name__ == "__main__":
    sys.exit(main())
