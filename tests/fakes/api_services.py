"""What the API stands on, for tests: a real store beside lines and health that stay as they were set."""

from collections.abc import Sequence
from dataclasses import dataclass, field

from api.services import ApiSettings, HealthReport, Services
from storage.store import Store
from tests.fakes.filled_store import NOON_US, SECOND_US


@dataclass(frozen=True)
class StillLine:
    """A line that stays as it is."""

    line: str
    instrument: str
    driver: str
    state: str
    since_us: int = NOON_US
    device: str = "/dev/pts/4"
    why: str = ""
    last_byte_us: int | None = NOON_US + 50 * SECOND_US
    bytes_heard: int = 1234
    waiting_bytes: int = 0
    frames_read: int = 40
    frames_refused: int = 1
    last_refusal: str | None = None
    overflow_bytes: int = 0


@dataclass
class StillLines:
    """A fixed bench of lines."""

    lines: Sequence[StillLine]

    def states(self) -> Sequence[StillLine]:
        return self.lines


@dataclass
class StillHealth:
    """Health as it was set."""

    told: HealthReport = field(
        default=HealthReport(
            version="0.1.0",
            store_ok=True,
            store_why="",
            spool_items=0,
            spool_bytes=0,
            spool_limit_bytes=67_108_864,
            disk_free_bytes=12_345_678_901,
            last_backup_us=None,
            clock_note="in step with a time server",
        )
    )

    def report(self) -> HealthReport:
        return self.told


PH_LINE = StillLine("ph", "ph-meter-1", "ph-text", "open")
LOST_LINE = StillLine(
    "burette",
    "burette-1",
    "burette-text",
    "waiting",
    why="port /dev/pts/5 does not exist; is the cable plugged in?",
    last_refusal="wrong layout: three parts came, five were wanted",
)


def still_services(store: Store, settings: ApiSettings | None = None) -> Services:
    """Return services round a store, with one line that is open and one that is lost, at a fixed time."""
    return Services(
        store=store,
        commits=store.writer,
        lines=StillLines([PH_LINE, LOST_LINE]),
        health=StillHealth(),
        settings=settings or ApiSettings(store.info.kind, live_round_s=0),
        clock_us=lambda: NOON_US + 300 * SECOND_US,
        quantity_names={"ph": "pH", "free_so2": "free sulfur dioxide"},
    )
