"""A store that is moved is the same store: every row, every link, every byte of its sheets."""

import subprocess
import sys
from collections.abc import Callable, Iterator
from contextlib import closing
from pathlib import Path

import pytest
from sqlalchemy import select

from storage.csv_text import DIALECTS, readings_csv
from storage.errors import MoveError, NotAStoreError, StoreBusyError, UnfinishedStoreError
from storage.ledger import Head
from storage.move import move
from storage.queries import ReadingFilter, info, position
from storage.schema import heartbeat
from storage.unfinished import is_unfinished
from tests.fakes.filled_store import Filler
from tests.fakes.store_contents import Filled, open_at_noon, verdict
from tests.services.grounds import FileGround, Ground, ServerGround, reading_engine_of
from tests.services.postgresql import PostgreSQL

pytestmark = pytest.mark.needs("postgresql")

NewPlace = Callable[[], Ground]


@pytest.fixture
def on_server(postgresql: PostgreSQL) -> Iterator[NewPlace]:
    """Return what makes empty databases."""
    made: list[ServerGround] = []

    def new() -> ServerGround:
        made.append(ServerGround(postgresql, postgresql.new_database()))
        return made[-1]

    yield new
    for ground in made:
        ground.remove()


@pytest.fixture
def in_file(tmp_path: Path) -> NewPlace:
    """Return what names files that are not there yet."""
    names = iter(range(100))
    return lambda: FileGround(tmp_path / f"moved-{next(names)}.db")


@pytest.fixture(params=["to a server", "to a file"])
def target(request: pytest.FixtureRequest, on_server: NewPlace, in_file: NewPlace) -> Ground:
    return on_server() if request.param == "to a server" else in_file()


@pytest.fixture
def source(on_file: Filled, tmp_path: Path) -> FileGround:
    return FileGround(on_file.copy_to(tmp_path / "source.db"))


def sheets(ground: Ground) -> dict[str, bytes]:
    """Return what a store gives out in every dialect."""
    engine = reading_engine_of(ground)
    found = {
        name: b"".join(
            readings_csv(engine.begin, ReadingFilter(), dialect, store_kind="real", after=0, up_to=2**62)
        )
        for name, dialect in DIALECTS.items()
    }
    engine.dispose()
    return found


def test_there_and_back_every_sheet_is_the_same_to_the_byte(
    on_file: Filled, source: FileGround, on_server: NewPlace, in_file: NewPlace
) -> None:
    server, back = on_server(), in_file()
    there = move(source.address, server.address)
    again = move(server.address, back.address)
    assert there.head == again.head == on_file.head
    assert there.counts == again.counts
    assert sheets(source) == sheets(server) == sheets(back)
    assert verdict(back, on_file.head).in_order


def test_a_moved_store_has_its_name_its_places_and_its_last_heartbeat(
    source: FileGround, target: Ground
) -> None:
    with closing(open_at_noon(source)) as store:
        store.writer.submit(lambda tx: tx.set_position("intake", 12)).result(10)
        store.writer.submit(lambda tx: tx.heartbeat(77)).result(10)
        name = store.info
    move(source.address, target.address)
    engine = reading_engine_of(target)
    with engine.begin() as connection:
        assert info(connection) == name
        assert position(connection, "intake") == 12
        assert connection.execute(select(heartbeat.c.last_at_us)).scalar() == 77
    engine.dispose()


def test_a_moved_store_goes_on_at_its_new_place(on_file: Filled, source: FileGround, target: Ground) -> None:
    move(source.address, target.address)
    with closing(open_at_noon(target)) as store:
        Filler(store).open("redox", "redox-1")
        head = store.writer.head
    assert verdict(target, head).in_order
    assert verdict(target, on_file.head).in_order


def test_the_old_store_stays_as_it_was(on_file: Filled, source: FileGround, target: Ground) -> None:
    before = verdict(source)
    move(source.address, target.address)
    assert verdict(source) == before


def test_tells_how_far_it_has_come(on_file: Filled, source: FileGround, target: Ground) -> None:
    copied: list[tuple[int, int]] = []
    verified: list[tuple[int, int]] = []
    move(
        source.address,
        target.address,
        copied=lambda done, whole: copied.append((done, whole)),
        verified=lambda done, whole: verified.append((done, whole)),
        window=10,
    )
    assert copied[0] == (10, on_file.head.number)
    assert copied[-1] == verified[-1] == (on_file.head.number, on_file.head.number)


MOVE_AND_STOP = """
import sys
from storage.move import move

def copied(done, whole):
    print(done, flush=True)
    if done >= 20:
        sys.stdin.read()

move(sys.argv[1], sys.argv[2], copied=copied, window=5)
"""


