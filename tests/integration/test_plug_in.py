"""Drivers of other packages, really installed beside ours in an environment of their own."""

import subprocess
import sys
import sysconfig
import venv
from pathlib import Path

import pytest

HOUSE = Path(__file__).parents[2]

GOOD = '''
"""A driver of code from a stranger: percentages, one a line."""
from dataclasses import dataclass
from decimal import Decimal

from acquire.driver import DriverIdentity
from acquire.events import FrameRead, FrameRefused, Outcome, Reading, Span
from acquire.rehearsal import Rehearsal


class OrchardDriver:
    next_deadline_ns = None

    def __init__(self):
        self.pending, self.offset = b"", 0

    def receive(self, data, at):
        self.pending += data
        events = []
        while b"\\n" in self.pending or len(self.pending) >= 32:
            line, end, _ = self.pending[:32].partition(b"\\n")
            events.append(self.event(line, len(line + end)))
            self.pending = self.pending[len(line + end):]
        return events

    def event(self, line, length):
        span = Span(self.offset, length)
        self.offset += length
        if not (len(line) == 5 and line[:1] == b"A" and line[1:].isdigit()):
            return FrameRefused(span, "wrong_layout", "wanted A and four digits")
        text = line[1:].decode()
        return FrameRead(span, (Reading("alcohol", Outcome.VALUE, text, Decimal(text) / 100, "% vol"),))

    def tick(self, at):
        return []

    def closed(self, at):
        return [FrameRefused(Span(self.offset, len(self.pending)), "partial")] if self.pending else []

    def to_send(self):
        return b""


class HastyDriver(OrchardDriver):
    def closed(self, at):
        line = self.pending + b"0" * (5 - len(self.pending))
        return [self.event(line, len(self.pending))] if self.pending else []


@dataclass(frozen=True)
class Factory:
    make: type
    identity: DriverIdentity = DriverIdentity("orchard", "1", "orchard-meter==1")
    rehearsal: Rehearsal = Rehearsal((b"A1280\\n", b"A0055\\n"), lead=b"\\n")

    def __call__(self):
        return self.make()


def good(options):
    return Factory(OrchardDriver)


def hasty(options):
    return Factory(HastyDriver)
'''

RAISING = """
def make(options):
    raise KeyError("the press is out of order")
"""

PROJECT = """
[build-system]
requires = ["hatchling"]
build-backend = "hatchling.build"
[project]
name = "{name}"
version = "1"
[project.entry-points."tundish.drivers"]
{points}
[tool.hatch.build.targets.wheel]
packages = ["{package}"]
"""


def install(python: Path, folder: Path, name: str, points: dict[str, str], modules: dict[str, str]) -> None:
    """Write a package, build it, and install it for that interpreter."""
    package = name.replace("-", "_")
    (folder / package).mkdir(parents=True)
    for module, text in {"__init__": "", **modules}.items():
        (folder / package / f"{module}.py").write_text(text, encoding="utf-8")
    listed = "\n".join(f'{point} = "{package}.{place}"' for point, place in points.items())
    project = PROJECT.format(name=name, package=package, points=listed)
    (folder / "pyproject.toml").write_text(project, encoding="utf-8")
    pip = [sys.executable, "-m", "pip", "--python", str(python), "install", "--quiet", "--no-index"]
    subprocess.run([*pip, "--no-deps", "--no-build-isolation", str(folder)], check=True)


@pytest.fixture(scope="module")
def python(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Return an interpreter that has this program, and two packages of strangers beside it."""
    folder = tmp_path_factory.mktemp("plug-in")
    venv.create(folder / "env", with_pip=False)
    binaries = folder / "env" / ("Scripts" if sys.platform == "win32" else "bin")
    interpreter = binaries / Path(sys.executable).name
    where = "import sysconfig; print(sysconfig.get_path('purelib'))"
    said = subprocess.run([interpreter, "-c", where], check=True, capture_output=True, text=True).stdout
    ours = f"{HOUSE}\n{sysconfig.get_path('purelib')}\n"
    (Path(said.strip()) / "house.pth").write_text(ours, encoding="utf-8")
    install(
        interpreter,
        folder / "orchard",
        "orchard-meter",
        {"orchard": "driver:good", "orchard-hasty": "driver:hasty"},
        {"driver": GOOD},
    )
    install(
        interpreter,
        folder / "press",
        "broken-press",
        {"press-absent": "absent:make", "press-importing": "importing:make", "press-raising": "raising:make"},
        {"importing": "import no_such_library_at_all\n", "raising": RAISING},
    )
    return interpreter


def tundish(python: Path, *arguments: str) -> subprocess.CompletedProcess[str]:
    call = "import sys; from tundish.cli import main; sys.exit(main())"
    return subprocess.run([python, "-c", call, *arguments], capture_output=True, text=True, check=False)


def test_a_strangers_driver_is_found_by_name_and_reads(python: Path, tmp_path: Path) -> None:
    capture = tmp_path / "capture.bin"
    capture.write_bytes(b"A1280\nnoise\n")
    result = tundish(python, "pour", "--driver", "orchard", str(capture))
    assert result.returncode == 0, result.stderr
    assert "alcohol 1280 % vol" in result.stdout
    assert "wanted A and four digits" in result.stdout
    assert "0 unaccounted" in result.stdout


def test_a_strangers_driver_is_put_through_the_battery_by_name(python: Path) -> None:
    result = tundish(python, "check", "orchard")
    assert result.returncode == 0, result.stdout + result.stderr
    assert "orchard: loaded; tried by 2 messages" in result.stdout
    assert "BROKEN" not in result.stdout


def test_a_law_that_a_strangers_driver_breaks_is_named(python: Path) -> None:
    result = tundish(python, "check", "orchard-hasty")
    assert result.returncode == 1, result.stdout + result.stderr
    assert "BROKEN  part of a message says nothing: b'A' of b'A1280\\n' says" in result.stdout


@pytest.mark.parametrize(
    ("name", "why"),
    [
        ("press-absent", "its import failed: ModuleNotFoundError"),
        (
            "press-importing",
            "its import failed: ModuleNotFoundError: No module named 'no_such_library_at_all'",
        ),
        ("press-raising", "it could not be made: KeyError: 'the press is out of order'"),
    ],
)
def test_a_broken_package_is_reported_by_its_name(python: Path, name: str, why: str) -> None:
    result = tundish(python, "check", name)
    assert result.returncode == 2
    assert f"driver {name!r} of the package broken-press cannot be used: {why}" in result.stderr


def test_a_broken_package_stops_no_other_driver(python: Path, tmp_path: Path) -> None:
    file = tmp_path / "tundish.toml"
    line = (
        '[[line]]\nname = "{0}"\ninstrument = "{0}"\nkind = "capture-file"\npath = "a.bin"\ndriver = "{0}"\n'
    )
    lines = [line.format(name) for name in ("orchard", "so2-burette", "press-raising")]
    file.write_text("\n".join(lines), encoding="utf-8")
    result = tundish(python, "check", str(file))
    assert result.returncode == 2
    assert result.stderr.count("broken-press") == 1
    assert "orchard" not in result.stderr
    file.write_text("\n".join(lines[:2]), encoding="utf-8")
    result = tundish(python, "check", str(file))
    assert result.returncode == 0, result.stderr
    assert "orchard: orchard by orchard" in result.stdout
