"""A store on a server against one in a file, and its sheet against the server's own client."""

import asyncio
import subprocess
import tempfile
import time
from collections.abc import Callable
from pathlib import Path

from acquire.driver import DriverIdentity
from acquire.events import FrameRead, Instant, Outcome, Reading, Span
from acquire.sink import Chunk, Hearing, Opening
from storage.csv_text import DIALECTS, readings_csv
from storage.queries import ReadingFilter, head
from storage.store import Store, open_store
from tests.benchmarks.report import Figure
from tests.services.postgresql import DURABLE, PostgreSQL, folder_of_programs, is_here
from tundish.store_sink import StoreSink

LINES = 16
FRAMES = 500  # of each line
ROWS = 1_000_000
TURNS = 3
AT_US = 1_759_492_800_000_000  # 2025-10-03T12:00:00Z [µs]
FRAME = b"pH 3.410\r\n"
READING = Reading("ph", Outcome.VALUE, "3.410", None, "pH")


def measure() -> list[Figure]:
    """Return the figures; none on a machine without a server."""
    if not is_here():
        return []
    server = PostgreSQL(DURABLE)
    server.start()
    try:
        return [*_intake(server), *_sheet(server, ROWS)]
    finally:
        server.remove()


def _intake(server: PostgreSQL) -> list[Figure]:
    with tempfile.TemporaryDirectory() as folder:
        on_file = _frames_per_s(Path(folder) / "speed.db")
    on_server = _frames_per_s(server.url(server.new_database()))
    return [
        Figure(f"intake of {LINES} lines, file", on_file, "frames/s"),
        Figure(f"intake of {LINES} lines, server", on_server, "frames/s"),
        Figure("intake, server to file", on_server / on_file, "", 0.5, at_most=False),
    ]


def _frames_per_s(address: str | Path) -> float:
    store = open_store(address, kind="demo", clock_us=lambda: AT_US)
    begun = time.perf_counter()
    asyncio.run(_hear(store))
    took_s = time.perf_counter() - begun
    store.close()
    return LINES * FRAMES / took_s


async def _hear(store: Store) -> None:
    """Let every line hear its frames one after the other, each once the one before is durable."""
    sink = StoreSink(store.writer, store.begin_session("0", "", AT_US), {})
    await asyncio.gather(*(_line(sink, f"line-{number}") for number in range(LINES)))


async def _line(sink: StoreSink, name: str) -> None:
    at = Instant(AT_US, 0)
    driver = DriverIdentity("speed", "1", "speed")
    capture = await sink.opened(Opening(name, name, driver, "memory", "", at))
    for number in range(FRAMES):
        event = FrameRead(Span(number * len(FRAME), len(FRAME)), (READING,))
        await capture.heard(Hearing((Chunk(at, FRAME),), (event,), at))


_FILL = """
    SET session_replication_role = replica;
    INSERT INTO ledger SELECT n, to_timestamp(1759492800 + n), 'meter-1', 'device', 'reading.stored', NULL,
        sha256(n::text::bytea), sha256(n::text::bytea) FROM generate_series({first}, {last}) AS n;
    INSERT INTO reading SELECT n, n, 1, {capture}, {frame}, 0, 0, 'line-1', {driver},
        to_timestamp(1759492800 + n), 'ph', 'value', '3.410', '3.410', 3.41, 'pH', 'W-' || n
        FROM generate_series({first}, {last}) AS n;
    ANALYZE
"""


def _sheet(server: PostgreSQL, rows: int) -> list[Figure]:
    database = server.new_database()
    store = open_store(server.url(database), kind="demo", clock_us=lambda: AT_US)
    asyncio.run(_hear_once(store))
    with store.reader() as connection:
        first = head(connection) + 1
        capture, frame, driver = connection.exec_driver_sql(
            "SELECT capture_number, frame_number, driver_number FROM reading LIMIT 1"
        ).one()
    last = first + rows - 1
    with server.connect(database) as connection:
        connection.execute(_FILL.format(first=first, last=last, capture=capture, frame=frame, driver=driver))
    size = _size(store, last)
    ours_s, theirs_s = _least_s(lambda: _size(store, last), lambda: _theirs(server, database))
    store.close()
    name = f"sheet of {rows:,} readings"
    return [
        Figure(f"{name}, ours ({size / 2**20:.0f} MiB)", ours_s, "s"),
        Figure(f"{name}, \\copy of the same columns", theirs_s, "s"),
        Figure("sheet, ours to \\copy", ours_s / theirs_s, "", 1.5),
    ]


async def _hear_once(store: Store) -> None:
    sink = StoreSink(store.writer, store.begin_session("0", "", AT_US), {})
    at = Instant(AT_US, 0)
    capture = await sink.opened(Opening("line-1", "line-1", DriverIdentity("speed", "1", "x"), "", "", at))
    await capture.heard(Hearing((Chunk(at, FRAME),), (FrameRead(Span(0, len(FRAME)), (READING,)),), at))


def _least_s(*ways: Callable[[], object]) -> list[float]:
    """Return the shortest time of each way; they take turns, so that a busy machine strikes all of them."""
    taken_s = []
    for _ in range(TURNS):
        for way in ways:
            begun = time.perf_counter()
            way()
            taken_s.append(time.perf_counter() - begun)
    return [min(taken_s[place :: len(ways)]) for place in range(len(ways))]


def _size(store: Store, last: int) -> int:
    pieces = readings_csv(
        store.reader, ReadingFilter(), DIALECTS["standard"], store_kind="demo", after=0, up_to=last
    )
    return sum(len(piece) for piece in pieces)


_COPY = (
    "\\copy (SELECT r.number, reading_id, version, to_char(r.at_us AT TIME ZONE 'UTC', "
    '\'YYYY-MM-DD"T"HH24:MI:SS.US"Z"\'), r.instrument, line, quantity, outcome, value_numeral, '
    "unit, normal_text, normal_unit, sample, sequence, instrument_time, mode, stable, value_text, 'demo' "
    "FROM reading r "
    "JOIN capture c ON c.number = r.capture_number LEFT JOIN taken t ON t.reading_number = r.number "
    "ORDER BY r.number) TO '/dev/null' (FORMAT csv)"
)


def _theirs(server: PostgreSQL, database: str) -> None:
    programs = folder_of_programs()
    assert programs is not None
    subprocess.run([str(programs / "psql"), "-q", server.url(database), "-c", _COPY], check=True)
