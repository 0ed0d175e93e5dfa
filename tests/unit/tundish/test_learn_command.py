"""``tundish learn``, called as from a shell."""

import json
import threading
from pathlib import Path

import pytest
from click.testing import CliRunner, Result

from acquire.drivers.data_only import factory_from_path
from tests.fakes.terminal import PluggedTerminal
from tundish import cli

ROWS = b"".join(
    b"<%04d> turb:%8.2fNTU lamp:%d%% st:OK\r\n" % (row, 18 - row % 17, 97 - row % 3) for row in range(60)
)
UNNAMED = b"".join(b"%03d;%d.%03d\r\n" % (row, 3 + row % 3, (37 * row) % 1000) for row in range(60))


def call(*arguments: str, data: str | bytes | None = None) -> Result:
    return CliRunner().invoke(cli.cli, ["learn", *arguments], input=data)


@pytest.fixture
def capture(tmp_path: Path) -> Path:
    path = tmp_path / "monday.bin"
    path.write_bytes(ROWS)
    return path


def test_a_driver_file_is_written_and_loads(capture: Path, tmp_path: Path) -> None:
    out = tmp_path / "bench-turbidity.toml"
    result = call(str(capture), "--out", str(out), "--answer", "lamp=ignore")
    assert result.exit_code == 0, result.output
    factory = factory_from_path(out)
    assert factory.identity.name == "bench-turbidity"
    assert "proved on:   30 frames read, 0 refused, 30 readings" in result.output
    assert "good: 30 of 30 held-out frames were read" in result.output


def test_another_file_is_never_overwritten(capture: Path, tmp_path: Path) -> None:
    out = tmp_path / "mine.toml"
    out.write_text("mine", encoding="utf-8")
    result = call(str(capture), "--out", str(out))
    assert result.exit_code == 1
    assert "is there already" in result.output
    assert out.read_text(encoding="utf-8") == "mine"


def test_questions_are_told_with_what_was_seen(capture: Path) -> None:
    result = call(str(capture), "--no-ask")
    assert "ask  lamp: which quantity is the number" in result.output
    assert "such as '97%'" in result.output


def test_nothing_is_written_as_good_until_somebody_says_what_a_number_is(tmp_path: Path) -> None:
    (tmp_path / "a.bin").write_bytes(UNNAMED)
    out = tmp_path / "a.toml"
    silent = call(str(tmp_path / "a.bin"), "--out", str(out), "--no-ask")
    assert (silent.exit_code, out.exists()) == (1, False)
    assert "needs answers: the layout was found" in silent.output
    answered = call(str(tmp_path / "a.bin"), "--out", str(out), "--answer", "column 2=ph")
    assert (answered.exit_code, out.exists()) == (0, True), answered.output


def test_answers_can_be_given_at_a_prompt(tmp_path: Path) -> None:
    (tmp_path / "a.bin").write_bytes(UNNAMED)
    out = tmp_path / "a.toml"
    result = call(str(tmp_path / "a.bin"), "--out", str(out), "--ask", data="sugar\nph\n")
    assert "'sugar' is nothing that 'column 2' can be" in result.output
    assert (result.exit_code, out.exists()) == (0, True), result.output


def test_a_doubtful_proposal_is_written_only_if_somebody_insists(tmp_path: Path) -> None:
    rows = ROWS[: len(ROWS) // 2] + b"".join(b"%d ERROR\r\n" % row for row in range(40))
    (tmp_path / "a.bin").write_bytes(rows)
    out = tmp_path / "a.toml"
    first = call(str(tmp_path / "a.bin"), "--out", str(out), "--no-ask")
    assert (first.exit_code, out.exists()) == (1, False)
    assert "is not written, because the proposal is doubtful" in first.output
    second = call(str(tmp_path / "a.bin"), "--out", str(out), "--no-ask", "--anyway")
    assert (second.exit_code, out.exists()) == (1, True)


def test_a_program_reads_one_object(capture: Path) -> None:
    result = call(str(capture), "--json", "--answer", "lamp=ignore", "--answer", "flow=ignore")
    told = json.loads(result.output)
    assert (told["standing"], told["unused_answers"]) == ("good", ["flow"])
    assert told["held_out"]["frames_read"] == 30
    assert {claim["about"] for claim in told["claims"]} >= {"encoding", "framing", "layout", "turb"}
    assert all(0 <= claim["confidence"] <= 1 for claim in told["claims"])


def test_bytes_may_come_by_standard_input() -> None:
    assert json.loads(call("--json", "-", data=ROWS).output)["standing"] == "good"


@pytest.mark.parametrize(
    ("answer", "words"),
    [
        ("turb", "wanted KEY=ANSWER"),
        ("turb=murk", "'murk' is nothing that 'turb' can be"),
        ("turb=turbidity:mL", "turbidity is never given in mL"),
        ("token OVER=high", "'high' is no outcome"),
        ("decimal=;", "the decimal mark is , or ."),
    ],
)
def test_an_answer_that_cannot_be_meant_is_refused(capture: Path, answer: str, words: str) -> None:
    result = call(str(capture), "--answer", answer)
    assert result.exit_code != 0
    assert words in result.output + str(result.exception)


def test_what_is_no_file_no_port_and_no_line_is_refused(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(tmp_path)
    result = call("turb")
    assert result.exit_code == 1
    assert "'turb' is no file and no port, and there is no tundish.toml" in result.output


@pytest.mark.needs("pseudo-terminals")
def test_a_port_is_listened_to_and_what_it_said_is_kept(tmp_path: Path) -> None:
    terminal = PluggedTerminal(tmp_path / "port")
    terminal.plug()
    stop = threading.Event()

    def send() -> None:
        for _ in range(40):  # less than a terminal holds when nobody reads any more
            if stop.wait(0.02):
                return
            terminal.write(ROWS[:320])

    sender = threading.Thread(target=send)
    sender.start()
    try:
        keep = tmp_path / "heard.bin"
        result = call(str(terminal.path), "--for", "0.5", "--keep", str(keep), "--no-ask")
    finally:
        stop.set()
        sender.join()
        terminal.unplug()
    assert "the settings look like 9600 8N1" in result.output
    assert "turb: turbidity in NTU" in result.output
    assert len(keep.read_bytes()) > 500
