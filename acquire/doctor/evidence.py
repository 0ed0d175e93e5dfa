"""What is known of a line when somebody asks what is wrong with it."""

from collections.abc import Mapping
from dataclasses import dataclass, field

from acquire.events import Instant


@dataclass(frozen=True, slots=True)
class Signals:
    """The control lines that the other end drives, as a port shows them."""

    cts: bool
    """Clear to send."""
    dsr: bool
    """Data set ready."""
    ri: bool
    """Ring indicator."""
    cd: bool
    """Carrier detect."""

    def __str__(self) -> str:
        """Write them as people at a bench do."""
        named = (("CTS", self.cts), ("DSR", self.dsr), ("RI", self.ri), ("CD", self.cd))
        return " ".join(f"{name} {'on' if is_on else 'off'}" for name, is_on in named)


@dataclass(frozen=True, slots=True)
class Loss:
    """A line was lost or could not be opened."""

    at: Instant
    why: str


@dataclass(frozen=True, slots=True)
class Exchange:
    """Bytes that we sent, and the first that came behind them."""

    sent: bytes
    heard: bytes


@dataclass(frozen=True, slots=True)
class Evidence:
    """What was heard of a line for some time."""

    listened_s: float = 0.0
    """Since the line was opened last; 0 while it is not open. [s]"""
    heard_bytes: int = 0
    """[bytes]"""
    sample: bytes = b""
    """The newest of them, one behind the other as they came. [bytes]"""
    sent_bytes: int = 0
    """[bytes]"""
    exchanges: tuple[Exchange, ...] = ()
    """The newest, oldest first."""
    frames_read: int = 0
    refusals: Mapping[str, int] = field(default_factory=dict)
    """How many frames were refused, by the reason."""
    details: Mapping[str, str] = field(default_factory=dict)
    """What was wrong with the newest frame that was refused for a reason."""
    losses: tuple[Loss, ...] = ()
    """The newest, oldest first."""
    data_bits: int | None = None
    """As the line is set; None where a line has none."""
    signals: Signals | None = None
    """None where the port has no control lines, or nobody can see them."""

    @property
    def frames_refused(self) -> int:
        """For whatever reason."""
        return sum(self.refusals.values())
