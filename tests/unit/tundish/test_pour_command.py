"""``tundish pour`` over a store: a report first, and applied only when it is asked for."""

import asyncio
import json
from pathlib import Path

import pytest
from click.testing import CliRunner, Result

from storage.store import open_store
from tests.fakes.heard_captures import AT_US, hear, so2_rows, view
from tundish import cli

WRONG, RIGHT = so2_rows(unit="g/L"), so2_rows()
LINE = ("--driver", "right.toml", "--line", "so2")
APPLY = (*LINE, "--apply", "--actor", "MAL", "--reason", "the unit was wrong")


@pytest.fixture
def folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A folder with a configuration, a store that heard three rows, and a driver that reads them right."""
    monkeypatch.chdir(tmp_path)
    (tmp_path / "tundish.toml").write_text('[store]\npath = "cellar.db"\n', encoding="utf-8")
    (tmp_path / "right.toml").write_text(RIGHT.identity.definition, encoding="utf-8")
    store = open_store(tmp_path / "cellar.db", kind="real", clock_us=lambda: AT_US)
    asyncio.run(hear(store, WRONG, [b"W-1;28.50;20.1\nW-2;31.00;20.2\n"]))
    store.close()
    return tmp_path


def call(*arguments: str) -> Result:
    return CliRunner().invoke(cli.cli, ["pour", *arguments])


def units(folder: Path) -> set[str]:
    store = open_store(folder / "cellar.db", kind="real", clock_us=lambda: AT_US)
    try:
        return {row["unit"] for row in view(store)}
    finally:
        store.close()


def test_without_apply_it_says_what_would_change_and_writes_nothing(folder: Path) -> None:
    before = (folder / "cellar.db").read_bytes()
    said = call(*LINE).output
    assert "2 changed, 0 added, 0 withdrawn" in said
    assert "free_so2 28.50 g/L of W-1 -> free_so2 28.50 mg/L of W-1" in said
    assert "nothing was entered; --apply enters it" in said
    assert (folder / "cellar.db").read_bytes() == before


def test_with_apply_it_enters_it_and_a_second_time_nothing(folder: Path) -> None:
    assert "entered as pour" in call(*APPLY).output
    assert "nothing differs; nothing was entered" in call(*APPLY).output
    assert units(folder) == {"mg/L", "°C"}


def test_a_program_reads_the_report_as_json(folder: Path) -> None:
    report = json.loads(call(*LINE, "--json").output)
    assert [one["changed"] for one in report["captures"]] == [2]
    assert report["ledger_number"] is None


def test_a_driver_that_the_store_knows_brings_back_what_stood(folder: Path) -> None:
    call(*APPLY)
    store = open_store(folder / "cellar.db", kind="real", clock_us=lambda: AT_US)
    from storage.queries import drivers

    with store.reader() as connection:
        first = drivers(connection)[0].number
    store.close()
    said = call("--stored-driver", str(first), "--line", "so2", "--apply", "--reason", "it was right").output
    assert "free_so2 28.50 mg/L of W-1 -> free_so2 28.50 g/L of W-1" in said
    assert units(folder) == {"g/L", "°C"}


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        (("--line", "so2"), "name the driver"),
        (("--driver", "right.toml", "--stored-driver", "3", "--line", "so2"), "name the driver"),
        (("--driver", "right.toml"), "give a FILE, or say which stored captures"),
        ((*LINE, "--apply"), "say why readings change"),
        ((*LINE, "right.toml"), "leave the FILE out"),
        (("--driver", "right.toml", "--apply", "--reason", "x", "right.toml"), "leave the FILE out"),
    ],
)
def test_what_cannot_be_meant_is_refused(folder: Path, arguments: tuple[str, ...], words: str) -> None:
    result = call(*arguments)
    assert result.exit_code == 2
    assert words in result.output


def test_a_store_that_is_not_there_is_not_made(folder: Path) -> None:
    (folder / "cellar.db").unlink()
    result = call(*LINE)
    assert result.exit_code != 0
    assert not (folder / "cellar.db").exists()
