"""How a server is reached: one place for the driver, the settings of a session and the claim on a store."""

import os
import socket
from collections.abc import Callable
from typing import Any, Final

from sqlalchemy import URL, Engine, create_engine
from sqlalchemy.pool import QueuePool

from storage.errors import SERVER_ADVICE, StoreAddressError, StoreBusyError, StoreUnreachableError
from storage.postgresql.statements import take_moments_as_they_are

READERS: Final = 4  # two for the API, one for step 2, one spare
OLDEST_SERVER: Final = 130_000  # 13.0, in the server's own counting
ENCODING: Final = "UTF8"
NAME_BYTES: Final = 63  # the server cuts longer names of a connection

# A peer that went away without a word is missed after 10 s + 3 × 5 s, by either side: the server would
# otherwise keep the claim of a daemon whose computer lost its power for hours.
_UNANSWERED_MS: Final = 25_000
_CONNECTION: Final = {
    "connect_timeout": 5,  # [s]
    "keepalives_idle": 10,  # [s]
    "keepalives_interval": 5,  # [s]
    "keepalives_count": 3,
    "tcp_user_timeout": _UNANSWERED_MS,
}

_SESSION: Final = (
    "timezone = 'UTC'",
    "jit = off",  # it costs more than it saves in short queries
    "tcp_keepalives_idle = 10",
    "tcp_keepalives_interval = 5",
    "tcp_keepalives_count = 3",
    f"tcp_user_timeout = {_UNANSWERED_MS}",
)
LOCK_TIMEOUT_MS: Final = 1_000  # then the health page says it, and it is tried again
_READER: Final = ("default_transaction_read_only = on",)

CLAIM_SQL: Final = "SELECT pg_advisory_lock(1953853028, hashtext(current_schema()))"
"""One daemon a store: the server gives the lock to one session and takes it back when that session ends. It
is held by the very session that writes, so that nothing of a broken session can still arrive."""
_HOLDER_SQL: Final = """
    SELECT application_name || coalesce(', from ' || host(client_addr), '')
    FROM pg_locks JOIN pg_stat_activity USING (pid)
    WHERE locktype = 'advisory' AND granted AND objsubid = 2 AND classid = 1953853028
    AND objid = (hashtext(current_schema())::bigint & 4294967295)::oid
    AND database = (SELECT oid FROM pg_database WHERE datname = current_database())
    LIMIT 1
"""
_WHAT_IS_THERE_SQL: Final = "SELECT current_setting('server_encoding'), pg_is_in_recovery()"


def driver() -> Any:
    """Return the driver. Raises `StoreAddressError` if this installation has none."""
    try:
        import psycopg
    except ImportError as error:
        raise StoreAddressError(
            "a store on a PostgreSQL server needs the extra 'postgres': pip install 'tundish[postgres]'"
        ) from error
    return psycopg


def writing_engine(url: URL, *, lock_timeout_ms: int = LOCK_TIMEOUT_MS) -> Engine:
    """Return an engine for the one writer: durable at COMMIT, its session holds the claim on the store."""
    settings = (*_SESSION, "synchronous_commit = on", f"lock_timeout = {lock_timeout_ms}")
    return _engine(url, _opener(url, settings, _make_writer), size=1)


def reading_engine(url: URL) -> Engine:
    """Return an engine with a few connections that can do nothing but read, one state a transaction."""
    return _engine(url, _opener(url, (*_SESSION, *_READER), _make_reader), size=READERS)


def _engine(url: URL, opener: Callable[[], Any], size: int) -> Engine:
    return create_engine(
        url.set(drivername="postgresql+psycopg"),
        creator=opener,
        use_native_hstore=False,
        poolclass=QueuePool,
        pool_size=size,
        max_overflow=0,
        pool_pre_ping=size > 1,  # a reader must not stumble over a connection that a restart has ended
    )


def _opener(url: URL, settings: tuple[str, ...], finish: Callable[[Any, URL], None]) -> Callable[[], Any]:
    psycopg = driver()
    _, options = url.set(drivername="postgresql+psycopg").get_dialect()().create_connect_args(url)
    given = {**_CONNECTION, "application_name": _own_name(), **options}

    def connect() -> Any:
        connection = psycopg.connect(**given, autocommit=True)
        try:
            connection.execute("; ".join(f"SET {setting}" for setting in settings))
            finish(connection, url)
            connection.autocommit = False
        except BaseException:
            connection.close()
            raise
        return connection

    return connect


def _own_name() -> str:
    """Return what the server's own views call this connection."""
    name = f"tundish, process {os.getpid()} on {socket.gethostname()}"
    return name.encode()[:NAME_BYTES].decode(errors="ignore")


def _make_writer(connection: Any, url: URL) -> None:
    _refuse_what_cannot_keep_a_store(connection, url)
    take_moments_as_they_are(connection)
    try:
        connection.execute(CLAIM_SQL)
    except driver().errors.LockNotAvailable as error:
        found = connection.execute(_HOLDER_SQL).fetchone()
        raise StoreBusyError(shown(url), found[0] if found else "one that has just let go") from error


def _make_reader(connection: Any, _url: URL) -> None:
    connection.isolation_level = driver().IsolationLevel.REPEATABLE_READ
    connection.read_only = True


def _refuse_what_cannot_keep_a_store(connection: Any, url: URL) -> None:
    version = connection.info.server_version
    if version < OLDEST_SERVER:
        found = connection.info.parameter_status("server_version")
        raise StoreUnreachableError(
            shown(url), f"the server is PostgreSQL {found}, wanted 13 or later", SERVER_ADVICE
        )
    encoding, is_standby = connection.execute(_WHAT_IS_THERE_SQL).fetchone()
    if encoding != ENCODING:
        raise StoreUnreachableError(
            shown(url), f"the database has the encoding {encoding}, wanted {ENCODING}", SERVER_ADVICE
        )
    if is_standby:
        raise StoreUnreachableError(shown(url), "the server is a standby, which only reads", SERVER_ADVICE)


def shown(url: URL) -> str:
    """Return an address as people and logs may see it: without the password."""
    return url.set(drivername="postgresql").render_as_string(hide_password=True)
