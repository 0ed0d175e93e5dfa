"""The listener of the network: refused while nothing protects it, and then served beside the loopback one."""

import ssl
from pathlib import Path

import structlog
from starlette.types import ASGIApp

from storage.queries.keys import count_good_keys
from storage.store import Store
from tundish.errors import AddressError
from tundish.network_config import NetworkConfig
from tundish.web import EmbeddedServer, server

NO_KEY = (
    "the network is not served while there is no key that could protect it; make one with `tundish keys add "
    "NAME --scope read`, or take the table [network] out. network.without_keys = true lets everybody in"
)

log = structlog.get_logger()


def refuse_unprotected(store: Store, network: NetworkConfig, folder: Path) -> None:
    """Refuse to serve the network without keys, or with a certificate that cannot be used; warn of the rest.

    Raises
    ------
    AddressError
        It says what is wanting and what to do.
    """
    with store.reader() as connection:
        has_keys = count_good_keys(connection) > 0
    if not has_keys and not network.without_keys:
        raise AddressError(NO_KEY)
    if (files := certificate(network, folder)) is not None:
        _try(files)
    if network.without_keys:
        why = "everybody who reaches it may read and change everything (network.without_keys)"
        log.warning("network.unprotected", address=network.url, why=why)
    if network.without_tls:
        why = "keys and numbers can be read on the way (network.without_tls)"
        log.warning("network.unprotected", address=network.url, why=why)


def certificate(network: NetworkConfig, folder: Path) -> tuple[Path, Path] | None:
    """Return the files of certificate and private key; None without TLS."""
    if network.cert_file is None or network.key_file is None:
        return None
    return folder / network.cert_file, folder / network.key_file


def _try(files: tuple[Path, Path]) -> None:
    def no_password() -> str:
        raise AddressError(f"network.key_file {files[1]} wants a password; give a key without one")

    try:
        ssl.SSLContext(ssl.PROTOCOL_TLS_SERVER).load_cert_chain(*files, password=no_password)
    except (OSError, ssl.SSLError) as error:
        why = error.strerror or str(error)
        named = f"network.cert_file {files[0]} with key_file {files[1]}"
        raise AddressError(f"{named} cannot be used: {why}") from error


def network_server(app: ASGIApp, network: NetworkConfig, folder: Path) -> EmbeddedServer:
    """Make the server of the network."""
    from api.callers import network_side

    return server(network_side(app), certificate(network, folder))
