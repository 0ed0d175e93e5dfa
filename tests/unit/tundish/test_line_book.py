"""Lines changed while they run: checked, kept beside the configuration, entered in the ledger, then done."""

import errno
import json
import tomllib
from collections.abc import AsyncIterator
from dataclasses import dataclass
from http import HTTPStatus
from pathlib import Path
from typing import Any

import pytest
import pytest_asyncio
from sqlalchemy import select

from acquire.config import CaptureFileSource, LineSettings
from acquire.errors import NotATtyError
from acquire.line_state import Condition
from api.acts import Act
from api.problems import ProblemError
from storage.queries import LedgerRecord, head, ledger_after
from storage.schema import line_act
from storage.store import Store
from tests.unit.acquire.conftest import Bench
from tests.unit.tundish.conftest import AT_US
from tundish.acts import ActRecord, By
from tundish.api_control import BookControl
from tundish.config import load_config
from tundish.config_faults import ConfigError
from tundish.errors import LineConflictError, NotKeptError, UnknownLineError
from tundish.line_book import MARKED_STOPPED, LineBook
from tundish.lines_file import LinesFile
from tundish.toml_text import array_of_tables
from tundish.wiring import line_plans

AB = By("AB", reason="new probe")


def table(name: str, **keys: Any) -> dict[str, Any]:
    line = {"name": name, "kind": "serial", "device": f"/dev/{name}", "instrument": f"{name}-1"}
    return {**line, "driver": "ph-stream", **keys}


@dataclass
class Running:
    """A book of lines without wires, over a real store and real files."""

    folder: Path
    store: Store
    bench: Bench
    book: LineBook

    @property
    def config(self) -> Path:
        return self.folder / "tundish.toml"

    def configure(self, *tables: dict[str, Any]) -> None:
        self.config.write_text(array_of_tables("line", list(tables)), encoding="utf-8")

    def open(self) -> None:
        config = load_config(self.config)
        self.book.open_all(config, line_plans(config, self.folder))

    async def settle(self) -> None:
        await self.bench.clock.advance(0)

    def states(self) -> dict[str, Condition]:
        return {state.line: state.state for state in self.bench.supervisor.states()}

    def why(self, name: str) -> str:
        return self.bench.state(name).why

    def kept(self) -> list[dict[str, Any]]:
        path = LinesFile(self.config).path
        return tomllib.loads(path.read_text(encoding="utf-8"))["line"] if path.exists() else []

    def entries(self) -> list[LedgerRecord]:
        with self.store.reader() as connection:
            found = ledger_after(connection, after=0, limit=1000)
        return [entry for entry in found if entry.action.split(".")[0] in {"line", "config"}]

    def acts(self, number: int) -> list[tuple[str, str, dict[str, Any]]]:
        with self.store.reader() as connection:
            query = select(line_act.c.line, line_act.c.act, line_act.c.settings)
            rows = connection.execute(
                query.where(line_act.c.number == number).order_by(line_act.c.ordinal)
            ).all()
        return [(line, act, json.loads(settings)) for line, act, settings in rows]


@pytest_asyncio.fixture
async def running(tmp_path: Path, store: Store) -> AsyncIterator[Running]:
    """A daemon's lines: one called ph."""
    bench = Bench()
    book = LineBook(tmp_path / "tundish.toml", bench.supervisor, ActRecord(store.writer, lambda: AT_US))
    running = Running(tmp_path, store, bench, book)
    running.configure(table("ph"))
    running.open()
    await running.settle()
    yield running
    await bench.supervisor.stop_all()


async def test_an_added_line_is_opened_kept_and_entered(running: Running) -> None:
    number = await running.book.add(table("so2", baud=1200), AB)
    await running.settle()
    assert running.states() == {"ph": Condition.OPEN, "so2": Condition.OPEN}
    assert running.kept() == [table("so2", baud=1200)]
    (entry,) = running.entries()
    assert (entry.number, entry.action, entry.actor, entry.actor_kind, entry.reason) == (
        number,
        "line.added",
        "AB",
        "person",
        "new probe",
    )
    assert running.acts(number) == [("so2", "added", table("so2", baud=1200))]
    assert [line.name for line in load_config(running.config).line] == ["ph", "so2"]


async def test_a_changed_line_is_opened_anew_and_the_configuration_stays_as_it_was(running: Running) -> None:
    before = running.config.read_text(encoding="utf-8")
    first = running.bench.transports["ph"]
    number = await running.book.change("ph", {**table("ph"), "device": "/dev/other"}, AB)
    await running.settle()
    assert first.closed
    assert running.bench.transports["other"].openings == 1
    assert running.config.read_text(encoding="utf-8") == before
    assert running.kept() == [table("ph", device="/dev/other")]
    assert number is not None
    assert running.acts(number)[0][1] == "changed"


async def test_a_change_back_to_what_the_configuration_says_is_no_longer_kept(running: Running) -> None:
    await running.book.change("ph", table("ph", baud=1200), AB)
    await running.book.change("ph", table("ph"), AB)
    assert running.kept() == []
    assert not LinesFile(running.config).path.exists()
    assert [entry.action for entry in running.entries()] == ["line.changed", "line.changed"]


