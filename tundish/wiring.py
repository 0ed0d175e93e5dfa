"""The only place that builds the whole: from a configuration to objects that know each other."""

from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from pydantic import ValidationError

from acquire.backoff import Backoff
from acquire.clock import Clock
from acquire.config import FarSource, FolderSource, LineSettings
from acquire.driver import DriverFactory
from acquire.drivers.beginnings import begins_surely
from acquire.errors import DriverError, DriverOptionError
from acquire.line_record import LineRecord
from acquire.lines.build import MakeTransport, lines_together
from acquire.registry import DriverRegistry
from acquire.sink import Sink
from acquire.supervisor import Hears, MakeFar
from acquire.turns import ApartWhileSlow
from storage.queries import drivers
from storage.rows import DriverRow
from storage.store import Store, open_store
from tundish.config import Config
from tundish.config_faults import ConfigError, fault_in_words
from tundish.errors import PasswordError
from tundish.folder_memory import StoredFiles
from tundish.line_config import AnyLineConfig, LinesTable
from tundish.sources import source_of
from tundish.store_address import store_address

MIB = 2**20

UNSURE_BEGINNING = (
    "it refuses the first row of every file, because on a wire half a row might look whole; "
    "for a line of kind folder say distrust_first = false in its [framing]"
)


@dataclass(frozen=True, slots=True)
class LinePlan:
    """A line that can be started."""

    settings: LineSettings
    factory: DriverFactory
    stopped: bool = False
    """Whether it is only listed until somebody starts it."""


def line_plans(config: Config, folder: Path, source: str = "configuration") -> tuple[LinePlan, ...]:
    """Return a plan for each line of a configuration; see `plans_of`."""
    return plans_of(config.line, folder, source)


def plans_of(lines: Iterable[AnyLineConfig], folder: Path, source: str) -> tuple[LinePlan, ...]:
    """Return a plan for each line; paths count from `folder`.

    Raises
    ------
    ConfigError
        With every line whose driver or password cannot be had, at once.
    """
    registry = DriverRegistry()
    plans, faults = [], []
    for line in lines:
        try:
            plans.append(_plan(line, folder, registry))
        except DriverError as error:
            faults.append(f"line[{line.name}].driver: {error}")
        except PasswordError as error:
            faults.append(f"line[{line.name}].{error}")
    if faults:
        raise ConfigError(source, faults)
    return tuple(plans)


def checked_line(table: Mapping[str, Any], folder: Path) -> tuple[AnyLineConfig, LinePlan]:
    """Return one line as it would stand in a configuration file, and its plan; paths count from `folder`.

    Raises
    ------
    ConfigError
        With everything that is wrong with it, its driver included.
    """
    whole = {"line": [dict(table)]}
    try:
        (line,) = LinesTable.model_validate(whole).line
    except ValidationError as error:
        faults = [fault_in_words(one, whole) for one in error.errors()]
        raise ConfigError("line", [*faults, *driver_faults(whole, folder)]) from error
    (plan,) = plans_of([line], folder, "line")
    return line, plan


def driver_faults(table: Mapping[str, Any], folder: Path) -> list[str]:
    """Return what is wrong with the drivers that a file names, though the file has other faults too."""
    registry, faults = DriverRegistry(), []
    lines = table.get("line")
    for place, line in enumerate(lines if isinstance(lines, list) else []):
        if not isinstance(line, dict) or not isinstance(line.get("driver"), str):
            continue  # a fault of the file itself, told by `load_config`
        try:
            registry.factory(_driver_name(line["driver"], folder), _options(line))
        except DriverError as error:
            faults.append(f"line[{line.get('name', place)}].driver: {error}")
    return faults


def _driver_name(driver: str, folder: Path) -> str:
    return str(folder / driver) if driver.endswith(".toml") else driver


def _options(line: Mapping[str, Any]) -> Mapping[str, Any]:
    options = line.get("options")
    return options if isinstance(options, dict) else {}


def _plan(line: AnyLineConfig, folder: Path, registry: DriverRegistry) -> LinePlan:
    settings = LineSettings(line.name, line.instrument, source_of(line, folder))
    factory = registry.factory(_driver_name(line.driver, folder), line.options)
    if isinstance(settings.source, FolderSource) and not begins_surely(factory):
        raise DriverOptionError(UNSURE_BEGINNING)
    return LinePlan(settings, factory, line.stopped)


def transports(store: Store, clock: Clock) -> MakeTransport:
    """Return what makes the lines of the running event loop; those of folders go on where the store says."""
    return lines_together(clock, lambda line: StoredFiles(store, line))


def far_lines(store: Store, sink: Sink, clock: Clock) -> MakeFar:
    """Return what makes the lines of far benches; what is known of them stands in the store."""

    def make(source: FarSource, driver: DriverFactory, record: LineRecord) -> Hears:
        from acquire.far.line import FarLine, FarParts  # its library is slow to load
        from tundish.far_memory import StoredFar, fetch_from

        parts = FarParts(StoredFar(store), store.info.kind, fetch_from(source), ApartWhileSlow())
        return FarLine(source, driver, sink, record, clock=clock, backoff=Backoff(), parts=parts)

    return make


def store_of(config: Config, folder: Path, clock_us: Callable[[], int]) -> Store:
    """Open the store that a configuration names."""
    return open_store(
        store_address(config.store, folder),
        kind=config.store.kind,
        clock_us=clock_us,
        spool_limit_bytes=config.store.spool_mib * MIB,
    )


def known_drivers(store: Store) -> dict[DriverRow, int]:
    """Return the drivers that the store has seen, with their entries."""
    with store.reader() as connection:
        return {
            DriverRow(one.name, one.version, one.definition_sha256, one.definition): one.number
            for one in drivers(connection)
        }
