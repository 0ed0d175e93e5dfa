"""The commands, called as from a shell."""

import json
from contextlib import closing
from pathlib import Path

import click
import pytest
from click.testing import CliRunner, Result

from acquire.errors import UnknownDriverError
from acquire.registry import SHIPPED_FOLDER, DriverRegistry
from acquire.rehearsal import Rehearsal
from storage.backup import verify_file
from storage.connect import sqlite_module
from storage.lock import StoreLock
from storage.store import open_store
from tests.fakes.driver import FakeFactory, FakePoint, LineDriver
from tests.services.postgresql import PostgreSQL
from tundish import cli
from tundish.cli import COMMANDS, guarded
from tundish.commands.check import BROKEN, check_driver
from tundish.config import load_config
from tundish.config_faults import ConfigError
from tundish.demo import demo_config
from tundish.errors import AddressError, RefusedActError, SimulatedBenchError
from tundish.screen import hex_rows
from tundish.web import bind
from tundish.wiring import line_plans

FRAME = b"R|0042|2025-10-06 08:41:07|F|W-1007|2.31|mL|29.6|mg/L|*53\r\n"


def call(*arguments: str) -> Result:
    return CliRunner().invoke(cli.cli, arguments)


def free_port() -> int:
    with bind("127.0.0.1", 0) as listener:
        port: int = listener.getsockname()[1]
        return port


def made_store(folder: Path) -> Path:
    path = folder / "cellar.db"
    open_store(path, kind="real", clock_us=lambda: 1).close()
    return path


@pytest.mark.parametrize("name", sorted(COMMANDS))
def test_every_command_has_help_with_an_example(name: str) -> None:
    result = call(name, "--help")
    assert result.exit_code == 0
    assert f"Example: tundish {name}" in result.output


@pytest.mark.parametrize("name", ["run", "demo", "listen", "learn"])
@pytest.mark.parametrize("time", ["nan", "inf", "-1", "soon"])
def test_a_time_to_stop_after_is_a_finite_number_of_seconds(name: str, time: str) -> None:
    result = call(name, "--for", time, *(["ph"] if name in ("listen", "learn") else []))
    assert result.exit_code == 2
    assert f"'{time}' is no length of time; give seconds such as 60" in result.output


def test_selftest_gives_json_that_a_program_reads() -> None:
    result = call("selftest", "--json", "--only", "strd")
    assert result.exit_code == 0
    found = json.loads(result.output)
    assert found["passed"] is True
    assert {table["id"].split(".")[0] for table in found["tables"]} == {"strd"}


def test_selftest_gives_a_page_with_the_curves_where_they_are_asked_for() -> None:
    strd, curves = (
        call("selftest", "--page", "--only", "strd"),
        call("selftest", "--page", "--only", "curves"),
    )
    assert (strd.exit_code, curves.exit_code) == (0, 0)
    assert "## Titration curves" in curves.output
    assert "## Titration curves" not in strd.output
    assert "## Digits agreed with certified values" in strd.output


def test_selftest_gives_one_form_at_a_time() -> None:
    result = call("selftest", "--json", "--page")
    assert result.exit_code == 2
    assert "take one of them" in result.output


def test_selftest_refuses_an_id_that_no_figure_has_and_names_those_there_are() -> None:
    result = call("selftest", "--only", "sulphur")
    assert result.exit_code == 2
    assert "begins with 'sulphur'" in result.output
    assert "strd" in result.output


def test_pour_tells_every_event_and_accounts_for_every_byte(tmp_path: Path) -> None:
    capture = tmp_path / "monday.bin"
    capture.write_bytes(FRAME + b"garbage\r\n" + FRAME[:20])
    result = call("pour", "--driver", "so2-burette", str(capture), "--json")
    *events, summary = [json.loads(line) for line in result.output.splitlines()]
    assert [event["kind"] for event in events] == ["frame_read", "frame_refused", "frame_refused"]
    assert summary["bytes"] == len(FRAME) + 9 + 20
    assert summary["unaccounted"] == 0


