"""A meter that writes a table, and one that nobody knows."""

from pathlib import Path

import pytest

from simulators.density_table import DensityTable
from simulators.ports import FolderPort, open_port
from simulators.samples import otterquill
from simulators.turbidity_meter import TurbidityMeter


def table() -> DensityTable:
    return DensityTable("dens-1", otterquill(1), lambda: 1_759_740_067_000_000, 1)


def test_every_sample_writes_the_whole_table_in_two_halves() -> None:
    first, second = table().advance(10.0)
    assert second.data.startswith(first.data)
    assert (first.meaning["half"], second.meaning["half"]) == (True, False)
    rows = second.data.decode("cp1252").split("\r\n")
    assert rows[2] == "Date;Time;No;Sample;Density;Temperature;State"
    assert rows[4].startswith("06.10.2025;08:41;1;W-1001;0,99")
    assert rows[5] == ""


def test_the_table_grows_and_its_old_rows_stay() -> None:
    messages = table().advance(130.0)
    last = messages[-1].data.decode("cp1252")
    assert last.count("W-100") == 3
    assert messages[1].data.decode("cp1252").split("\r\n")[4] in last


def test_ailments_show_in_the_table() -> None:
    one = table()
    one.suffer("over_range", begins=True)
    one.suffer("wrong_clock", begins=True)
    assert b"01.01.2000;00:00;1;W-1001;---;20,0;bubble" in one.advance(10.0)[-1].data


def test_a_table_has_no_buttons() -> None:
    with pytest.raises(ValueError, match="there are none"):
        table().command(["tea"])


def test_what_is_put_into_a_folder_takes_the_place_of_what_was_there(tmp_path: Path) -> None:
    port = open_port(f"file:{tmp_path / 'drop' / 'density.csv'}")
    assert isinstance(port, FolderPort)
    assert port.put(b"one, and more") == 13
    assert port.put(b"two") == 3
    assert (tmp_path / "drop" / "density.csv").read_bytes() == b"two"
    assert (port.address, port.fileno(), port.take()) == (str(tmp_path / "drop"), -1, b"")


def test_a_folder_out_of_reach_takes_nothing(tmp_path: Path) -> None:
    port = FolderPort(tmp_path / "density.csv")
    port.cut()
    assert (port.is_heard(), port.put(b"x")) == (False, 0)
    port.mend()
    assert (port.is_heard(), port.put(b"x")) == (True, 1)


def test_a_file_that_cannot_be_written_takes_nothing(tmp_path: Path) -> None:
    (tmp_path / "density.csv").mkdir()
    assert FolderPort(tmp_path / "density.csv").put(b"x") == 0


def test_a_stranger_pushes_lines_that_count_themselves() -> None:
    lines = [message.data for message in TurbidityMeter("turb-1").advance(7.5)]
    assert [line[:12] for line in lines] == [b"<0001> turb:", b"<0002> turb:", b"<0003> turb:"]
    assert lines[0].endswith(b"NTU lamp:97% st:OK\r\n")


def test_a_cuvette_clears_and_the_next_one_is_turbid() -> None:
    true = [message.meaning["true_ntu"] for message in TurbidityMeter("turb-1").advance(620.0)]
    assert isinstance(true[0], float)
    assert isinstance(true[238], float)
    assert isinstance(true[240], float)
    assert true[0] > true[238] < true[240]


def test_ailments_of_the_stranger() -> None:
    one = TurbidityMeter("turb-1")
    one.suffer("over_range", begins=True)
    assert one.advance(2.5)[0].data == b"<0001> turb:   >4000NTU lamp:97% st:HI\r\n"
    one.suffer("over_range", begins=False)
    one.suffer("fouled_probe", begins=True)
    message = one.advance(5.0)[0]
    assert float(str(message.meaning["shown"])) > float(str(message.meaning["true_ntu"])) + 2
