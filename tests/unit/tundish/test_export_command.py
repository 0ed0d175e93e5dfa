"""``tundish export``, called as from a shell, and a stranger who reads the folder."""

import json
import subprocess
import sys
from pathlib import Path

import pytest

from storage.store import open_store
from tests.fakes.filled_store import NOON_US, Answer, Filler
from tests.fakes.rest import enter_acidity, rest_on
from tests.unit.bench.acts import take_in
from tests.unit.tundish.test_commands import call, made_store
from tundish import cli
from tundish.cli import guarded

SCRIPT = Path(__file__).parents[2] / "independent" / "thread_from_export.py"


def test_what_was_exported_is_read_back(tmp_path: Path) -> None:
    store, folder = made_store(tmp_path), tmp_path / "out"
    told = json.loads(call("export", "--json", str(store), str(folder)).output)
    assert told["head"].startswith("1:")
    assert "1 rows" not in call("export", "--check", str(folder)).output
    assert json.loads(call("export", "--check", "--json", str(folder)).output)["head"] == told["head"]


def test_a_damaged_folder_is_one_text_and_exit_code_2(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    store, folder = made_store(tmp_path), tmp_path / "out"
    call("export", str(store), str(folder))
    (folder / "tables" / "ledger.jsonl").write_text("")
    assert guarded(lambda: cli.cli(["export", "--check", str(folder)], standalone_mode=False)) == 2
    assert "ledger.jsonl was changed" in capsys.readouterr().err


@pytest.mark.parametrize("words", [["one"], ["--check", "one", "two"]])
def test_it_says_which_places_it_wants(words: list[str]) -> None:
    result = call("export", *words)
    assert result.exit_code == 2
    assert "FOLDER" in result.output


def thread(folder: Path, number: int) -> "subprocess.CompletedProcess[str]":
    return subprocess.run(
        [sys.executable, "-I", str(SCRIPT), str(folder), str(number)],
        capture_output=True,
        text=True,
        check=False,
    )


def test_a_stranger_with_the_standard_library_computes_a_thread_again(tmp_path: Path) -> None:
    store = open_store(tmp_path / "cellar.db", kind="real", clock_us=lambda: NOON_US)
    with rest_on(store, NOON_US) as rest:
        enter_acidity(rest)
        rest.post("/trays/burette-1/on", {"sample": "CK4H7M"})
        filler = Filler(store, at_us=NOON_US)
        answer = Answer("dispensed_volume", "8.40", "mL")
        filler.hear(filler.open("burette", "burette-1"), b"TA;8.40\r\n", [answer])
        take_in(store)
        (result,) = rest.get("/results")["items"]
    store.close()
    call("export", str(tmp_path / "cellar.db"), str(tmp_path / "out"))
    answer_of_script = thread(tmp_path / "out", result["id"])
    told = json.loads(answer_of_script.stdout)
    assert answer_of_script.returncode == 0
    assert told["stored"] == result["value"]
    assert bytes.fromhex(told["bytes"]) == b"TA;8.40\r\n"
    whole = {"agrees", "digits_are_in_the_bytes", "reading_is_the_input", "factor_is_the_mean"}
    assert whole <= {name for name, value in told.items() if value is True}


def test_the_stranger_s_script_imports_nothing_of_ours() -> None:
    ours = {"acquire", "api", "bench", "evaluate", "simulators", "storage", "tests", "tundish"}
    words = {
        line.split()[1]
        for line in SCRIPT.read_text("utf-8").splitlines()
        if line.startswith(("import ", "from "))
    }
    assert not {word.split(".")[0] for word in words} & ours