def killed_in_the_middle(source: Ground, target: Ground) -> None:
    """Move in a process of its own, and kill it when a part is there."""
    command = [sys.executable, "-c", MOVE_AND_STOP, str(source.address), str(target.address)]
    with subprocess.Popen(command, stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True) as process:
        assert process.stdout is not None
        while process.stdout.readline() != "20\n":
            assert process.poll() is None
        process.kill()


def test_a_killed_move_goes_on_where_it_was(on_file: Filled, source: FileGround, target: Ground) -> None:
    killed_in_the_middle(source, target)
    moved = move(source.address, target.address)
    assert (moved.begun_at, moved.head) == (20, on_file.head)
    assert verdict(target, on_file.head).in_order
    assert sheets(target) == sheets(source)


def test_no_daemon_opens_a_copy_that_is_not_all_there(source: FileGround, target: Ground) -> None:
    killed_in_the_middle(source, target)
    with pytest.raises(UnfinishedStoreError, match="run `tundish move` again"):
        open_at_noon(target)
    move(source.address, target.address)
    open_at_noon(target).close()


def test_a_copy_that_is_not_all_there_is_not_moved_on(
    source: FileGround, target: Ground, in_file: NewPlace
) -> None:
    killed_in_the_middle(source, target)
    with pytest.raises(UnfinishedStoreError):
        move(target.address, in_file().address)


def test_moving_again_finds_everything_there(on_file: Filled, source: FileGround, target: Ground) -> None:
    move(source.address, target.address)
    again = move(source.address, target.address)
    assert (again.begun_at, again.head) == (on_file.head.number, on_file.head)


def test_refuses_a_place_with_another_store(source: FileGround, target: Ground) -> None:
    open_at_noon(target).close()
    with pytest.raises(MoveError, match=r"holds another store.*nothing was changed"):
        move(source.address, target.address)
    open_at_noon(target).close()


def test_refuses_a_copy_that_has_gone_on_by_itself(source: FileGround, target: Ground) -> None:
    move(source.address, target.address)
    with closing(open_at_noon(target)) as store:
        Filler(store)
    with pytest.raises(MoveError, match="gone on by itself"):
        move(source.address, target.address)


def test_refuses_a_source_that_a_daemon_holds(source: FileGround, target: Ground) -> None:
    with closing(open_at_noon(source)), pytest.raises(StoreBusyError):
        move(source.address, target.address)


def test_refuses_a_target_that_a_daemon_holds(source: FileGround, target: Ground) -> None:
    with closing(open_at_noon(target)), pytest.raises(StoreBusyError):
        move(source.address, target.address)


def test_refuses_a_source_on_a_server_that_a_daemon_holds(on_server: NewPlace, in_file: NewPlace) -> None:
    server = on_server()
    with closing(open_at_noon(server)), pytest.raises(StoreBusyError):
        move(server.address, in_file().address)


def test_refuses_tables_of_another_program(source: FileGround, on_server: NewPlace) -> None:
    target = on_server()
    with closing(target.stranger()) as stranger:
        stranger.execute("CREATE TABLE recipe (name text)")
    with pytest.raises(NotAStoreError, match="tables of another program"):
        move(source.address, target.address)


def test_refuses_a_source_that_is_not_there(tmp_path: Path, target: Ground) -> None:
    with pytest.raises(MoveError, match="there is no store"):
        move(tmp_path / "nowhere.db", target.address)
    assert not (tmp_path / "nowhere.db").exists()


def test_refuses_an_empty_source(on_server: NewPlace, in_file: NewPlace) -> None:
    with pytest.raises(MoveError, match="has no tables"):
        move(on_server().address, in_file().address)


def test_refuses_to_move_a_store_onto_itself(source: FileGround) -> None:
    with pytest.raises(MoveError, match="the source and the target"):
        move(source.address, source.address)


def test_a_source_that_was_tampered_with_does_not_pass_for_the_same(
    source: FileGround, target: Ground
) -> None:
    with source.tampering() as file:
        file.execute("UPDATE reading SET value_text = '9' WHERE outcome = 'value'")
    with pytest.raises(MoveError, match="is not the same: reading"):
        move(source.address, target.address)
    engine = reading_engine_of(target)
    with engine.begin() as connection:
        assert is_unfinished(connection)
    engine.dispose()


def test_the_heads_of_both_places_are_the_same_text(source: FileGround, target: Ground) -> None:
    moved = move(source.address, target.address)
    assert Head.parse(str(verdict(target).head)) == moved.head