def test_pour_says_readings_in_words(tmp_path: Path) -> None:
    capture = tmp_path / "monday.bin"
    capture.write_bytes(FRAME)
    assert "free_so2 29.6 mg/L of W-1007" in call("pour", "--driver", "so2-burette", str(capture)).output


LINE = '[[line]]\nname = "p"\ninstrument = "p"\ndriver = "ph-stream"\nkind = "serial"\ndevice = "/dev/p"\n'


@pytest.mark.parametrize(("text", "count"), [("", "0 lines"), (LINE, "1 line")])
def test_check_says_what_is_in_order(tmp_path: Path, text: str, count: str) -> None:
    file = tmp_path / "tundish.toml"
    file.write_text(text, encoding="utf-8")
    assert call("check", str(file)).output.splitlines()[0] == f"{file}: in order; {count}"


def test_check_tells_faults_of_the_file_and_of_its_drivers_at_once(tmp_path: Path) -> None:
    file = tmp_path / "tundish.toml"
    file.write_text('colour = 1\n[[line]]\nname = "so2"\ndriver = "no-such"\n', encoding="utf-8")
    error = call("check", str(file)).exception
    assert isinstance(error, ConfigError)
    assert error.source == str(file)
    places = [fault.split(":")[0] for fault in error.faults]
    assert places == ["line[so2].kind", "colour", "line[so2].driver"]


def test_check_puts_a_driver_file_through_the_battery(tmp_path: Path) -> None:
    text = (SHIPPED_FOLDER / "load-lines.toml").read_text(encoding="utf-8")
    file = tmp_path / "mine.toml"
    file.write_text(text, encoding="utf-8")
    result = call("check", str(file))
    assert result.exit_code == 0
    assert result.output.startswith(
        f"{file}: loaded; tried by 1 messages\n  kept    its own messages are read\n"
    )
    assert "BROKEN" not in result.output


@pytest.mark.parametrize(
    ("name", "said"),
    [
        ("so2-burette", "what is sent again from memory is marked, and counted once"),
        ("asked-balance", "marks no repeats of 3 of its 3 readings: they carry neither a number nor a date"),
    ],
)
def test_check_says_by_what_a_driver_knows_messages_that_are_sent_again(name: str, said: str) -> None:
    assert said in call("check", name).output.splitlines()[-1]


def test_check_names_the_law_that_a_driver_breaks(capsys: pytest.CaptureFixture[str]) -> None:
    made = FakeFactory(LineDriver, rehearsal=Rehearsal((b"BUG\n",)))
    point = FakePoint("bad", lambda: lambda options: made)
    with pytest.raises(click.exceptions.Exit) as stop:
        check_driver("bad", DriverRegistry([point]))
    assert stop.value.exit_code == BROKEN
    assert "BROKEN  its own messages are read: it raised RuntimeError" in capsys.readouterr().out


def test_check_of_a_driver_without_messages_says_what_it_needs(capsys: pytest.CaptureFixture[str]) -> None:
    point = FakePoint("bare", lambda: lambda options: FakeFactory(LineDriver))
    with pytest.raises(click.exceptions.Exit):
        check_driver("bare", DriverRegistry([point]))
    assert "give its factory a rehearsal" in capsys.readouterr().out


def test_check_of_a_driver_that_does_not_exist_says_which_there_are() -> None:
    error = call("check", "no-such").exception
    assert isinstance(error, UnknownDriverError)
    assert "so2-burette" in str(error)


def test_the_demonstration_refuses_a_folder_that_it_cannot_make(tmp_path: Path) -> None:
    (tmp_path / "file").touch()
    error = call("demo", "--folder", str(tmp_path / "file" / "demo"), "--port", str(free_port())).exception
    assert isinstance(error, SimulatedBenchError)
    assert "name another with --folder" in str(error)


