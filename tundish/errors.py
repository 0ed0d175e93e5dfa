"""Errors of wiring and start, told to a person in one line.

TundishError
├── AddressError            the address to serve at cannot be had (`tundish.web`)
├── ForeignPackageError     one of our packages is somebody else's (`tundish.packages`)
├── SimulatedBenchError     the simulated bench did not come up (`tundish.demo`)
├── UnknownLineError        no line has that name (`tundish.line_book`)
├── LineConflictError       the lines as they are do not allow it (`tundish.line_book`)
├── NotKeptError            an act could not be kept, so it was not done (`tundish.line_book`)
├── PasswordError           a password that is named cannot be had (`tundish.passwords`)
├── UnfinishedStopError     the store could not be written until the end (`tundish.daemon`)
├── RefusedActError         a rule forbids what a command asked for (`tundish.at_the_store`)
├── NotTheSameDriverError   a driver of the store cannot be had as it was (`tundish.driver_choice`)
├── DaemonRefusedError      the daemon does not do what a command asked for (`tundish.commands`)
├── LineNotHeardError       a line that is to be looked at cannot be opened (`tundish.listening`)
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


class DaemonRefusedError(TundishError):
    """The daemon does not do what a command asked for; the text holds every fault."""


class RefusedActError(TundishError):
    """A rule forbids what a command asked for; nothing was written."""


class PasswordError(TundishError):
    """A password is not where a line says that it is; the text begins with the key that says so."""


class UnknownLineError(TundishError):
    """No line has that name."""


class LineConflictError(TundishError):
    """The lines as they are do not allow what was asked for."""


class NotKeptError(TundishError):
    """An act could not be kept, in its file or in the ledger, so it was not done."""


class LineNotHeardError(TundishError):
    """A line that is to be looked at cannot be opened."""


class NotTheSameDriverError(TundishError):
    """A driver of the store cannot be had as it was."""
