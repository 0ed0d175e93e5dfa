"""Errors of wiring and start, told to a person in one line.

TundishError
├── AddressError            the address to serve at cannot be had (`tundish.web`)
├── ForeignPackageError     one of our packages is somebody else's (`tundish.packages`)
├── SimulatedBenchError     the simulated bench did not come up (`tundish.demo`)
├── PasswordError           a line names a password that cannot be had (`tundish.sources`)
├── UnfinishedStopError     the store could not be written until the end (`tundish.daemon`)
└── DaemonUnreachableError  no daemon answers where one was looked for (`tundish.commands`)
"""


class TundishError(Exception):
    """Something that the person at the keyboard can mend."""


class AddressError(TundishError):
    """The address to serve at cannot be had."""


class ForeignPackageError(TundishError):
    """A package that this program needs comes from somewhere else."""


class SimulatedBenchError(TundishError):
    """The simulated bench did not come up."""


class UnfinishedStopError(TundishError):
    """The daemon stopped while its store could not be written."""


class DaemonUnreachableError(TundishError):
    """No daemon answers where one was looked for."""


class PasswordError(TundishError):
    """A password is not where a line says that it is; the text begins with the key that says so."""
