"""What was done to lines while the daemon ran is kept beside the configuration."""

import tomllib
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tundish.config import load_config
from tundish.config_faults import ConfigError
from tundish.lines_file import LinesFile, merged
from tundish.toml_text import array_of_tables

PH = {"name": "ph", "kind": "serial", "device": "/dev/a", "instrument": "ph-1", "driver": "ph-stream"}
SO2 = {
    **PH,
    "name": "so2",
    "driver": "so2-burette",
    "options": {"a b": [1, 2.5, '\x7f"\\\n'], "deep": {"on": True}},
}
CONFIG = array_of_tables("line", [PH])

TEXTS = st.text(st.characters(exclude_categories=["Cs"]), max_size=8)
VALUES = st.recursive(
    st.one_of(st.booleans(), st.integers(-(2**63), 2**63 - 1), st.floats(allow_nan=False), TEXTS),
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(TEXTS, inner, max_size=3),
    max_leaves=6,
)


@pytest.fixture
def config(tmp_path: Path) -> Path:
    path = tmp_path / "tundish.toml"
    path.write_text(CONFIG, encoding="utf-8")
    return path


@given(st.lists(st.dictionaries(TEXTS, VALUES, max_size=4), min_size=1, max_size=3))
def test_tables_that_are_written_are_read_as_they_were(tables: list[dict[str, Any]]) -> None:
    assert tomllib.loads(array_of_tables("line", tables)) == {"line": tables}


@pytest.mark.parametrize("value", ["\ud800", object(), None])
def test_what_toml_cannot_say_is_refused(value: object) -> None:
    with pytest.raises(ValueError, match=r"surrogates|TOML has no"):
        array_of_tables("line", [{"name": value}])


def test_what_is_kept_is_read_again_and_goes_before_the_configuration(config: Path) -> None:
    file = LinesFile(config)
    file.write([{**PH, "device": "/dev/b"}, SO2])
    assert file.read() == [{**PH, "device": "/dev/b"}, SO2]
    assert [line.name for line in load_config(config).line] == ["ph", "so2"]
    assert load_config(config).line[0].model_dump()["device"] == "/dev/b"
    assert config.read_text(encoding="utf-8") == CONFIG


def test_the_file_says_whose_it_is_and_how_to_go_back(config: Path) -> None:
    file = LinesFile(config)
    file.write([SO2])
    assert file.path.name == "tundish.lines.toml"
    assert file.path.read_text(encoding="utf-8").startswith("# Written by tundish: lines that were added")


def test_nothing_to_keep_leaves_no_file(config: Path) -> None:
    file = LinesFile(config)
    file.write([SO2])
    file.write([])
    assert sorted(path.name for path in config.parent.iterdir()) == ["tundish.toml"]
    assert file.read() == []


def test_a_write_that_fails_leaves_what_was_there(config: Path) -> None:
    file = LinesFile(config)
    file.write([SO2])
    with pytest.raises(ValueError, match="surrogates"):
        file.write([{"name": "\ud800"}])
    assert file.read() == [SO2]
    assert len(list(config.parent.iterdir())) == 2


def test_a_fault_in_the_kept_file_names_that_file(config: Path) -> None:
    LinesFile(config).write([{**SO2, "baud": 7}])
    with pytest.raises(ConfigError) as caught:
        load_config(config)
    assert [fault.split(": ")[:2] for fault in caught.value.faults] == [
        ["tundish.lines.toml", "line[so2].baud"]
    ]


@pytest.mark.parametrize(
    ("text", "words"),
    [("[[line]", "is not TOML"), ("[api]\nport = 1\n", "nothing else"), ("line = 3\n", "nothing else")],
)
def test_a_kept_file_that_was_spoilt_by_hand_is_refused(config: Path, text: str, words: str) -> None:
    LinesFile(config).path.write_text(text, encoding="utf-8")
    with pytest.raises(ConfigError, match=words) as caught:
        load_config(config)
    assert caught.value.source.endswith("tundish.lines.toml")


def test_what_is_no_table_is_left_for_the_check_to_tell() -> None:
    assert merged({"line": "x"}, [SO2]) == {"line": "x"}
    assert merged({"line": ["x"]}, [3]) == {"line": ["x", 3]}
    assert merged({"api": {}}, []) == {"api": {}}