def test_the_demonstration_tells_a_taken_port_before_it_starts_anything(tmp_path: Path) -> None:
    folder = tmp_path / "demo"
    with bind("127.0.0.1", 0) as taken:
        taken.listen()
        result = call("demo", "--folder", str(folder), "--port", str(taken.getsockname()[1]))
    assert isinstance(result.exception, AddressError)
    assert not folder.exists()


def test_backup_verify_and_restore_go_round(tmp_path: Path) -> None:
    store = made_store(tmp_path)
    copies = tmp_path / "copies"
    copies.mkdir()
    assert "a good copy, ledger head 1:" in call("backup", str(store), str(copies)).output
    (copy,) = copies.iterdir()
    assert "restored, 1 ledger entries" in call("restore", str(copy), str(tmp_path / "new.db")).output
    told = json.loads(call("verify", str(tmp_path / "new.db"), "--json").output)
    assert (told["in_order"], told["entries"]) == (True, 1)


def test_a_backup_is_entered_in_its_store(tmp_path: Path) -> None:
    store = made_store(tmp_path)
    result = call("backup", str(store), str(tmp_path / "copy.db"), "--actor", "AB")
    assert f"entered in the ledger of {store} as number 2" in result.output
    assert json.loads(call("verify", str(store), "--json").output)["entries"] == 2


@pytest.mark.parametrize("address", [None, "http://127.0.0.1:9", "gopher://x"])
def test_a_good_copy_that_cannot_be_entered_is_told_and_kept(tmp_path: Path, address: str | None) -> None:
    store = made_store(tmp_path)
    if address:
        store.with_name("cellar.db.address").write_text(address, encoding="ascii")
    held = StoreLock(store)  # as by a daemon that does not answer
    result = call("backup", str(store), str(tmp_path / "copy.db"))
    held.release()
    assert result.exit_code == 0
    assert "the copy is good, but the store does not know of it: " in result.output
    assert (tmp_path / "copy.db").exists()


def test_verify_wants_the_head_that_was_written_down(tmp_path: Path) -> None:
    store = made_store(tmp_path)
    result = call("verify", str(store), "--head", f"7:{'00' * 32}")
    assert result.exit_code == 1
    assert "entries up to 7 were written down, but they are gone" in result.output


def test_verify_refuses_a_head_that_is_none(tmp_path: Path) -> None:
    assert "is no head" in call("verify", str(made_store(tmp_path)), "--head", "x").output


def test_an_error_that_a_person_can_mend_is_one_text_and_exit_code_2(
    capsys: pytest.CaptureFixture[str],
) -> None:
    def refuse() -> None:
        raise ConfigError("a.toml", ["line: is missing"])

    assert guarded(refuse) == 2
    assert capsys.readouterr().err == "tundish: a.toml: line: is missing\n"


def test_a_bug_of_ours_keeps_its_traceback() -> None:
    def fail() -> None:
        raise ZeroDivisionError

    with pytest.raises(ZeroDivisionError):
        guarded(fail)


def test_a_command_that_found_something_amiss_says_so_to_the_shell() -> None:
    @click.command()
    def amiss() -> None:
        raise click.exceptions.Exit(BROKEN)

    assert guarded(lambda: amiss([], standalone_mode=False)) == BROKEN
    assert guarded(lambda: cli.cli(["--version"], standalone_mode=False)) == 0


def test_a_wrong_option_is_exit_code_2(capsys: pytest.CaptureFixture[str]) -> None:
    def misuse() -> None:
        raise click.UsageError("no such option")

    assert guarded(misuse) == 2
    assert "no such option" in capsys.readouterr().err


def test_bytes_are_shown_with_offset_digits_and_text() -> None:
    assert list(hex_rows(b"pH 3\r", 16)) == [f"      16  {'70 48 20 33 0d':<48} pH 3·"]


