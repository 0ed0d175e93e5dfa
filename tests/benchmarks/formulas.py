"""How long the formulas take, beside plain numpy doing the bare arithmetic in the same run."""

import os
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable
from pathlib import Path

import numpy as np
from scipy.stats import linregress

from evaluate import molecular, rule_sets
from evaluate.curve import Curve
from evaluate.dead_stop import dead_stop_branches
from evaluate.dead_stop_threshold import dead_stop_threshold
from evaluate.end_point_derivative import first_derivative_end_points, second_derivative_end_points
from evaluate.end_point_fixed import fixed_value_end_point
from evaluate.gran import GranKind, gran_end_point, gran_values
from tests.benchmarks.report import Figure
from tests.fakes.titration_curves import STRONG_ACID

ROUNDS = 20
ROOT = Path(__file__).resolve().parents[2]


def best_ms(work: Callable[[], object]) -> float:
    """Return the processor time of the quickest of several rounds. [ms]"""
    took = []
    for _ in range(ROUNDS):
        begun = time.process_time_ns()
        work()
        took.append(time.process_time_ns() - begun)
    return min(took) / 1e6


def titration(points: int = 200) -> Curve:
    """Return a curve of 50 mL of a strong acid, by the balance of charges; it ends at 25 mL. [mL; pH]"""
    volumes = [30.0 * index / (points - 1) for index in range(points)]
    return Curve(tuple(volumes), tuple(STRONG_ACID.ph_at(volume) for volume in volumes))


def dead_stop(points: int = 200) -> Curve:
    """Return a current that is flat up to 25 mL and then rises. [mL; µA]"""
    volumes = [30.0 * index / (points - 1) for index in range(points)]
    return Curve(tuple(volumes), tuple(0.1 + 4.0 * max(0.0, volume - 25.0) for volume in volumes))


def all_methods(curve: Curve, current: Curve) -> None:
    """Find the end point by every method; a method that finds none raises."""
    first_derivative_end_points(curve).only()
    second_derivative_end_points(curve).only()
    fixed_value_end_point(curve, 7.0).only()
    gran_end_point(gran_values(curve.between(0.0, 24.5), GranKind.ACID, 50.0)).only()
    dead_stop_branches(current).only()
    times = [float(index) for index in range(len(current))]
    dead_stop_threshold(times, current.volume_ml, current.signal, threshold=1.0, hold_s=10.0).only()


def rooms_modules() -> list[str]:
    """Return the name of every module of `evaluate`."""
    names = sorted(path.stem for path in (ROOT / "evaluate").glob("*.py"))
    return [f"evaluate.{name}" for name in names if name != "__init__"]


def import_ms(modules: list[str]) -> float:
    """Return the processor time of importing modules, without starting Python. [ms]

    The first run writes the byte code, as an installation has it, whatever the environment says of that.
    """
    text = (
        "import time; begun = time.process_time_ns()\n"
        + "".join(f"import {name}\n" for name in modules)
        + "print((time.process_time_ns() - begun) / 1e6)"
    )
    with tempfile.TemporaryDirectory() as cache:
        settings = {name: value for name, value in os.environ.items() if name != "PYTHONDONTWRITEBYTECODE"}
        settings["PYTHONPYCACHEPREFIX"] = cache
        runs = [
            subprocess.run(
                [sys.executable, "-c", text], cwd=ROOT, env=settings, check=True, capture_output=True
            ).stdout
            for _ in range(6)
        ]
    return min(float(run) for run in runs)


def measure() -> list[Figure]:
    """Measure curves, molecular values, control charts and imports."""
    curve, current = titration(), dead_stop()
    ph = np.linspace(2.9, 4.0, 10_000)
    free = np.linspace(5.0, 60.0, 10_000)
    scores = np.random.default_rng(1).normal(size=1000)
    signal, volume = np.array(curve.signal), np.array(curve.volume_ml)
    return [
        Figure("curve of 200 points, all methods", best_ms(lambda: all_methods(curve, current)), "ms", 5),
        Figure(
            "  bare second difference by numpy",
            best_ms(lambda: np.gradient(np.gradient(signal, volume), volume)),
            "ms",
        ),
        Figure("  bare straight line by scipy", best_ms(lambda: linregress(volume, signal)), "ms"),
        Figure(
            "10,000 molecular values",
            best_ms(lambda: molecular.molecular_so2(free, ph, "oiv-as323-04c", alcohol_pct_vol=12.5)),
            "ms",
            20,
        ),
        Figure("  bare formula by numpy", best_ms(lambda: free / (1 + 10 ** (ph - 1.81))), "ms"),
        Figure("chart of 1,000 points, all rule sets", best_ms(lambda: _all_rules(scores)), "ms", 10),
        Figure("  bare comparison by numpy", best_ms(lambda: np.abs(scores) > 3), "ms"),
        Figure("import of everything in evaluate", import_ms(rooms_modules()), "ms", 60),
        Figure("  bare import of numpy", import_ms(["numpy"]), "ms"),
    ]


def _all_rules(scores: "np.ndarray[tuple[int], np.dtype[np.float64]]") -> None:
    """Judge by every named rule set."""
    for one in rule_sets.rule_sets():
        rule_sets.judge(scores, one)
