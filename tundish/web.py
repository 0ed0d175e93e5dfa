"""The web server inside the daemon: uvicorn on a socket that we bind, without its own signal handling."""

import errno
import socket
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import uvicorn
from starlette.types import ASGIApp

from tundish.errors import AddressError
from tundish.network_config import NetworkConfig
from tundish.web_protocol import ProblemProtocol

GRACE_S = 2
"""How long an open stream may hold up the stop. [s]"""

WHY = {
    errno.EADDRINUSE: "is taken by another program (is tundish running already?)",
    errno.EACCES: "needs rights that this account does not have",
}


def bind(host: str, port: int, setting: str = "api.port, or with --port for the demo") -> socket.socket:
    """Take the port before anything else is started, so that a taken one is one clear line."""
    family = socket.AF_INET6 if ":" in host else socket.AF_INET
    listener = socket.socket(family, socket.SOCK_STREAM)
    try:
        if hasattr(socket, "SO_EXCLUSIVEADDRUSE"):
            listener.setsockopt(socket.SOL_SOCKET, socket.SO_EXCLUSIVEADDRUSE, 1)
        else:
            listener.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        listener.bind((host, port))
    except OSError as error:
        listener.close()
        why = WHY.get(error.errno or 0, f"cannot be had: {error.strerror}")
        raise AddressError(f"port {port} of {host} {why}; choose another with {setting}") from error
    return listener


def bind_network(network: NetworkConfig) -> socket.socket:
    """Take the port of the network."""
    return bind(network.host, network.port, "network.port")


class EmbeddedServer(uvicorn.Server):
    """A server whose owner handles the signals."""

    @contextmanager
    def capture_signals(self) -> Iterator[None]:
        """Leave signals to the daemon."""
        yield


def server(app: ASGIApp, certificate: tuple[Path, Path] | None = None) -> EmbeddedServer:
    """Make a server that lets open streams go soon after it is told to stop; a certificate makes it TLS."""
    cert_file, key_file = certificate or (None, None)
    return EmbeddedServer(
        uvicorn.Config(
            app,
            http=ProblemProtocol,
            log_config=None,
            access_log=False,
            lifespan="off",
            ws="none",
            server_header=False,
            proxy_headers=False,  # nothing stands before us, so no header may say who asked or how
            timeout_graceful_shutdown=GRACE_S,
            ssl_certfile=cert_file,
            ssl_keyfile=key_file,
        )
    )
