"""What the API is told about the daemon and its lines: views of what other rooms know."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

from acquire.line_state import LineState
from acquire.supervisor import Supervisor
from api.services import HealthReport, PublishReport
from storage.store import Store
from tundish.clock_watch import ClockWatch
from tundish.version import software_version

if TYPE_CHECKING:
    from tundish.publisher import Publisher


@dataclass(frozen=True, slots=True)
class LineView:
    """A line's state in the words of the API."""

    line: str
    instrument: str
    driver: str
    state: str
    since_us: int
    device: str
    why: str
    last_byte_us: int | None
    bytes_heard: int
    waiting_bytes: int
    frames_read: int
    frames_refused: int
    last_refusal: str | None
    overflow_bytes: int
    last_contact_us: int | None = None


def line_view(state: LineState) -> LineView:
    """Return a line's state as the API shows it."""
    return LineView(
        line=state.line,
        instrument=state.instrument,
        driver=state.driver,
        state=state.state.value,
        since_us=state.since.utc_us,
        device=state.device or "",
        why=state.why,
        last_byte_us=state.last_byte_at.utc_us if state.last_byte_at else None,
        bytes_heard=state.bytes_heard,
        waiting_bytes=state.waiting_bytes,
        frames_read=state.frames_read,
        frames_refused=state.frames_refused,
        last_refusal=state.last_refusal,
        overflow_bytes=state.overflow_bytes + state.unkept_bytes,
        last_contact_us=state.last_contact_at.utc_us if state.last_contact_at else None,
    )


class Lines:
    """The lines of a supervisor, for the API."""

    def __init__(self, supervisor: Supervisor) -> None:
        self._supervisor = supervisor

    def states(self) -> Sequence[LineView]:
        """Return the lines in the order of the configuration."""
        return [line_view(state) for state in self._supervisor.states()]


class Health:
    """The daemon's own state, for the API."""

    def __init__(self, store: Store, clock: ClockWatch, publisher: "Publisher | None" = None) -> None:
        self._store = store
        self._clock = clock
        self._publisher = publisher

    def report(self) -> HealthReport:
        """Return the state of this moment, without waiting."""
        writer = self._store.writer.health()
        clock = self._clock.judgement
        return HealthReport(
            version=software_version(),
            store_ok=writer.ok,
            store_why=writer.why,
            spool_items=writer.spool_items,
            spool_bytes=writer.spool_bytes,
            spool_limit_bytes=writer.spool_limit_bytes,
            disk_free_bytes=self._store.place.free_bytes(),
            clock_quality=clock.quality.value,
            clock_why=clock.why,
            clock_max_error_us=clock.max_error_us,
            publishing=None if self._publisher is None else publish_report(self._publisher),
        )


def publish_report(publisher: "Publisher") -> PublishReport:
    """Return how publishing is doing as the API shows it."""
    state = publisher.state
    return PublishReport(
        broker=publisher.broker,
        state=state.state,
        since_us=state.since_us,
        why=state.why,
        last_taken_us=state.last_taken_us,
        captures=publisher.captures,
    )
