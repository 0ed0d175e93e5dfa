"""Real pseudo-terminals and real TCP ports, opened as a serial library opens them."""

import os
import select
import socket
from collections.abc import Iterator
from pathlib import Path

import pytest
import serial

from simulators.ports import HAS_PTY, Port, PortError, PtyPort, TcpPort, open_port

needs_pty = pytest.mark.skipif(not HAS_PTY, reason="this system has no pseudo-terminals (os.openpty)")
TIMEOUT_S = 5.0


@pytest.fixture
def pty(tmp_path: Path) -> Iterator[PtyPort]:
    port = PtyPort(tmp_path / "bur-1")
    yield port
    port.close()


@pytest.fixture
def tcp() -> Iterator[TcpPort]:
    port = TcpPort()
    yield port
    port.close()


def open_7e1(address: str) -> serial.Serial:
    return serial.Serial(address, 1200, bytesize=7, parity="E", timeout=TIMEOUT_S, exclusive=True)


def wait_heard(port: Port) -> bool:
    """Tell whether a connection that was made is seen."""
    select.select([port], [], [], TIMEOUT_S)
    return port.is_heard()


@needs_pty
def test_every_byte_passes_a_terminal_unchanged_both_ways(pty: PtyPort) -> None:
    everything = bytes(range(256))
    with serial.Serial(pty.address, 9600, timeout=TIMEOUT_S) as reader:
        assert pty.put(everything) == 256
        assert reader.read(256) == everything
        reader.write(everything)
        assert pty.take() == everything


@needs_pty
def test_a_plain_reader_that_sets_nothing_gets_raw_bytes(pty: PtyPort) -> None:
    descriptor = os.open(pty.address, os.O_RDWR | os.O_NOCTTY)
    pty.put(b"a\r\x03\x04\n")
    assert os.read(descriptor, 10) == b"a\r\x03\x04\n"
    os.close(descriptor)
    assert pty.take() == b""


@needs_pty
def test_a_listener_is_noticed_as_it_comes_and_goes(pty: PtyPort) -> None:
    before = pty.is_heard()
    with serial.Serial(pty.address):
        during = pty.is_heard()
    assert (before, during, pty.is_heard()) == (False, True, False)


@needs_pty
def test_a_seven_bit_line_can_be_opened_again_and_again(pty: PtyPort) -> None:
    for number in range(20):
        assert not pty.is_heard()
        with open_7e1(pty.address) as reader:
            pty.put(b"%02d" % number)
            assert reader.read(2) == b"%02d" % number


@needs_pty
def test_nothing_raises_while_nobody_listens(pty: PtyPort) -> None:
    assert pty.take() == b""
    assert pty.put(b"into the void") in {0, 13}


@needs_pty
def test_a_full_terminal_accepts_no_more_and_does_not_block(pty: PtyPort) -> None:
    with serial.Serial(pty.address, timeout=TIMEOUT_S) as reader:
        accepted = sum(pty.put(b"x" * 1000) for _ in range(200))
        assert 1000 < accepted < 200_000
        assert len(reader.read(accepted)) == accepted


@needs_pty
def test_a_cut_cable_hits_the_reader_and_removes_the_name(pty: PtyPort) -> None:
    with serial.Serial(pty.address, timeout=TIMEOUT_S) as reader:
        pty.cut()
        with pytest.raises(serial.SerialException):
            reader.read(1)
    assert not Path(pty.address).is_symlink()
    assert (pty.fileno(), pty.is_heard(), pty.put(b"x"), pty.take()) == (-1, False, 0, b"")


@needs_pty
def test_a_mended_cable_is_found_under_the_same_name(pty: PtyPort) -> None:
    for _ in range(10):
        pty.cut()
        pty.mend()
        with open_7e1(pty.address) as reader:
            pty.put(b"back")
            assert reader.read(4) == b"back"


@needs_pty
def test_cutting_and_mending_leaves_no_descriptor_behind(pty: PtyPort) -> None:
    before = len(list(Path("/dev/fd").iterdir()))
    for _ in range(50):
        pty.cut()
        pty.mend()
    assert len(list(Path("/dev/fd").iterdir())) == before


@needs_pty
def test_a_link_left_by_a_killed_bench_is_replaced(tmp_path: Path) -> None:
    (tmp_path / "ph-1").symlink_to("/dev/pts/999999")
    port = PtyPort(tmp_path / "ph-1")
    with serial.Serial(port.address):
        assert port.is_heard()
    port.close()
    assert list(tmp_path.iterdir()) == []


@needs_pty
def test_a_link_that_another_bench_has_taken_over_is_left_alone(pty: PtyPort) -> None:
    other = PtyPort(Path(pty.address))
    pty.cut()
    assert Path(other.address).is_symlink()
    other.close()


def test_a_file_in_the_way_is_never_replaced(tmp_path: Path) -> None:
    (tmp_path / "notes.txt").write_text("mine")
    with pytest.raises(PortError, match=r"notes\.txt is in the way"):
        PtyPort(tmp_path / "notes.txt")


def test_bytes_pass_a_tcp_port_both_ways(tcp: TcpPort) -> None:
    with serial.serial_for_url(tcp.address, timeout=TIMEOUT_S) as reader:
        assert wait_heard(tcp)
        tcp.put(b"\x00R|1\xff")
        assert reader.read(5) == b"\x00R|1\xff"
        reader.write(b"hi")
        select.select([tcp], [], [], TIMEOUT_S)
        assert tcp.take() == b"hi"


def test_the_next_reader_is_let_in_when_the_first_has_gone(tcp: TcpPort) -> None:
    for _ in range(3):
        with socket.create_connection(address_of(tcp)):
            assert wait_heard(tcp)
        select.select([tcp], [], [], TIMEOUT_S)
        assert tcp.take() == b""
        assert not tcp.is_heard()


def test_a_cut_tcp_port_refuses_and_a_mended_one_listens_on_the_same_number(tcp: TcpPort) -> None:
    address = address_of(tcp)
    tcp.cut()
    with pytest.raises(ConnectionRefusedError):
        socket.create_connection(address)
    tcp.mend()
    with socket.create_connection(address):
        assert wait_heard(tcp)


def test_a_tcp_port_without_a_reader_takes_nothing(tcp: TcpPort) -> None:
    assert (tcp.is_heard(), tcp.put(b"x"), tcp.take()) == (False, 0, b"")


def test_a_tcp_port_that_is_taken_is_named(tcp: TcpPort) -> None:
    number = address_of(tcp)[1]
    with pytest.raises(PortError, match=str(number)):
        open_port(f"tcp://127.0.0.1:{number}")


def address_of(port: TcpPort) -> tuple[str, int]:
    host, _, number = port.address.removeprefix("socket://").partition(":")
    return host, int(number)