def test_the_demonstration_writes_a_configuration_that_loads(tmp_path: Path) -> None:
    wire = {"baudrate": 1200, "bytesize": 7, "parity": "E", "stopbits": 1}
    bench = [{"instrument": "ph-1", "url_or_device": "/dev/pts/9", "settings": wire, "driver": "ph-stream"}]
    file = tmp_path / "tundish.toml"
    file.write_text(demo_config(bench, 8710), encoding="utf-8")
    (plan,) = line_plans(load_config(file), tmp_path)
    assert plan.factory.identity.name == "ph-stream"


def test_verify_names_a_trigger_that_is_missing(tmp_path: Path) -> None:
    store = made_store(tmp_path)
    with closing(sqlite_module().connect(str(store), isolation_level=None)) as stranger:
        stranger.execute("DROP TRIGGER guard_reading_update")
    result = call("verify", str(store))
    assert result.exit_code == 1
    assert "every row is as it was written, 1 entries" in result.output
    assert "not guarded as it should be: trigger guard_reading_update is missing" in result.output
    told = json.loads(call("verify", str(store), "--json").output)
    assert (told["in_order"], told["first_bad"]) == (False, None)
    assert told["guard_faults"] == ["trigger guard_reading_update is missing"]


@pytest.mark.needs("postgresql")
def test_a_store_is_moved_to_the_server_that_is_named(tmp_path: Path, postgresql: PostgreSQL) -> None:
    store = made_store(tmp_path)
    (tmp_path / "tundish.toml").write_text('store = "cellar.db"', encoding="utf-8")
    url = postgresql.url(postgresql.new_database(), password="s3cret")
    moved = call("move", "--config", str(tmp_path / "tundish.toml"), "--to", url)
    assert moved.exit_code == 0, moved.output
    assert "the same store, ledger head 1:" in moved.output
    told = json.loads(call("verify", url, "--json").stdout)
    assert (told["in_order"], told["entries"]) == (True, 1)
    back = call("move", "--from", url, "--to", str(tmp_path / "back.db"))
    assert back.exit_code == 0, back.output
    assert verify_file(tmp_path / "back.db").head == verify_file(store).head
    assert "s3cret" not in moved.output + back.output + call("verify", url).output


@pytest.mark.needs("postgresql")
def test_the_owner_of_the_tables_migrates_and_gives_rights(postgresql: PostgreSQL) -> None:
    database = postgresql.new_database()
    with postgresql.connect() as connection:
        connection.execute("CREATE ROLE cellar_hand LOGIN")
    done = call("migrate", postgresql.url(database), "--writer", "cellar_hand")
    assert "cellar_hand may write, nobody else may look" in done.output
    open_store(postgresql.url(database, "cellar_hand"), kind="real", clock_us=lambda: 1).close()


def test_readers_get_their_rights_together_with_the_writer() -> None:
    assert "--reader wants --writer too" in call("migrate", "cellar.db", "--reader", "lab").output


def test_a_store_on_a_server_is_backed_up_by_the_server(tmp_path: Path) -> None:
    result = call("backup", "postgresql://tundish@db/cellar", str(tmp_path / "copy.db"))
    assert "pg_dump" in str(result.exception)


@pytest.mark.parametrize(("pin", "code"), [("4711\n4711\n", 0), ("1111\n1111\n", 2), ("47\n47\n", 2)])
def test_the_first_person_gets_a_pin_that_is_asked_for_unseen(tmp_path: Path, pin: str, code: int) -> None:
    config = tmp_path / "tundish.toml"
    config.write_text("", encoding="utf-8")
    arguments = ["people", "add", "AB", "--pin", "--config", str(config)]
    result = CliRunner().invoke(cli.cli, arguments, input=pin)
    if code:
        assert isinstance(result.exception, RefusedActError)
        return
    assert result.exit_code == 0
    assert "AB is entered as operator with a pin" in result.output
    assert pin.strip() not in result.output
