"""What the API stands on, for tests: a real store beside lines and health that stay as they were set."""

import asyncio
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

from api.acts import Act, LineSettings, Reloaded
from api.doctor import DoctorHint, DoctorReport
from api.problems import ProblemError
from api.services import ApiSettings, HealthReport, Services
from storage.ledger import ActorKind
from storage.rows import Row
from storage.store import Store
from tests.fakes.filled_store import NOON_US, SECOND_US
from tundish.pours import DaemonPours


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
    last_contact_us: int | None = None


@dataclass
class StillLines:
    """A fixed bench of lines."""

    lines: Sequence[StillLine]

    def states(self) -> Sequence[StillLine]:
        return self.lines


@dataclass
class StillControl:
    """Notes what was asked for and does nothing; refuses what it was told to refuse."""

    asked: list[tuple[str, str, Act]] = field(default_factory=list)
    refusal: ProblemError | None = None

    def settings(self, line: str) -> LineSettings:
        self._refuse()
        return LineSettings({"name": line, "kind": "serial"}, "tundish.toml")

    async def add(self, table: Mapping[str, Any], act: Act) -> int:
        return self._note("add", str(table["name"]), act)

    async def change(self, line: str, table: Mapping[str, Any], act: Act) -> int | None:
        return self._note("change", line, act)

    async def stop(self, line: str, act: Act) -> int | None:
        return self._note("stop", line, act)

    async def start(self, line: str, act: Act) -> int | None:
        return self._note("start", line, act)

    async def remove(self, line: str, act: Act) -> int:
        return self._note("remove", line, act)

    async def reload(self, act: Act) -> Reloaded:
        return Reloaded(self._note("reload", "", act), {"ph": "changed", "so2": "added"})

    def _note(self, what: str, line: str, act: Act) -> int:
        self._refuse()
        self.asked.append((what, line, act))
        return 7

    def _refuse(self) -> None:
        if self.refusal is not None:
            raise self.refusal


@dataclass
class StoreActs:
    """Enters acts in a real store."""

    store: Store

    async def enter(self, action: str, act: Act, rows: Mapping[str, Sequence[Row]]) -> int:
        work = self.store.writer.submit(
            lambda tx: tx.enter(
                action,
                at_us=NOON_US,
                actor=act.actor,
                actor_kind=ActorKind.PERSON,
                rows=rows,
                reason=act.reason,
            )
        )
        return await asyncio.wrap_future(work)


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
            clock_quality="in_step",
            clock_why="a time service keeps it in step, within 0.005 s",
            clock_max_error_us=5000,
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


class StillDoctor:
    """An examination of a line that hears text of seven bits, whatever the line."""

    async def report(self, line: str) -> DoctorReport:
        hint = DoctorHint(
            "seven_even", "looks like 7 data bits, even parity", "100 % of 40 bytes", "set them"
        )
        newest = b"pH 3.41\r\n" * 40
        lines = {"cts": True, "dsr": False, "ri": False, "cd": False}
        return DoctorReport(12.5, 5000, 0, newest, 3, {"not_text": 2}, lines, (hint,))


class StillLearner:
    """Has one proposal, whatever the bytes."""

    async def learn(self, data: bytes, answers: Mapping[str, str], name: str) -> Mapping[str, Any]:
        refused = {"reason": "not_a_number", "count": 2, "detail": "----", "example": "1;----"}
        score: dict[str, Any] = {
            "frames_read": 30,
            "frames_refused": 2,
            "readings": 30,
            "read_bytes": 900,
            "refused_bytes": 20,
        }
        score |= {"filler_bytes": 0, "refused": [refused]}
        claim = {
            "about": "framing",
            "says": "lines",
            "confidence": 0.98,
            "because": "60 of 60",
            "is_guess": False,
        }
        question = {"key": "lamp", "asks": "which?", "seen": ["97%"], "meanwhile": "not read", "choices": []}
        return {
            "standing": "good",
            "why": "30 of 32",
            "driver": f'name = "{name}"',
            "claims": [claim],
            "questions": [question],
            "training": score,
            "held_out": score,
            "held_out_from": len(data) // 2,
            "unused_answers": list(answers),
        }


def still_services(store: Store, settings: ApiSettings | None = None) -> Services:
    """Return services round a store, with one line that is open and one that is lost, at a fixed time."""
    return Services(
        store=store,
        commits=store.writer,
        lines=StillLines([PH_LINE, LOST_LINE]),
        line_control=StillControl(),
        acts=StoreActs(store),
        health=StillHealth(),
        doctor=StillDoctor(),
        learner=StillLearner(),
        pours=DaemonPours(store, lambda: NOON_US + 300 * SECOND_US),
        settings=settings or ApiSettings(store.info.kind, live_round_s=0),
        clock_us=lambda: NOON_US + 300 * SECOND_US,
        quantity_names={"ph": "pH", "free_so2": "free sulfur dioxide"},
    )
