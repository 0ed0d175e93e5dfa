"""What all tests share: which real programs are here, and what is said when one is not."""

import functools
import importlib.util
import itertools
import os
import re
import shutil
import signal
import socket
import subprocess
import sys
import tempfile
from collections import Counter
from collections.abc import Callable, Iterator
from contextlib import ExitStack
from pathlib import Path

import pytest
from hypothesis import settings

from storage.store import Store, open_store
from tests.fakes.filled_store import NOON_US
from tests.fakes.store_contents import open_at_noon
from tests.services import mosquitto as mosquitto_service
from tests.services import postgresql as postgresql_service
from tests.services.grounds import FileGround, Ground, NewGround, NewStore, ServerGround
from tests.services.mosquitto import Mosquitto
from tests.services.postgresql import PostgreSQL

# A law that takes long on a busy machine holds all the same: speed is judged by the benchmarks alone. Each
# run tries other examples; `--hypothesis-profile=thorough` tries more than the gate has time for.
settings.register_profile("without-deadline", deadline=None, max_examples=60)
settings.register_profile("thorough", deadline=None, max_examples=500)
if settings.get_current_profile_name() == "default":
    settings.load_profile("without-deadline")

NO_SKIP = os.environ.get("TUNDISH_TESTS_NO_SKIP") == "1"


def _has_uno() -> bool:
    return Path("/usr/lib/python3/dist-packages/uno.py").exists()


def _may_mount() -> bool:
    """Try it: an account may be root and still not be allowed to."""
    if sys.platform != "linux" or os.geteuid() != 0 or shutil.which("mount") is None:
        return False
    with tempfile.TemporaryDirectory() as folder:
        mount = ["mount", "-t", "tmpfs", "tmpfs", folder]
        if subprocess.run(mount, capture_output=True, check=False).returncode:
            return False
        subprocess.run(["umount", folder], check=True)
        return True


NEEDS: dict[str, Callable[[], bool]] = {
    "pseudo-terminals": lambda: hasattr(os, "openpty"),
    "epoll": lambda: sys.platform == "linux",
    "symbolic links": lambda: sys.platform != "win32",
    "unix sockets": lambda: hasattr(socket, "AF_UNIX"),
    "hangup signal": lambda: hasattr(signal, "SIGHUP"),
    "chromium": lambda: shutil.which("chromium") is not None,
    "libreoffice": lambda: shutil.which("soffice") is not None and _has_uno(),
    "socat": lambda: shutil.which("socat") is not None,
    "mosquitto": lambda: mosquitto_service.program() is not None,
    "postgresql": postgresql_service.is_here,
    "curl": lambda: shutil.which("curl") is not None and shutil.which("bash") is not None,
    "openssl": lambda: shutil.which("openssl") is not None,
    "small disks": functools.cache(_may_mount),
    "phreeqpython": lambda: importlib.util.find_spec("phreeqpython") is not None,
}
"""What a test may name in ``@pytest.mark.needs(...)``, and how to tell that it is here."""

WANT = "not on this machine: "
"""How the reason of such a skip begins."""


@pytest.hookimpl(optionalhook=True)  # a run may leave the plug-in out
def pytest_xdist_auto_num_workers() -> int:
    """Run in two processes a processor: half of their time, tests wait for real programs."""
    return min(2 * (os.cpu_count() or 1), 8)


def pytest_configure(config: pytest.Config) -> None:
    """Leave the long runs out unless they are asked for by name."""
    if not config.option.markexpr:
        config.option.markexpr = "not soak"


def pytest_runtest_setup(item: pytest.Item) -> None:
    """Skip a test whose program is missing; where no skip is allowed, fail it instead."""
    for marker in item.iter_markers("needs"):
        for name in marker.args:
            if NEEDS[name]():
                continue
            if NO_SKIP:
                pytest.fail(f"{name} is not on this machine, and no test may be skipped here", pytrace=False)
            pytest.skip(f"{WANT}{name}")


def pytest_terminal_summary(terminalreporter: pytest.TerminalReporter) -> None:
    """Say for want of what tests were skipped; the reports come from every process that ran tests."""
    reasons = [str(report.longrepr) for report in terminalreporter.stats.get("skipped", [])]
    wanting = Counter(found[1] for reason in reasons if (found := re.search(rf"{WANT}([\w -]+)", reason)))
    for name, count in sorted(wanting.items()):
        terminalreporter.write_line(f"left out for want of {name}: {count} tests ({sys.platform})")


def pytest_sessionfinish(session: pytest.Session, exitstatus: int) -> None:
    """Where no skip is allowed, a skip for any other reason fails the run too."""
    reporter = session.config.pluginmanager.get_plugin("terminalreporter")
    if (
        NO_SKIP
        and reporter is not None
        and reporter.stats.get("skipped")
        and exitstatus == pytest.ExitCode.OK
    ):
        session.exitstatus = pytest.ExitCode.TESTS_FAILED


@pytest.fixture
def mosquitto(tmp_path: Path) -> Iterator[Mosquitto]:
    """Return a running broker that lets everybody do everything; name ``mosquitto`` in ``needs`` too."""
    broker = Mosquitto(tmp_path / "mosquitto")
    broker.start()
    yield broker
    broker.kill()


@pytest.fixture(scope="session")
def postgresql() -> Iterator[PostgreSQL]:
    """Return a running server for databases; name ``postgresql`` in ``needs`` too."""
    server = PostgreSQL()
    server.start()
    yield server
    server.remove()


@pytest.fixture(
    scope="session", params=["sqlite", pytest.param("postgresql", marks=pytest.mark.needs("postgresql"))]
)
def new_ground(request: pytest.FixtureRequest, tmp_path_factory: pytest.TempPathFactory) -> NewGround:
    """Return what makes grounds for stores: whatever stands on it is tested on a file and on a server."""
    if request.param == "postgresql":
        server: PostgreSQL = request.getfixturevalue("postgresql")
        return lambda: ServerGround(server, server.new_database())
    folder, numbers = tmp_path_factory.mktemp("stores"), itertools.count(1)
    return lambda: FileGround(folder / f"store-{next(numbers)}.db")


@pytest.fixture(scope="session")
def blank_of(new_ground: NewGround) -> Callable[[str], Ground]:
    """Return what gives a closed store of a kind without an entry; copy it before use."""
    made: dict[str, Ground] = {}

    def blank(kind: str) -> Ground:
        if kind not in made:
            made[kind] = new_ground()
            open_at_noon(made[kind], kind).close()
        return made[kind]

    return blank


@pytest.fixture
def new_store(blank_of: Callable[[str], Ground]) -> Iterator[NewStore]:
    """Return what opens new stores of a kind; they are closed and removed after the test."""
    with ExitStack() as stack:

        def new(kind: str, clock_us: Callable[[], int] = lambda: NOON_US) -> Store:
            ground = blank_of(kind).copy()
            stack.callback(ground.remove)
            store = open_store(ground.address, kind=kind, clock_us=clock_us)
            stack.callback(store.close)
            return store

        yield new