async def test_a_change_that_changes_nothing_is_no_act(running: Running) -> None:
    assert await running.book.change("ph", table("ph"), AB) is None
    assert running.entries() == []
    assert running.bench.transports["ph"].openings == 1


async def test_a_stopped_line_stays_stopped_across_a_restart_of_the_daemon(running: Running) -> None:
    await running.book.stop("ph", AB)
    assert (running.states()["ph"], running.why("ph")) == (Condition.STOPPED, "stopped by AB: new probe")
    again = Bench()
    config = load_config(running.config)
    book = LineBook(running.config, again.supervisor, ActRecord(running.store.writer, lambda: AT_US))
    book.open_all(config, line_plans(config, running.folder))
    await again.clock.advance(60)
    assert (again.state("ph").state, again.state("ph").why) == (Condition.STOPPED, MARKED_STOPPED)
    assert again.transports["ph"].openings == 0


async def test_stopping_twice_is_one_act(running: Running) -> None:
    assert await running.book.stop("ph", AB) is not None
    assert await running.book.stop("ph", AB) is None
    assert [entry.action for entry in running.entries()] == ["line.stopped"]


async def test_a_stopped_line_is_started_again_and_nothing_is_kept_of_it(running: Running) -> None:
    await running.book.stop("ph", AB)
    await running.book.start("ph", By("CD"))
    await running.settle()
    assert running.states()["ph"] is Condition.OPEN
    assert running.kept() == []
    assert [(entry.action, entry.actor) for entry in running.entries()] == [
        ("line.stopped", "AB"),
        ("line.started", "CD"),
    ]


async def test_starting_a_line_that_runs_is_no_act(running: Running) -> None:
    assert await running.book.start("ph", AB) is None
    assert running.entries() == []


async def test_a_line_that_failed_is_started_again(running: Running) -> None:
    await running.book.add(table("so2"), AB)
    running.bench.transports["so2"].refusals.append(NotATtyError("/dev/so2", "/dev/so2 is not a serial port"))
    await running.settle()
    assert running.states()["so2"] is Condition.FAILED
    assert await running.book.start("so2", AB) is not None
    await running.settle()
    assert running.states()["so2"] is Condition.OPEN


async def test_an_added_line_can_be_removed_and_one_of_the_configuration_cannot(running: Running) -> None:
    await running.book.add(table("so2"), AB)
    await running.book.remove("so2", AB)
    assert running.kept() == []
    assert "so2" not in running.states()
    with pytest.raises(LineConflictError, match=r"line 'ph' stands in tundish\.toml; take it out there"):
        await running.book.remove("ph", AB)
    assert running.states() == {"ph": Condition.OPEN}


async def test_every_fault_of_a_table_is_told_at_once_as_check_tells_it(running: Running) -> None:
    wrong = {"name": "so2", "kind": "serial", "baud": 7, "driver": "no-such", "colour": 1}
    with pytest.raises(ConfigError) as caught:
        await running.book.add(wrong, AB)
    places = {fault.split(":")[0] for fault in caught.value.faults}
    assert places == {f"line[so2].{key}" for key in ("instrument", "baud", "driver", "colour")}
    assert running.entries() == []
    assert running.kept() == []


@pytest.mark.parametrize(
    ("keys", "place"),
    [
        ({"kind": "capture-file", "path": "/etc/passwd"}, "line[x].path"),
        ({"kind": "capture-file", "path": "../outside.bin"}, "line[x].path"),
        ({"kind": "serial", "device": "/dev/x", "driver": "/etc/secret.toml"}, "line[x].driver"),
        (
            {"kind": "mqtt", "host": "h", "topic": "t", "user": "u", "password_file": "/etc/shadow"},
            "line[x].password_file",
        ),
    ],
)
async def test_a_line_that_comes_over_the_api_cannot_reach_files_elsewhere(
    running: Running, keys: dict[str, Any], place: str
) -> None:
    with pytest.raises(ConfigError) as caught:
        await running.book.add({"name": "x", "instrument": "x-1", "driver": "ph-stream", **keys}, AB)
    assert any(fault.startswith(f"{place}: wants a file below") for fault in caught.value.faults)


async def test_a_line_that_comes_over_the_api_cannot_send_what_the_environment_holds(
    running: Running,
) -> None:
    far = {"name": "x", "kind": "mqtt", "host": "h", "topic": "t", "user": "u", "password_env": "ANY_SECRET"}
    with pytest.raises(ConfigError, match=r"line\[x\]\.password_env: cannot be named over the API"):
        await running.book.add({"instrument": "x-1", "driver": "ph-stream", **far}, AB)
    assert running.entries() == []


async def test_a_file_below_the_configuration_may_be_named(running: Running) -> None:
    (running.folder / "monday.bin").touch()
    line = {
        "name": "x",
        "kind": "capture-file",
        "path": "monday.bin",
        "instrument": "x",
        "driver": "ph-stream",
    }
    running.bench.supervisor._make_transport = lambda settings, _driver, _clock: _noted(running, settings)
    await running.book.add(line, AB)
    assert running.kept() == [line]


