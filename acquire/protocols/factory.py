"""Make the drivers of one protocol with the options of one line."""

from collections.abc import Callable
from importlib.metadata import version
from typing import Generic

from acquire.driver import Driver, DriverIdentity
from acquire.protocols.options import Options
from acquire.rehearsal import Rehearsal

PACKAGE = "tundish"


class ProtocolFactory(Generic[Options]):
    """Makes a fresh driver for each capture; its identity holds the options, so that it can be made again."""

    def __init__(
        self,
        name: str,
        options: Options,
        make: Callable[[Options], Driver],
        rehearse: Callable[[Options], Rehearsal] = lambda _: Rehearsal(),
    ) -> None:
        self._options = options
        self._rehearse = rehearse
        self._make = make
        release = version(PACKAGE)
        said = options.model_dump_json(exclude_defaults=True)
        self._identity = DriverIdentity(name, release, f"{PACKAGE}=={release}\n{said}\n")

    @property
    def identity(self) -> DriverIdentity:
        """Name, release of this program, and the options as JSON behind it."""
        return self._identity

    @property
    def options(self) -> Options:
        """What the line's configuration says."""
        return self._options

    @property
    def rehearsal(self) -> Rehearsal:
        """Messages by which its drivers can be tried; none where each depends on what was asked before."""
        return self._rehearse(self._options)

    def __call__(self) -> Driver:
        """Return a driver that has heard nothing yet."""
        return self._make(self._options)
