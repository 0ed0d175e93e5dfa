import signal
import subprocess
import sys
from pathlib import Path

import pytest

from tests.mutation.__main__ import ROOT, _near_tests
from tests.mutation.trial import Fate, fate


@pytest.mark.parametrize(
    ("wait_status", "found"),
    [
        (0, Fate.SURVIVED),
        (1 << 8, Fate.KILLED),
        (int(signal.SIGSEGV), Fate.KILLED),
        (int(signal.SIGPROF), Fate.TIMED_OUT),
        (int(signal.SIGALRM), Fate.TIMED_OUT),
    ],
)
def test_the_fate_of_a_mutant_is_how_its_process_ended(wait_status: int, found: Fate) -> None:
    assert fate(wait_status) is found


def test_the_tests_of_a_module_face_its_mutants_first() -> None:
    near = [Path(path).name for path in _near_tests("evaluate.curve")]
    assert near[0] == "test_curve.py"
    assert "test_gran.py" in near


TRIAL = """
import ast, os, sys
from tests.mutation.trial import fate, start
module, test, body, cpu_s = sys.argv[1:]
print(fate(os.waitpid(start(module, module + ".py", ast.parse(body), [test], float(cpu_s)), 0)[1]))
"""


@pytest.mark.needs("epoll")  # stands for Linux, where the processor time of a process can end it
@pytest.mark.parametrize(
    ("body", "cpu_s", "found"),
    [
        ("def twice(x): return 2 * x", 60.0, Fate.SURVIVED),
        ("def twice(x): return 3 * x", 60.0, Fate.KILLED),
        ("def twice(x):\n    while True: pass", 4.0, Fate.TIMED_OUT),
    ],
)
def test_a_mutant_lives_in_its_own_process_and_for_its_own_time(
    body: str, cpu_s: float, found: Fate, tmp_path: Path
) -> None:
    test = tmp_path / "test_twice.py"
    test.write_text("from made_up_module import twice\ndef test_twice(): assert twice(2) == 4\n")
    words = [sys.executable, "-c", TRIAL, "made_up_module", str(test), body, str(cpu_s)]
    done = subprocess.run(words, capture_output=True, text=True, check=True, cwd=ROOT)
    assert done.stdout.strip() == found
