"""Tell systemd that the daemon is ready, alive or stopping; does nothing where systemd did not start it."""

import os
import socket


class ServiceNotifier:
    """Send states to the socket that systemd names in ``NOTIFY_SOCKET``."""

    def __init__(self, address: str | None, watchdog_us: int | None = None) -> None:
        self._address = "\0" + address[1:] if address and address.startswith("@") else address
        self.watchdog_interval_s = watchdog_us / 2_000_000 if watchdog_us else None
        """Half the time within which systemd wants to hear from us; None if it does not ask. [s]"""

    @classmethod
    def from_environment(cls) -> "ServiceNotifier":
        """Take address and watchdog time as systemd handed them over."""
        watchdog = os.environ.get("WATCHDOG_USEC")
        return cls(os.environ.get("NOTIFY_SOCKET"), int(watchdog) if watchdog else None)

    def ready(self) -> None:
        """Say that lines are being heard."""
        self._send("READY=1")

    def alive(self) -> None:
        """Say that the loop runs and every reader thread has come round."""
        self._send("WATCHDOG=1")

    def stopping(self) -> None:
        """Say that the daemon is on its way out."""
        self._send("STOPPING=1")

    def _send(self, state: str) -> None:
        if self._address is None or not hasattr(socket, "AF_UNIX"):
            return
        with socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM) as channel:
            channel.sendto(state.encode(), self._address)
