"""A server of the tests' own: a real PostgreSQL on a free port of this machine, with its own folder."""

import getpass
import importlib.util
import os
import shutil
import signal
import socket
import subprocess
import tempfile
from collections.abc import Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

HOST = "127.0.0.1"
OWNER = "tundish_tests"
MEMORY = Path("/dev/shm")
ROOM_BYTES = 2**30
WAIT_S = 60  # [s] a server that is not up by then is taken to be broken

FAST = {"fsync": "off", "full_page_writes": "off"}
"""For tests, which lose nothing when the machine loses its power."""
DURABLE: dict[str, str] = {}
"""For measuring: as the server comes."""


def folder_of_programs() -> Path | None:
    """Return where the server's programs are, the newest of them; Debian keeps them off the path."""
    found = shutil.which("initdb")
    places = [Path(found).resolve().parent] if found else []
    places += sorted(Path("/usr/lib/postgresql").glob("*/bin"), key=lambda place: -int(place.parent.name))
    return next((place for place in places if (place / "initdb").is_file()), None)


def is_here() -> bool:
    """Tell whether a server can be started and spoken to."""
    return folder_of_programs() is not None and importlib.util.find_spec("psycopg") is not None


@dataclass
class PostgreSQL:
    """Can be stopped, killed and started again on the same port, and keeps its databases over that."""

    settings: dict[str, str] = field(default_factory=lambda: FAST)

    def __post_init__(self) -> None:
        programs = folder_of_programs()
        assert programs is not None
        self._programs = programs
        self._folder = Path(tempfile.mkdtemp(prefix="tundish-postgresql-", dir=self._where()))
        self._data = self._folder / "data"
        self._made = 0
        self.port = _free_port()
        if os.geteuid() == 0:  # the server refuses to run as root
            shutil.chown(self._folder, "postgres")
        self._run("initdb", "-D", str(self._data), "-U", OWNER, "-A", "trust", "-E", "UTF8", "--no-sync")
        lines = {
            "listen_addresses": HOST,
            "port": str(self.port),
            "unix_socket_directories": str(self._folder),
            "max_connections": "200",
            **self.settings,
        }
        text = "".join(f"{name} = '{value}'\n" for name, value in lines.items())
        with (self._data / "postgresql.conf").open("a", encoding="utf-8") as file:
            file.write(text)

    def _where(self) -> str | None:
        """Return memory as the place for what need not last: each database is a thousand files."""
        is_fast = self.settings.get("fsync") == "off" and MEMORY.is_dir()
        return str(MEMORY) if is_fast and shutil.disk_usage(MEMORY).free > ROOM_BYTES else None

    def start(self) -> None:
        """Start it and wait until it answers."""
        log = str(self._folder / "log")
        self._run("pg_ctl", "-D", str(self._data), "-l", log, "-w", "-t", str(WAIT_S), "-s", "start")

    def stop(self, mode: str = "fast") -> None:
        """End it; ``immediate`` is a crash. It may be started again."""
        self._run("pg_ctl", "-D", str(self._data), "-m", mode, "-w", "-t", str(WAIT_S), "-s", "stop")

    def freeze(self) -> None:
        """Let nothing of it go on, while its connections stay open."""
        self._signal_all(signal.SIGSTOP)

    def thaw(self) -> None:
        """Let it go on."""
        self._signal_all(signal.SIGCONT)

    def remove(self) -> None:
        """End it and leave nothing behind."""
        if (self._data / "postmaster.pid").exists():
            self.stop("immediate")
        shutil.rmtree(self._folder)

    def url(self, database: str, role: str = OWNER, password: str | None = None) -> str:
        """Return the address of a database."""
        secret = "" if password is None else f":{password}"
        return f"postgresql://{role}{secret}@{HOST}:{self.port}/{database}"

    def connect(self, database: str = "postgres", role: str = OWNER) -> Any:
        """Return a connection that commits each statement by itself."""
        import psycopg

        return psycopg.connect(self.url(database, role), autocommit=True)

    def new_database(self, template: str | None = None) -> str:
        """Make a database, empty or as a copy of another to which nobody is connected; return its name."""
        self._made += 1
        name = f"store_{self._made}"
        with self.connect() as connection:
            source = template or "template0"
            connection.execute(f"CREATE DATABASE {name} TEMPLATE {source}")
        return name

    def drop(self, database: str) -> None:
        """Take a database away, whoever may still be connected to it."""
        with self.connect() as connection:
            connection.execute(f"DROP DATABASE {database} WITH (FORCE)")

    def _run(self, program: str, *arguments: str) -> None:
        done = subprocess.run(
            [str(self._programs / program), *arguments],
            user="postgres" if os.geteuid() == 0 else None,
            cwd=self._folder,
            stdin=subprocess.DEVNULL,
            stdout=subprocess.PIPE if program == "initdb" else subprocess.DEVNULL,
            stderr=subprocess.STDOUT,
            text=True,
            check=False,
        )
        assert done.returncode == 0, f"{program} failed as {getpass.getuser()}: {done.stdout}\n{self._log()}"

    def _log(self) -> str:
        log = self._folder / "log"
        return log.read_text(encoding="utf-8") if log.exists() else ""

    def _signal_all(self, number: int) -> None:
        for process in self._processes():
            os.kill(process, number)

    def _processes(self) -> Sequence[int]:
        first = int((self._data / "postmaster.pid").read_text(encoding="ascii").split()[0])
        children = Path(f"/proc/{first}/task/{first}/children").read_text(encoding="ascii").split()
        return [first, *map(int, children)]


def _free_port() -> int:
    with socket.socket() as probe:
        probe.bind((HOST, 0))
        port: int = probe.getsockname()[1]
        return port
