import asyncio
from pathlib import Path

import pytest

from acquire.config import CaptureFileSource
from acquire.errors import PortAbsentError, PortUnavailableError, TransportError
from acquire.lines.capture_file import BLOCK_BYTES, CaptureFileLine
from acquire.lines.transport import Batch
from acquire.sink import Ending
from tests.fakes.clock import FakeClock


async def _read(line: CaptureFileLine) -> tuple[list[bytes], Batch]:
    blocks: list[bytes] = []
    batch = Batch()
    while batch.end is None:
        await line.wait()
        batch = line.take()
        blocks.extend(piece.data for piece in batch.pieces)
    return blocks, batch


async def test_brings_the_whole_file_in_blocks_and_says_that_it_is_complete(tmp_path: Path) -> None:
    data = bytes(range(256)) * 600
    path = tmp_path / "bench.bin"
    path.write_bytes(data)
    line = CaptureFileLine(CaptureFileSource(path), FakeClock())
    opened = await line.open()
    blocks, last = await _read(line)
    await line.close()
    assert opened.device == str(path.resolve())
    assert b"".join(blocks) == data
    assert max(map(len, blocks)) == BLOCK_BYTES
    assert last.end is not None
    assert last.end.ending is Ending.COMPLETE


async def test_an_empty_file_is_complete_at_once(tmp_path: Path) -> None:
    path = tmp_path / "empty.bin"
    path.touch()
    line = CaptureFileLine(CaptureFileSource(path), FakeClock())
    await line.open()
    assert (await _read(line))[0] == []
    await line.close()


async def test_a_paced_file_takes_the_time_of_a_wire(tmp_path: Path) -> None:
    path = tmp_path / "bench.bin"
    path.write_bytes(b"x" * 32)
    clock = FakeClock()
    line = CaptureFileLine(CaptureFileSource(path, pace_baud=320), clock)
    await line.open()
    waiting = asyncio.create_task(line.wait())
    await clock.advance(0.99)
    assert not waiting.done()
    await clock.advance(0.01)
    assert waiting.done()
    await line.close()


async def test_a_cancelled_wait_loses_no_block(tmp_path: Path) -> None:
    path = tmp_path / "bench.bin"
    path.write_bytes(b"abc")
    clock = FakeClock()
    line = CaptureFileLine(CaptureFileSource(path, pace_baud=300), clock)
    await line.open()
    first = asyncio.create_task(line.wait())
    await clock.advance(0.01)
    first.cancel()
    second = asyncio.create_task(line.wait())
    await clock.advance(1)
    await second
    assert [piece.data for piece in line.take().pieces] == [b"abc"]
    await line.close()


async def test_a_stopped_file_says_so(tmp_path: Path) -> None:
    path = tmp_path / "bench.bin"
    path.write_bytes(b"abc")
    line = CaptureFileLine(CaptureFileSource(path), FakeClock())
    await line.open()
    line.stop()
    _, last = await _read(line)
    await line.close()
    assert last.end is not None
    assert last.end.ending is Ending.STOPPED


async def test_a_file_that_is_not_there_is_absent(tmp_path: Path) -> None:
    line = CaptureFileLine(CaptureFileSource(tmp_path / "none.bin"), FakeClock())
    with pytest.raises(PortAbsentError, match=r"none\.bin does not exist"):
        await line.open()


async def test_a_folder_cannot_be_read_as_a_file(tmp_path: Path) -> None:
    line = CaptureFileLine(CaptureFileSource(tmp_path), FakeClock())
    with pytest.raises(PortUnavailableError, match="cannot be read"):
        await line.open()


async def test_nothing_can_be_sent_to_a_file(tmp_path: Path) -> None:
    line = CaptureFileLine(CaptureFileSource(tmp_path / "bench.bin"), FakeClock())
    assert not line.takes_bytes
    with pytest.raises(TransportError, match="3 bytes cannot be sent"):
        await line.send(b"ACK")
