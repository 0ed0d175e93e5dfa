"""Runs the tests against one mutant, in a process of its own that has the mutant in memory only."""

import ast
import importlib
import importlib.abc
import importlib.machinery
import os
import signal
import sys
import types
from collections.abc import Sequence
from enum import StrEnum
from typing import Final

PLUGINS: Final = ("pytest_asyncio.plugin", "_hypothesis_pytestplugin")
"""What the tests of `evaluate` need of pytest's plugins; loading the others takes longer than most trials."""
LONGEST_WAIT_S: Final = 900  # [s] for a mutant that waits and uses no processor; none is known


class Fate(StrEnum):
    """What became of a mutant."""

    KILLED = "killed"
    SURVIVED = "survived"
    TIMED_OUT = "timed out"


class _InMemory(importlib.abc.MetaPathFinder, importlib.abc.Loader):
    """Gives out one module from a syntax tree instead of from its file."""

    def __init__(self, module: str, path: str, tree: ast.Module) -> None:
        self._module, self._path, self._tree = module, path, tree

    def find_spec(
        self, fullname: str, path: Sequence[str] | None, target: types.ModuleType | None = None
    ) -> importlib.machinery.ModuleSpec | None:
        """Claim the one module."""
        if fullname != self._module:
            return None
        return importlib.machinery.ModuleSpec(fullname, self, origin=self._path)

    def exec_module(self, module: types.ModuleType) -> None:
        """Run the tree as the module."""
        exec(compile(ast.fix_missing_locations(self._tree), self._path, "exec"), vars(module))


def warm_up() -> None:
    """Import what every trial needs, once, before the processes part.

    Byte code is written whatever the environment says: else every trial would compile the tests anew.
    """
    sys.dont_write_bytecode = False
    for plugin in PLUGINS:
        importlib.import_module(plugin)
    import hypothesis  # noqa: F401
    import numpy as np  # noqa: F401
    import pytest  # noqa: F401
    import scipy.integrate
    import scipy.optimize
    import scipy.signal
    import scipy.special
    import scipy.stats  # noqa: F401
    import uncertainties  # noqa: F401

    import storage.store  # noqa: F401  # tests/conftest.py wants it, and no module of `evaluate` comes with it


def start(module: str, path: str, tree: ast.Module, tests: Sequence[str], longest_cpu_s: float) -> int:
    """Start a trial with the tree in place of the module, and return its process id.

    Its time is that of the processor, so that a busy machine makes no mutant look endless.
    """
    pid = os.fork()
    if pid:
        return pid
    signal.setitimer(signal.ITIMER_PROF, longest_cpu_s)
    signal.alarm(LONGEST_WAIT_S)
    try:
        _silence()
        sys.meta_path.insert(0, _InMemory(module, path, tree))
        os._exit(_run_tests(tests))
    finally:
        os._exit(1)


def fate(wait_status: int) -> Fate:
    """Return what a finished process says of its mutant."""
    code = os.waitstatus_to_exitcode(wait_status)
    if code in {-signal.SIGPROF, -signal.SIGALRM}:
        return Fate.TIMED_OUT
    return Fate.SURVIVED if code == 0 else Fate.KILLED


def _silence() -> None:
    nowhere = os.open(os.devnull, os.O_WRONLY)
    os.dup2(nowhere, 1)
    os.dup2(nowhere, 2)


def _run_tests(tests: Sequence[str]) -> int:
    import hypothesis
    import pytest

    hypothesis.settings.register_profile(
        "mutation",
        max_examples=40,
        derandomize=True,
        database=None,
        deadline=None,
        phases=[hypothesis.Phase.explicit, hypothesis.Phase.generate],
        suppress_health_check=[hypothesis.HealthCheck.too_slow],  # a busy machine must kill no mutant
    )
    hypothesis.settings.load_profile("mutation")
    os.environ["PYTEST_DISABLE_PLUGIN_AUTOLOAD"] = "1"
    options = [part for plugin in PLUGINS for part in ("-p", plugin)]
    options += ["-x", "-q", "-p", "no:cacheprovider", "--no-header"]
    options += ["-W", "ignore::pytest.PytestAssertRewriteWarning"]  # hypothesis is here before pytest
    return int(pytest.main([*options, *tests]))
