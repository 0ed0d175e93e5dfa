"""What systemd hears from us."""

import socket
from pathlib import Path

import pytest

from tundish.notify import ServiceNotifier

pytestmark = pytest.mark.needs("unix sockets")


@pytest.fixture
def heard(tmp_path: Path) -> socket.socket:
    channel = socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM)
    channel.bind(str(tmp_path / "notify"))
    channel.settimeout(5)
    return channel


def test_states_reach_the_socket_in_order(heard: socket.socket) -> None:
    notifier = ServiceNotifier(heard.getsockname())
    notifier.ready()
    notifier.alive()
    notifier.stopping()
    with heard:
        assert [heard.recv(100) for _ in range(3)] == [b"READY=1", b"WATCHDOG=1", b"STOPPING=1"]


def test_without_systemd_nothing_is_sent() -> None:
    ServiceNotifier(None).ready()


def test_the_watchdog_hears_from_us_at_half_its_time() -> None:
    assert ServiceNotifier(None, watchdog_us=30_000_000).watchdog_interval_s == 15


def test_address_and_time_come_from_the_environment(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("WATCHDOG_USEC", "4000000")
    monkeypatch.delenv("NOTIFY_SOCKET", raising=False)
    assert ServiceNotifier.from_environment().watchdog_interval_s == 2
