"""A folder from its files to the readings in a real store, over restarts, full stores and shares that go."""

import asyncio
from collections.abc import AsyncIterator, Callable
from contextlib import asynccontextmanager
from decimal import Decimal
from pathlib import Path

import pytest

from acquire.clock import SystemClock
from acquire.config import FolderSource, LineSettings
from acquire.driver import DriverFactory
from acquire.errors import PortAbsentError, PortUnavailableError, TransportError
from acquire.line_state import Condition
from acquire.lines.folder_line import FolderLine
from acquire.lines.folder_notes import NothingKnown
from acquire.sink import CaptureSink, Gap, Opening, SinkFullError
from acquire.supervisor import Supervisor
from storage.queries import ReadingFilter, captures_before, gaps_before, newest_readings
from storage.store import Store
from tests.fakes.table_drivers import rows, table
from tests.unit.tundish.conftest import AT_US
from tundish.store_sink import StoreSink
from tundish.wiring import known_drivers, transports

LIMIT_S = 20.0  # [s]


class Bench:
    """A daemon's hearing of one folder, without the rest of the daemon."""

    def __init__(self, store: Store, folder: Path, driver: DriverFactory) -> None:
        self.store = store
        self.folder = folder
        self.driver = driver
        self._bell = asyncio.Event()
        folder.mkdir(exist_ok=True)

    @asynccontextmanager
    async def running(self, full: Callable[[], bool] = lambda: False) -> AsyncIterator[Supervisor]:
        """Hear until the end of the block; while `full` says so, nothing is kept."""
        session = self.store.begin_session("0.1.0", "in step", AT_US)
        sink = StoreSink(self.store.writer, session, known_drivers(self.store))
        supervisor = Supervisor(
            _Throttled(sink, full),
            make_transport=transports(self.store, SystemClock()),
            on_change=lambda _state: self._bell.set(),
        )
        loop = asyncio.get_running_loop()
        end = self.store.writer.subscribe(lambda _head: loop.call_soon_threadsafe(self._bell.set))
        source = FolderSource(self.folder, ("*.csv",), poll_s=0.01, quiet_s=0)
        supervisor.add_line(LineSettings("drop", "so2-1", source), self.driver)
        try:
            yield supervisor
        finally:
            await supervisor.stop_all()
            end()
            self.store.end_session(AT_US)

    def write(self, name: str, data: bytes) -> None:
        fresh = self.folder / "~fresh"
        fresh.write_bytes(data)
        fresh.replace(self.folder / name)

    @property
    def values(self) -> list[Decimal]:
        with self.store.reader() as connection:
            found = newest_readings(connection, ReadingFilter(), limit=100)
        return [Decimal(one.value_text) for one in reversed(found)]

    async def until(self, *values: str) -> None:
        """Wait until just these values are kept."""
        await self.rings_until(lambda: len(self.values) >= len(values))
        assert self.values == [Decimal(value) for value in values]

    async def rings_until(self, holds: Callable[[], bool]) -> None:
        """Wait until something holds that depends on the store or on the state of the line."""
        async with asyncio.timeout(LIMIT_S):
            while not holds():
                self._bell.clear()
                await self._bell.wait()


class _Throttled:
    """A sink that takes nothing while it is told so."""

    def __init__(self, sink: StoreSink, full: Callable[[], bool]) -> None:
        self._sink = sink
        self._full = full

    async def opened(self, opening: Opening) -> CaptureSink:
        if self._full():
            raise SinkFullError("the store is full")
        return await self._sink.opened(opening)

    async def gap(self, gap: Gap) -> None:
        await self._sink.gap(gap)


@pytest.fixture
def bench(store: Store, tmp_path: Path) -> Bench:
    return Bench(store, tmp_path / "drop", rows())


async def test_files_become_readings_and_each_version_a_capture_that_says_what_it_holds(bench: Bench) -> None:
    async with bench.running():
        bench.write("a.csv", b"W-1;28.5\n")
        await bench.until("28.5")
        bench.write("a.csv", b"W-1;28.5\nW-2;31.0\n")
        await bench.until("28.5", "31.0")
    with bench.store.reader() as connection:
        second, first = captures_before(connection, before=None, limit=9)
    assert first.device == second.device == str(bench.folder / "a.csv")
    assert first.settings.startswith("from its start; file of 9 bytes, modified at ")
    assert second.settings.startswith("from byte 9; file of 18 bytes, modified at ")
    assert (second.ending, second.heard_bytes) == ("complete", 9)


