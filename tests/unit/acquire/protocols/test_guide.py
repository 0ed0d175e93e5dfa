"""The handbook's examples are lines that can be had."""

import re
import tomllib
from collections.abc import Callable, Mapping
from pathlib import Path

import pytest

from acquire.driver import DriverFactory
from acquire.drivers.data_only import factory_from_text
from acquire.protocols import lis01, modbus, query
from acquire.protocols.lis_options import Lis01Options
from acquire.protocols.modbus_options import ModbusOptions
from acquire.protocols.query_options import QueryOptions

ROOT = Path(__file__).parents[4]
GUIDE = (ROOT / "docs" / "conversations.md").read_text(encoding="utf-8")
TEXTS = re.findall(r"```toml\n(.*?)```", GUIDE, re.DOTALL)
LINES = [line for text in TEXTS for line in tomllib.loads(text).get("line", ())]
FACTORIES: dict[str, Callable[[Mapping[str, object]], DriverFactory]] = {
    "lis01": lis01.factory,
    "modbus-rtu": modbus.factory,
    "query-answer": query.factory,
}


def test_there_is_an_example_of_each() -> None:
    assert {line["driver"] for line in LINES} == set(FACTORIES)


@pytest.mark.parametrize("line", [pytest.param(line, id=line["driver"]) for line in LINES])
def test_every_example_of_the_guide_is_a_driver(line: dict[str, object]) -> None:
    options = line["options"]
    assert isinstance(options, dict)
    assert FACTORIES[str(line["driver"])](options)().next_deadline_ns is None


def test_the_driver_file_of_the_guide_asks() -> None:
    [text] = [text for text in TEXTS if "[framing]" in text]
    assert factory_from_text(text, "docs/conversations.md")().to_send() == b"W\r\n"


def test_every_option_is_in_the_guide() -> None:
    names = {name for model in (Lis01Options, ModbusOptions, QueryOptions) for name in model.model_fields}
    assert sorted(name for name in names if f"`{name}" not in GUIDE) == []


def test_the_package_announces_each() -> None:
    project = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]
    announced = project["entry-points"]["tundish.drivers"]
    assert {name: FACTORIES[name].__module__ + ":factory" for name in FACTORIES}.items() <= announced.items()