def _noted(running: Running, settings: LineSettings) -> Any:
    assert settings.source == CaptureFileSource(running.folder / "monday.bin")
    return running.bench.transports["ph"]


async def test_a_name_that_is_taken_or_unknown_is_refused(running: Running) -> None:
    with pytest.raises(LineConflictError, match="there is a line 'ph' already"):
        await running.book.add(table("ph"), AB)
    for act in (running.book.stop, running.book.start, running.book.remove):
        with pytest.raises(UnknownLineError, match="no line 'redox'; known: ph"):
            await act("redox", AB)


async def test_a_line_keeps_its_name(running: Running) -> None:
    with pytest.raises(ConfigError, match=r"line\[ph\]\.name: cannot be changed \(got 'redox'\)"):
        await running.book.change("ph", table("redox"), AB)


class FullDisk(LinesFile):
    """A file for which there is no room."""

    def write(self, tables: list[dict[str, Any]]) -> None:
        raise OSError(errno.ENOSPC, "No space left on device")


async def test_what_cannot_be_kept_in_a_file_is_not_done(running: Running) -> None:
    running.book._file = FullDisk(running.config)
    with pytest.raises(NotKeptError, match=r"not be kept in .*tundish\.lines\.toml: No space left on device"):
        await running.book.stop("ph", AB)
    assert running.states() == {"ph": Condition.OPEN}
    assert running.entries() == []


async def test_what_cannot_be_entered_is_taken_back_and_not_done(running: Running) -> None:
    running.store.writer.close()
    with pytest.raises(NotKeptError, match="nothing was done"):
        await running.book.stop("ph", AB)
    assert running.kept() == []
    assert running.states() == {"ph": Condition.OPEN}


async def test_a_reload_brings_the_lines_in_step_and_is_one_entry(running: Running) -> None:
    running.configure(table("ph", baud=1200), table("so2"))
    await running.book.add(table("redox"), AB)
    done = await running.book.reload(By("CD"))
    await running.settle()
    assert done.acts == {"ph": "changed", "so2": "added"}
    assert set(running.states()) == {"ph", "so2", "redox"}
    assert [(line, act) for line, act, _ in running.acts(done.number)] == [
        ("ph", "changed"),
        ("so2", "added"),
    ]
    assert running.entries()[-1].action == "config.reloaded"
    running.configure(table("so2"))
    assert (await running.book.reload(By("CD"))).acts == {"ph": "removed"}
    assert set(running.states()) == {"so2", "redox"}


async def test_a_reload_with_a_fault_in_the_file_changes_nothing(running: Running) -> None:
    running.configure(table("ph", baud=7), table("so2"))
    with pytest.raises(ConfigError, match=r"line\[ph\]\.baud"):
        await running.book.reload(AB)
    assert running.states() == {"ph": Condition.OPEN}
    assert running.entries() == []


async def test_a_reload_starts_lines_that_failed(running: Running) -> None:
    await running.book.add(table("so2"), AB)
    running.bench.transports["so2"].refusals.append(NotATtyError("/dev/so2", "/dev/so2 is not a serial port"))
    await running.settle()
    assert (await running.book.reload(AB)).acts == {"so2": "started"}


async def test_a_book_that_is_closed_takes_no_more_acts(running: Running) -> None:
    await running.book.close()
    with pytest.raises(NotKeptError, match="the daemon is stopping"):
        await running.book.stop("ph", AB)


async def test_settings_name_the_file_that_says_them(running: Running) -> None:
    await running.book.add(table("so2"), AB)
    assert running.book.settings("ph") == (table("ph"), "tundish.toml")
    assert running.book.settings("so2") == (table("so2"), "tundish.lines.toml")


@pytest.mark.parametrize(
    ("asked", "status"),
    [
        (lambda control: control.stop("redox", Act("AB")), HTTPStatus.NOT_FOUND),
        (lambda control: control.add(table("ph"), Act("AB")), HTTPStatus.CONFLICT),
        (lambda control: control.add(table("so2", baud=7), Act("AB")), HTTPStatus.UNPROCESSABLE_ENTITY),
    ],
)
async def test_refusals_become_problem_documents(running: Running, asked: Any, status: HTTPStatus) -> None:
    with pytest.raises(ProblemError) as caught:
        await asked(BookControl(running.book))
    assert caught.value.status is status
    if status is HTTPStatus.UNPROCESSABLE_ENTITY:
        (fault,) = caught.value.errors
        assert (fault.parameter, fault.location) == ("line[so2].baud", "body")
        assert fault.detail.startswith("input should be greater than")


async def test_a_store_that_cannot_be_written_is_told_as_unavailable(running: Running) -> None:
    running.store.writer.close()
    with pytest.raises(ProblemError) as caught:
        await BookControl(running.book).stop("ph", Act("AB"))
    assert caught.value.status is HTTPStatus.SERVICE_UNAVAILABLE
    with running.store.reader() as connection:
        assert head(connection) == 1
