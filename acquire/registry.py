"""Find drivers by name: those shipped here, those of other packages, and driver files by their path.

Another package brings drivers by an entry point of the group ``tundish.drivers``, whose object is called with
the options of a line and returns a `DriverFactory`. What is wrong with one package stops no other driver.
"""

from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass
from importlib.metadata import Distribution, entry_points
from pathlib import Path
from typing import Any, Final, Protocol

from acquire.driver import DriverFactory, DriverIdentity
from acquire.drivers import data_only
from acquire.errors import AcquireError, DriverError, DriverOptionError, DriverPluginError, UnknownDriverError

GROUP: Final = "tundish.drivers"
SHIPPED_FOLDER: Final = Path(data_only.__file__).parent / "files"
FILE_SUFFIX: Final = ".toml"


class PluginPoint(Protocol):
    """What the registry needs of an entry point."""

    @property
    def name(self) -> str:
        """What a configuration calls the driver."""

    @property
    def dist(self) -> Distribution | None:
        """The package that brings it."""

    def load(self) -> Any:
        """Import it; may raise anything."""


@dataclass(frozen=True, slots=True)
class DriverOffer:
    """A driver that could be used, and why it cannot if so."""

    name: str
    origin: str
    """``shipped``, or the name of the package that brings it."""
    fault: str | None = None


class DriverRegistry:
    """Make driver factories by name."""

    def __init__(
        self, points: Iterable[PluginPoint] | None = None, shipped_folder: Path = SHIPPED_FOLDER
    ) -> None:
        """Take entry points, by default those of all installed packages, and a folder of driver files."""
        self._points = tuple(entry_points(group=GROUP) if points is None else points)
        self._shipped = {path.stem: path for path in sorted(shipped_folder.glob(f"*{FILE_SUFFIX}"))}

    @property
    def names(self) -> tuple[str, ...]:
        """Every name that :meth:`factory` knows, usable or not; driver files go by their path instead."""
        return tuple(sorted({*self._shipped, *(point.name for point in self._points)}))

    def factory(self, name: str, options: Mapping[str, object] | None = None) -> DriverFactory:
        """Return the factory of a driver.

        Parameters
        ----------
        name : str
            Of a shipped driver or an entry point, or the path of a driver file ending in ``.toml``.
        options : mapping, optional
            What the line's configuration hands to a driver made of code.

        Raises
        ------
        UnknownDriverError
            If nobody brings a driver of that name.
        DriverFileError
            If a driver file cannot be read, or is refused.
        DriverOptionError
            If the driver does not know an option.
        DriverPluginError
            If the driver of another package cannot be imported or made.
        """
        options = {} if options is None else options
        path = Path(name) if name.endswith(FILE_SUFFIX) else self._shipped.get(name)
        if path is None:
            return _made(self._point(name), options)
        if options:
            raise DriverOptionError(f"driver {name!r} takes no options, got {', '.join(sorted(options))}")
        return data_only.factory_from_path(path)

    def survey(self) -> tuple[DriverOffer, ...]:
        """Try every driver and return all of them, each with its fault if it has one."""
        shipped = [DriverOffer(name, "shipped", self._shipped_fault(name)) for name in self._shipped]
        brought = [
            DriverOffer(point.name, _package(point), self._point_fault(point)) for point in self._points
        ]
        return (*shipped, *brought)

    def _point(self, name: str) -> PluginPoint:
        found = [point for point in self._points if point.name == name]
        if not found:
            raise UnknownDriverError(name, self.names)
        if len(found) > 1:
            packages = ", ".join(sorted(map(_package, found)))
            raise DriverPluginError(name, packages, "several packages bring it; remove all but one")
        return found[0]

    def _shipped_fault(self, name: str) -> str | None:
        try:
            self.factory(name)
        except DriverError as error:
            return str(error)
        return None

    def _point_fault(self, point: PluginPoint) -> str | None:
        if point.name in self._shipped:
            return "a shipped driver has the same name and is used instead"
        try:
            _loaded(self._point(point.name))
        except DriverError as error:
            return str(error)
        return None


def _package(point: PluginPoint) -> str:
    return "an unnamed package" if point.dist is None else point.dist.name


def _loaded(point: PluginPoint) -> Callable[[Mapping[str, object]], DriverFactory]:
    try:
        make: Callable[[Mapping[str, object]], DriverFactory] = point.load()
    except (Exception, SystemExit) as error:
        text = f"its import failed: {type(error).__name__}: {error}"
        raise DriverPluginError(point.name, _package(point), text) from error
    return make


def _made(point: PluginPoint, options: Mapping[str, object]) -> DriverFactory:
    make = _loaded(point)
    try:
        factory = make(options)
        fits = isinstance(factory.identity, DriverIdentity)
    except AcquireError:
        raise
    except (Exception, SystemExit) as error:
        text = f"it could not be made: {type(error).__name__}: {error}"
        raise DriverPluginError(point.name, _package(point), text) from error
    if not fits:
        text = f"it gave a {type(factory).__name__} instead of a factory of drivers with an identity"
        raise DriverPluginError(point.name, _package(point), text)
    return factory
