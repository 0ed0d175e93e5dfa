"""What can go wrong while hearing, split by who can act::

    AcquireError
    ├── TransportError               look at the cable, the port or the machine
    │   ├── PortUnavailableError     the port cannot be opened now; its line tries again
    │   │   ├── PortAbsentError      it is not there
    │   │   ├── PortBusyError        another program holds it
    │   │   ├── PortForbiddenError   this user may not open it
    │   │   └── PortSettingError     it cannot do what the settings ask
    │   ├── NoPortError              what is named never becomes a port; its line ends
    │   │   ├── NotATtyError         there is something, but no port
    │   │   └── UnknownSchemeError   a URL of a kind that nobody knows
    │   ├── PortLostError            it was open and is gone
    │   └── WriteStoppedError        it takes no more bytes
    ├── LineNameError                the name of a line is unknown, or taken
    └── DriverError                  look at the name or the file of the driver
        ├── UnknownDriverError       nobody brings a driver of that name
        ├── DriverFileError          a driver file is refused; every fault with its key path
        ├── DriverOptionError        a driver is asked for something that it does not know
        └── DriverPluginError        a driver of another package cannot be imported or made

Facts ride as attributes; the text says what was wrong, what came and what was wanted.
"""


class AcquireError(Exception):
    """Base of all errors of this package."""


class TransportError(AcquireError):
    """A line cannot carry bytes; `target` names the port, URL or file."""

    def __init__(self, target: str, text: str) -> None:
        self.target = target
        super().__init__(text)


class PortUnavailableError(TransportError):
    """The port cannot be opened now."""


class PortAbsentError(PortUnavailableError):
    """There is no such port, or nothing answers there."""


class PortBusyError(PortUnavailableError):
    """Another program holds the port."""


class PortForbiddenError(PortUnavailableError):
    """The user that runs this program may not open the port."""


class PortSettingError(PortUnavailableError):
    """The port cannot do what the line settings ask for."""


class NoPortError(TransportError):
    """What is named never becomes a port, however often it is tried."""


class NotATtyError(NoPortError):
    """What has that name is no serial port."""


class UnknownSchemeError(NoPortError):
    """The URL is of a kind that nobody knows."""


class PortLostError(TransportError):
    """The port was open and is gone."""


class WriteStoppedError(TransportError):
    """The port takes no more bytes; how many of the last ones left is unknown."""


class LineNameError(AcquireError):
    """The name of a line is unknown, or already taken."""


class DriverError(AcquireError):
    """No driver can be made for a line."""


class UnknownDriverError(DriverError):
    """Nobody brings a driver of that name; `known` holds the names that there are."""

    def __init__(self, name: str, known: tuple[str, ...]) -> None:
        self.name, self.known = name, known
        super().__init__(
            f"no driver is called {name!r}; there are: {', '.join(known) or 'none'}; "
            "a driver file is named by its path and ends in .toml"
        )


class DriverFileError(DriverError):
    """A driver file is refused; `faults` holds every fault, each with its key path."""

    def __init__(self, source: str, faults: tuple[str, ...]) -> None:
        self.source, self.faults = source, faults
        super().__init__(f"driver file {source} is refused: {'; '.join(faults)}")


class DriverOptionError(DriverError):
    """A driver is asked for something that it does not know."""


class DriverPluginError(DriverError):
    """A driver of another package cannot be imported or made; `distribution` names that package."""

    def __init__(self, name: str, distribution: str, text: str) -> None:
        self.name, self.distribution = name, distribution
        super().__init__(f"driver {name!r} of the package {distribution} cannot be used: {text}")
