"""What the API stands on: the store, and small Protocols for what other rooms know."""

from collections.abc import Callable, Mapping, Sequence
from contextlib import AbstractContextManager
from dataclasses import dataclass, field
from typing import Protocol

from sqlalchemy import Connection

from api.acts import Acts, LineControl
from api.doctor import LineDoctor
from api.learner import Learner
from api.pours import Pours
from storage.writer import Writer


class ReadStore(Protocol):
    """Gives connections that can only read, and the one writer."""

    @property
    def writer(self) -> Writer:
        """Takes the acts of the bench."""

    def reader(self) -> AbstractContextManager[Connection]:
        """Return a connection for one short transaction; from any thread."""


class CommitSource(Protocol):
    """Tells when the store has grown."""

    def subscribe(self, listener: Callable[[int], None]) -> Callable[[], None]:
        """Call the listener with each new head, in the writer's thread; return what ends that."""


class LineState(Protocol):
    """How one line is doing, as its supervisor knows it."""

    @property
    def line(self) -> str:
        """Name of the line."""

    @property
    def instrument(self) -> str:
        """Name of the instrument that the line listens to."""

    @property
    def driver(self) -> str:
        """Name of the driver that reads it."""

    @property
    def state(self) -> str:
        """One of opening, open, waiting, stopped, failed."""

    @property
    def since_us(self) -> int:
        """When the state began. [µs]"""

    @property
    def device(self) -> str:
        """What is, or would be, opened."""

    @property
    def why(self) -> str:
        """The reason of the state in plain words; empty while all is well."""

    @property
    def last_byte_us(self) -> int | None:
        """When the last byte came; None if none did. [µs]"""

    @property
    def last_contact_us(self) -> int | None:
        """Of a line of a far bench: when anything came from there, by the clock here; else None. [µs]"""

    @property
    def bytes_heard(self) -> int:
        """Since the start of the daemon. [bytes]"""

    @property
    def waiting_bytes(self) -> int:
        """Bytes that were heard and wait to be kept. [bytes]"""

    @property
    def frames_read(self) -> int:
        """Frames that the driver understood, since the start of the daemon."""

    @property
    def frames_refused(self) -> int:
        """Frames that the driver refused, since the start of the daemon."""

    @property
    def last_refusal(self) -> str | None:
        """Why the last refused frame was refused, in plain words."""

    @property
    def overflow_bytes(self) -> int:
        """Bytes that came and could not be kept. [bytes]"""


class LineDirectory(Protocol):
    """Knows every configured line."""

    def states(self) -> Sequence[LineState]:
        """Return the lines in the order of the configuration."""


@dataclass(frozen=True, slots=True)
class PublishReport:
    """How publishing to a broker is doing."""

    broker: str
    """Where to, as a URL without anything secret."""
    state: str
    """connecting, online, waiting or stopped."""
    since_us: int
    """When the state began. [µs]"""
    why: str
    """Why it waits, in plain words; empty while all is well."""
    last_taken_us: int | None
    """When the broker last took a message, since the start of the daemon. [µs]"""
    captures: bool = False
    """Whether captures are published too."""


@dataclass(frozen=True, slots=True)
class HealthReport:
    """How the daemon is doing, apart from its lines."""

    version: str
    """Of the program."""
    store_ok: bool
    """False while the store cannot be written."""
    store_why: str
    """Why it cannot, in plain words; empty while it can."""
    spool_items: int
    """Pieces of work that wait for the store."""
    spool_bytes: int
    """What they hold. [bytes]"""
    spool_limit_bytes: int
    """What they may hold before bytes are lost. [bytes]"""
    disk_free_bytes: int | None
    """On the disk of the store; None where it cannot be asked. [bytes]"""
    clock_quality: str
    """in_step, not_in_step or unknown."""
    clock_why: str
    """By what the host's clock is kept in step, or why not, in plain words."""
    clock_max_error_us: int | None
    """How far it may be off, where the system says so. [µs]"""
    publishing: PublishReport | None = None
    """None if nothing is published."""


class HealthSource(Protocol):
    """Knows how the daemon is doing."""

    def report(self) -> HealthReport:
        """Return the state of this moment; called on the event loop, so it must not wait."""


@dataclass(frozen=True, slots=True)
class ApiSettings:
    """What the configuration says of the API."""

    store_kind: str
    """real, demo or practice."""
    allowed_hosts: tuple[str, ...] = ()
    """Names in the Host header beside those of the loopback address."""
    send_timeout_s: float = 20.0
    """A client that takes nothing for so long is dropped. [s]"""
    stream_limit: int = 32
    """Live streams at a time; each browser tab holds one."""
    live_round_s: float = 0.1
    """Shortest time between two rounds of one live stream. [s]"""
    live_round_events: int = 200
    """Ledger entries looked at in one round: with the pause, at most 2000 a second a stream."""
    loopback_open: bool = True
    """Whether what comes from this machine without a key may do everything."""
    network_open: bool = False
    """The same of what comes from the network."""
    failure_pause_s: float = 0.5
    """How long the answer to the first wrong key of a peer waits; twice as long each further time. [s]"""
    sheet_rows: int = 1_048_575
    """What a spreadsheet holds below its header row."""
    workbook_rows: int = 250_000
    """Rows of one workbook: it is sent once it is whole, and writing so many takes some 15 s."""
    audit_reads: bool = False
    """Whether each read is logged with who asked."""


@dataclass(frozen=True, slots=True)
class Services:
    """Everything that the routes use; made in one place, handed to `api.app.create_app`."""

    store: ReadStore
    commits: CommitSource
    lines: LineDirectory
    line_control: LineControl
    acts: Acts
    health: HealthSource
    doctor: LineDoctor
    learner: Learner
    pours: Pours
    settings: ApiSettings
    clock_us: Callable[[], int]
    """The host's clock, since 1970 UTC. [µs]"""
    quantity_names: Mapping[str, str] = field(default_factory=dict)
    """Plain names of quantity codes; a code without one is shown itself."""
