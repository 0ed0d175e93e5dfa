"""A broker of the test's own: a real Mosquitto on a free port of this machine, with its own folder."""

import base64
import getpass
import hashlib
import os
import shutil
import signal
import socket
import subprocess
import time
from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path

START_LIMIT_S = 10.0  # [s] a broker that is not up by then is taken to be broken
STOP_LIMIT_S = 10.0  # [s]
HOST = "127.0.0.1"

_HASH_ROUNDS = 101  # of PBKDF2-SHA512, as Mosquitto's own tool writes them


def program() -> str | None:
    """Return the path of the broker, which Debian keeps where only the system's path finds it."""
    return shutil.which("mosquitto", path=f"{os.environ.get('PATH', '')}{os.pathsep}/usr/sbin")


@dataclass
class Mosquitto:
    """Can be stopped, killed, frozen and started again on the same port, and keeps sessions over that."""

    folder: Path
    passwords: Mapping[str, str] = field(default_factory=dict)
    """By user; without any, everybody may come in."""
    rules: str = ""
    """Lines of its file of access rules; without any, everybody may do everything."""
    tls: tuple[Path, Path] | None = None
    """Certificate and key; with them it speaks TLS alone."""
    settings: tuple[str, ...] = ("persistence true", "autosave_on_changes true", "autosave_interval 1")
    """By default it writes down at once what it acknowledged; as delivered, it does so every half hour."""
    more: str = ""
    """Further lines of its configuration."""
    host: str = HOST
    port: int = 0
    """Free at the first start, and kept from then on."""

    def __post_init__(self) -> None:
        self._process: subprocess.Popen[bytes] | None = None
        self.port = self.port or _free_port()

    def start(self) -> None:
        """Start it and wait until it answers."""
        assert self._process is None
        found = program()
        assert found is not None
        self.folder.mkdir(parents=True, exist_ok=True)
        config = self.folder / "mosquitto.conf"
        config.write_text(self._config(), encoding="utf-8")
        with (self.folder / "mosquitto.log").open("ab") as log:
            self._process = subprocess.Popen([found, "-c", str(config)], stdout=log, stderr=log)
        self._wait_until_up()

    def stop(self, how: int = signal.SIGTERM) -> None:
        """End it; it may be started again. Does nothing if it does not run."""
        if self._process is not None:
            self._process.send_signal(how)
            self._process.wait(STOP_LIMIT_S)
            self._process = None

    def kill(self) -> None:
        """End it without letting it do anything any more."""
        self.stop(signal.SIGKILL)

    def freeze(self) -> None:
        """Let it do nothing while its connections stay open."""
        assert self._process is not None
        self._process.send_signal(signal.SIGSTOP)

    def thaw(self) -> None:
        """Let it go on."""
        assert self._process is not None
        self._process.send_signal(signal.SIGCONT)

    def change_rules(self, rules: str) -> None:
        """Give it other access rules while it runs."""
        assert self._process is not None
        self.rules = rules
        self._private("rules", rules)
        self._process.send_signal(signal.SIGHUP)

    @property
    def log(self) -> str:
        """What it wrote about itself."""
        return (self.folder / "mosquitto.log").read_text(encoding="utf-8")

    def _config(self) -> str:
        lines = [
            f"listener {self.port} {self.host}",
            f"user {getpass.getuser()}",
            "log_type all",
            f"persistence_location {self.folder}/",
            *self.settings,
            f"allow_anonymous {'false' if self.passwords else 'true'}",
        ]
        if self.passwords:
            file = self._private("passwords", "".join(_password_line(*one) for one in self.passwords.items()))
            lines.append(f"password_file {file}")
        if self.rules:
            lines.append(f"acl_file {self._private('rules', self.rules)}")
        if self.tls is not None:
            lines += [f"certfile {self.tls[0]}", f"keyfile {self.tls[1]}"]
        lines.append(self.more)
        return "\n".join(lines) + "\n"

    def _private(self, name: str, text: str) -> Path:
        file = self.folder / name
        file.write_text(text, encoding="utf-8")
        file.chmod(0o600)
        return file

    def _wait_until_up(self) -> None:
        assert self._process is not None
        limit = time.monotonic() + START_LIMIT_S
        while self._process.poll() is None and time.monotonic() < limit:
            with socket.socket() as probe:
                probe.settimeout(0.05)
                if probe.connect_ex((self.host, self.port)) == 0:
                    return
        self.stop(signal.SIGKILL)
        raise AssertionError(f"the broker did not come up:\n{self.log}")


def _free_port() -> int:
    with socket.socket() as probe:
        probe.bind((HOST, 0))
        port: int = probe.getsockname()[1]
        return port


def _password_line(user: str, password: str) -> str:
    salt = os.urandom(12)
    digest = hashlib.pbkdf2_hmac("sha512", password.encode(), salt, _HASH_ROUNDS)
    coded = (base64.b64encode(part).decode() for part in (salt, digest))
    return f"{user}:$7${_HASH_ROUNDS}${'$'.join(coded)}\n"
