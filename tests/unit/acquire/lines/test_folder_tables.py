"""Tables as export programs write them: lines before the header, units, a footer, UTF-16, decimal comma."""

from decimal import Decimal
from pathlib import Path

import pytest

from acquire.drivers.data_only import factory_from_path
from tests.fakes.followed_folder import FollowedFolder

DRIVERS = Path("tests/data/drivers")

HEAD = "Export\r\nBediener:\tMAL\r\n\r\npH\tNr\tDichte\tProbe\tTemperatur\r\n\t\t[kg/m³]\t\t[°C]\r\n"
FIRST = "3,41\t1\t992,3\tW-1\t20,0\r\n"
SECOND = "3,52\t2\t993,1\tW-2\t20,1\r\n"
FOOT = "Ende der Liste\r\n{} Proben\r\n"


@pytest.fixture
def folder(tmp_path: Path) -> FollowedFolder:
    return FollowedFolder(tmp_path / "drop", factory_from_path(DRIVERS / "utf16-table.toml"))


def utf16(text: str) -> bytes:
    return b"\xff\xfe" + text.encode("utf-16-le")


def of_both() -> list[Decimal]:
    return [Decimal(text) for text in ("992.3", "3.41", "20.0", "993.1", "3.52", "20.1")]


def test_a_table_with_all_of_it_is_read(folder: FollowedFolder) -> None:
    folder.write("a.txt", utf16(HEAD + FIRST + SECOND + FOOT.format(2)))
    assert folder.values == of_both()
    assert folder.refusals == []


def test_a_row_that_comes_before_the_footer_is_read_under_the_same_head(folder: FollowedFolder) -> None:
    folder.write("a.txt", utf16(HEAD + FIRST + FOOT.format(1)))
    folder.write("a.txt", utf16(HEAD + FIRST + SECOND + FOOT.format(2)))
    assert folder.values == of_both()
    assert folder.refusals == []
    assert folder.kept.captures[1].data.decode("utf-16") == HEAD + SECOND


def test_a_table_that_grows_while_it_is_open_is_read_row_by_row(folder: FollowedFolder) -> None:
    data = utf16(HEAD + FIRST + SECOND)
    cut = len(utf16(HEAD + FIRST)) + 9  # in the middle of a character of the second row
    folder.write("a.txt", data[:cut])
    assert folder.values == of_both()[:3]
    folder.append("a.txt", data[cut:])
    folder.start()
    folder.append("a.txt", FOOT.format(2).encode("utf-16-le"))
    assert folder.values == of_both()
    assert folder.refusals == []


def test_rows_below_a_header_that_lost_a_column_are_refused_and_stay_so(folder: FollowedFolder) -> None:
    folder.write("a.txt", utf16(HEAD + FIRST))
    changed = "pH\tNr\tProbe\tTemperatur\r\n3,52\t2\tW-2\t20,1\r\n"
    folder.append("a.txt", changed.encode("utf-16-le"))
    folder.append("a.txt", "3,60\t3\tW-3\t20,2\tx\r\n".encode("utf-16-le"))
    assert folder.values == of_both()[:3]
    assert {event.reason for event in folder.refusals} == {"wrong_layout"}


def test_what_stands_below_a_footer_is_never_read(folder: FollowedFolder) -> None:
    folder.write("a.txt", utf16(HEAD + FIRST + FOOT.format(1)))
    folder.append("a.txt", "3,46\t9\t992,7\tMittel\t20,0\r\n".encode("utf-16-le"))
    assert folder.values == of_both()[:3]


def test_a_file_in_another_encoding_is_refused_with_a_reason(folder: FollowedFolder) -> None:
    folder.write("a.txt", (HEAD + FIRST).encode("cp1252"))
    assert folder.values == []


@pytest.mark.parametrize("name", ["printed-report", "form-feed", "silence"])
def test_a_report_a_file_is_read_when_it_is_there_and_again_when_it_is_another(
    tmp_path: Path, name: str
) -> None:
    factory = factory_from_path(DRIVERS / f"{name}.toml")
    if factory.definition.framing.distrust_first is None:
        text = factory.identity.definition.replace("[framing]", "[framing]\ndistrust_first = false", 1)
        (tmp_path / "driver.toml").write_text(text, encoding="utf-8")
        factory = factory_from_path(tmp_path / "driver.toml")
    folder = FollowedFolder(tmp_path / "drop", factory)
    report = factory.rehearsal.messages[0]
    folder.write("1.txt", report)
    once = len(folder.values)
    assert once > 0
    folder.write("1.txt", report)
    folder.write("2.txt", report)
    assert len(folder.values) == 2 * once
