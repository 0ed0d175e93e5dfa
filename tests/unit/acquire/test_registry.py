"""Drivers are found by name; what is wrong with one package stops nothing else."""

from collections.abc import Callable, Mapping
from importlib.metadata import Distribution, PathDistribution
from pathlib import Path
from typing import Any

import pytest

from acquire.errors import (
    DriverFileError,
    DriverOptionError,
    DriverPluginError,
    UnknownDriverError,
)
from acquire.registry import SHIPPED_FOLDER, DriverRegistry
from tests.fakes.driver import FakeFactory, FakePoint, LineDriver

SHIPPED = (
    "acid-burette",
    "asked-balance",
    "button-balance",
    "density-table",
    "load-lines",
    "outside-laboratory",
    "ph-stream",
    "so2-burette",
)


def lines(options: Mapping[str, object]) -> FakeFactory:
    return FakeFactory(LineDriver)


def package(folder: Path, name: str) -> Distribution:
    info = folder / f"{name}-1.0.dist-info"
    info.mkdir()
    (info / "METADATA").write_text(f"Metadata-Version: 2.1\nName: {name}\nVersion: 1.0\n", encoding="utf-8")
    return PathDistribution(info)


def failing(error: BaseException) -> Callable[[], Any]:
    def load() -> Any:
        raise error

    return load


@pytest.mark.parametrize("name", SHIPPED)
def test_a_shipped_driver_is_found_by_its_name(name: str) -> None:
    factory = DriverRegistry([]).factory(name)
    assert factory.identity.name == name
    assert factory.identity.definition == (SHIPPED_FOLDER / f"{name}.toml").read_text(encoding="utf-8")


def test_a_driver_file_is_found_by_its_path() -> None:
    assert DriverRegistry([]).factory(str(SHIPPED_FOLDER / "ph-stream.toml")).identity.name == "ph-stream"


def test_the_drivers_that_are_installed_are_all_usable_and_none_is_called_by_the_form_of_a_file() -> None:
    offers = DriverRegistry().survey()
    assert {offer.name for offer in offers} >= set(SHIPPED)
    assert "toml" not in {offer.name for offer in offers}
    assert [offer.fault for offer in offers if offer.fault is not None] == []


def test_the_form_of_a_driver_file_is_not_the_name_of_a_driver() -> None:
    with pytest.raises(UnknownDriverError, match=r"a driver file is named by its path and ends in \.toml"):
        DriverRegistry().factory("toml")


def test_a_driver_of_another_package_gets_its_options() -> None:
    seen: list[Mapping[str, object]] = []

    def make(options: Mapping[str, object]) -> FakeFactory:
        seen.append(options)
        return FakeFactory(LineDriver)

    point = FakePoint("lines", lambda: make)
    assert DriverRegistry([point]).factory("lines", {"end": "LF"}).identity.name == "fake"
    assert seen == [{"end": "LF"}]


def test_an_unknown_name_says_which_there_are() -> None:
    with pytest.raises(
        UnknownDriverError, match=r"no driver is called 'so2'; there are: acid-burette, .*, lines, load-lines"
    ):
        DriverRegistry([FakePoint("lines", lambda: lines)]).factory("so2")


def test_a_shipped_driver_takes_no_options() -> None:
    with pytest.raises(DriverOptionError, match="driver 'ph-stream' takes no options, got speed"):
        DriverRegistry([]).factory("ph-stream", {"speed": 1})


def test_a_missing_driver_file_is_refused() -> None:
    with pytest.raises(DriverFileError, match="cannot be read"):
        DriverRegistry([]).factory("nowhere/absent.toml")


@pytest.mark.parametrize("error", [ImportError("no module named gauge"), SyntaxError("bad"), SystemExit(3)])
def test_a_driver_that_cannot_be_imported_is_refused_with_its_package(
    tmp_path: Path, error: BaseException
) -> None:
    point = FakePoint("gauge", failing(error), package(tmp_path, "gauge-drivers"))
    with pytest.raises(
        DriverPluginError, match="driver 'gauge' of the package gauge-drivers cannot be used: its import"
    ):
        DriverRegistry([point]).factory("gauge")


def test_a_driver_that_cannot_be_made_is_refused_with_its_error() -> None:
    point = FakePoint("gauge", lambda: lambda options: options["port"])
    with pytest.raises(DriverPluginError, match="it could not be made: KeyError: 'port'"):
        DriverRegistry([point]).factory("gauge")


def test_what_a_driver_says_of_its_options_is_passed_on() -> None:
    def make(options: Mapping[str, object]) -> FakeFactory:
        raise DriverOptionError(f"there is no option {', '.join(options)}")

    with pytest.raises(DriverOptionError, match="there is no option speed"):
        DriverRegistry([FakePoint("lines", lambda: make)]).factory("lines", {"speed": 1})


def test_what_is_no_factory_is_refused() -> None:
    point = FakePoint("gauge", lambda: lambda options: type("Odd", (), {"identity": "me"})())
    with pytest.raises(DriverPluginError, match="it gave a Odd instead of a factory"):
        DriverRegistry([point]).factory("gauge")


def test_a_name_that_two_packages_bring_is_refused_with_both(tmp_path: Path) -> None:
    points = [FakePoint("gauge", lambda: lines, package(tmp_path, name)) for name in ("one", "two")]
    with pytest.raises(DriverPluginError, match="one, two cannot be used: several packages bring it"):
        DriverRegistry(points).factory("gauge")


def test_a_survey_names_every_fault_and_leaves_the_rest_usable(tmp_path: Path) -> None:
    broken = FakePoint("gauge", failing(ImportError("no gauge")), package(tmp_path, "gauge-drivers"))
    offers = DriverRegistry([broken, FakePoint("lines", lambda: lines)]).survey()
    assert {offer.name: offer.fault is None for offer in offers} == dict.fromkeys(SHIPPED, True) | {
        "gauge": False,
        "lines": True,
    }
    assert [offer.origin for offer in offers if offer.fault is not None] == ["gauge-drivers"]


def test_a_package_cannot_take_the_place_of_a_shipped_driver() -> None:
    registry = DriverRegistry([FakePoint("ph-stream", lambda: lines)])
    assert registry.factory("ph-stream").identity.name == "ph-stream"
    assert "a shipped driver has the same name" in str(registry.survey()[-1].fault)


def test_a_broken_file_in_the_shipped_folder_is_reported(tmp_path: Path) -> None:
    (tmp_path / "odd.toml").write_text("name = 1", encoding="utf-8")
    (offer,) = DriverRegistry([], tmp_path).survey()
    assert "odd.toml is refused" in str(offer.fault)