async def test_the_store_alone_says_after_a_restart_how_far_files_were_read(bench: Bench) -> None:
    async with bench.running():
        bench.write("a.csv", b"W-1;28.5\nW-1;28.5\n")
        await bench.until("28.5", "28.5")
    bench.write("a.csv", b"W-0;1.0\nW-1;28.5\nW-1;28.5\nW-2;31.0\n")
    async with bench.running():
        await bench.until("28.5", "28.5", "1.0", "31.0")
        bench.write("b.csv", b"W-9;9.0\n")
        await bench.until("28.5", "28.5", "1.0", "31.0", "9.0")


async def test_a_row_below_a_header_is_read_after_a_restart(store: Store, tmp_path: Path) -> None:
    bench = Bench(store, tmp_path / "drop", table())
    async with bench.running():
        bench.write("a.csv", b"Sample;SO2\nW-1;28.5\n")
        await bench.until("28.5")
    async with bench.running():
        bench.write("a.csv", b"Sample;SO2\nW-1;28.5\nW-2;31.0\n")
        await bench.until("28.5", "31.0")


async def test_what_a_full_store_did_not_take_is_read_from_the_file_again(bench: Bench) -> None:
    is_full = True
    async with bench.running(full=lambda: is_full) as supervisor:
        bench.write("a.csv", b"W-1;28.5\n")
        await bench.rings_until(lambda: supervisor.states()[0].state is Condition.WAITING)
        assert supervisor.states()[0].why == "the store took no more"
        assert supervisor.states()[0].unkept_bytes == 0
        is_full = False
        await bench.until("28.5")


async def test_a_share_that_goes_leaves_a_gap_and_brings_what_came_meanwhile(bench: Bench) -> None:
    away = bench.folder.with_name("away")
    async with bench.running() as supervisor:
        bench.write("a.csv", b"W-1;28.5\n")
        await bench.until("28.5")
        bench.folder.rename(away)
        await bench.rings_until(lambda: "does not exist" in supervisor.states()[0].why)
        assert supervisor.states()[0].state is Condition.WAITING
        (away / "b.csv").write_bytes(b"W-2;31.0\n")
        away.rename(bench.folder)
        await bench.until("28.5", "31.0")
    with bench.store.reader() as connection:
        (gap,) = gaps_before(connection, before=None, limit=9)
    assert "cannot be read any more" in gap.why


async def test_between_files_the_line_is_open_and_no_gap_is_kept(bench: Bench) -> None:
    async with bench.running() as supervisor:
        bench.write("a.csv", b"W-1;28.5\n")
        await bench.until("28.5")
        (state,) = supervisor.states()
        assert (state.state, state.device) == (Condition.OPEN, str(bench.folder))
    async with bench.running():
        bench.write("b.csv", b"W-2;31.0\n")
        await bench.until("28.5", "31.0")
    with bench.store.reader() as connection:
        assert gaps_before(connection, before=None, limit=9) == []


def _line(folder: Path) -> FolderLine:
    return FolderLine(FolderSource(folder), SystemClock(), rows(), NothingKnown())


async def test_a_folder_that_is_not_there_is_absent(tmp_path: Path) -> None:
    with pytest.raises(PortAbsentError, match=r"does not exist; is its disk or share connected\?"):
        await _line(tmp_path / "none").open()


async def test_a_file_is_no_folder(tmp_path: Path) -> None:
    (tmp_path / "file").touch()
    with pytest.raises(PortUnavailableError, match="is no folder"):
        await _line(tmp_path / "file").open()


async def test_nothing_can_be_sent_to_a_folder(tmp_path: Path) -> None:
    with pytest.raises(TransportError, match="files are only read"):
        await _line(tmp_path).send(b"ACK")


async def test_a_line_that_is_closed_while_a_part_waits_leaves_no_thread(bench: Bench) -> None:
    bench.write("a.csv", b"W-1;28.5\n")
    line = FolderLine(
        FolderSource(bench.folder, poll_s=0.01, quiet_s=0), SystemClock(), rows(), NothingKnown()
    )
    await line.open()
    await line.wait()
    await line.close()
    assert line._thread is None
