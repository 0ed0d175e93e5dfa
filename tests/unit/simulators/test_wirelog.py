"""The log of the wire."""

import tempfile
from contextlib import closing
from pathlib import Path

from hypothesis import given
from hypothesis import strategies as st

from simulators.wirelog import FileWireLog, bytes_put, read_log


def test_the_bytes_of_one_instrument_come_back_joined(tmp_path: Path) -> None:
    path = tmp_path / "new" / "wire.jsonl"
    with closing(FileWireLog(path)) as log:
        log.write(1, "a", "put", b"\x00one")
        log.write(2, "b", "put", b"other")
        log.write(3, "a", "unheard", b"lost")
        log.write(4, "a", "put", b"two\xff")
    assert bytes_put(path, "a") == b"\x00onetwo\xff"


def test_an_entry_is_readable_before_the_log_is_closed(tmp_path: Path) -> None:
    path = tmp_path / "wire.jsonl"
    with closing(FileWireLog(path)) as log:
        log.write(1_000, "a", "put", b"\r", {"true_ph": 3.4})
        entries = read_log(path)
    expected = {"utc_us": 1_000, "instrument": "a", "kind": "put", "hex": "0d", "meaning": {"true_ph": 3.4}}
    assert entries == [expected]


def test_a_second_run_appends(tmp_path: Path) -> None:
    for data in (b"1", b"2"):
        with closing(FileWireLog(tmp_path / "wire.jsonl")) as log:
            log.write(1, "a", "put", data)
    assert bytes_put(tmp_path / "wire.jsonl", "a") == b"12"


def test_a_last_entry_that_a_kill_cut_off_is_left_out(tmp_path: Path) -> None:
    path = tmp_path / "wire.jsonl"
    with closing(FileWireLog(path)) as log:
        log.write(1, "a", "put", b"whole")
    with path.open("a") as file:
        file.write('{"utc_us":2,"instr')
    assert bytes_put(path, "a") == b"whole"


@given(chunks=st.lists(st.binary(max_size=30), max_size=10))
def test_any_bytes_survive_the_log(chunks: list[bytes]) -> None:
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "wire.jsonl"
        with closing(FileWireLog(path)) as log:
            for chunk in chunks:
                log.write(0, "a", "put", chunk)
        assert bytes_put(path, "a") == b"".join(chunks)
