"""Drivers made of a file without code: TOML, then types, then consistency, then the file's own examples.

The first step with a fault refuses the file, and names every fault of that step.
"""

import json
import tomllib
from pathlib import Path
from typing import Final

from pydantic import ValidationError
from pydantic_core import ErrorDetails

from acquire.driver import Driver, DriverIdentity
from acquire.drivers.byte_order import ByteOrderDriver
from acquire.drivers.consistency import faults_of
from acquire.drivers.definition import Definition
from acquire.drivers.engine import DataOnlyDriver
from acquire.drivers.examples import example_faults
from acquire.drivers.fields import KINDS
from acquire.drivers.manner import rehearsal_of
from acquire.drivers.polls import PolledDriver
from acquire.errors import DriverFileError
from acquire.rehearsal import Rehearsal


class DataOnlyFactory:
    """Make the drivers of one driver file."""

    def __init__(self, definition: Definition, text: str) -> None:
        """Take a definition that was found consistent, and the text of its file."""
        self._definition = definition
        self._identity = DriverIdentity(definition.name, definition.version, text)

    @property
    def identity(self) -> DriverIdentity:
        """Name and version from the file, and its whole text."""
        return self._identity

    @property
    def definition(self) -> Definition:
        """What the file says."""
        return self._definition

    @property
    def rehearsal(self) -> Rehearsal:
        """The messages of its own examples."""
        return rehearsal_of(self._definition, self)

    def __call__(self) -> Driver:
        """Return a driver that has heard nothing yet."""
        if not self._definition.poll:
            return _listening(self._definition)
        doubting = _doubting(self._definition)
        return PolledDriver(
            lambda: _listening(self._definition), lambda: _listening(doubting), self._definition.poll
        )


def _listening(definition: Definition) -> Driver:
    if definition.framing.encoding == "utf-16":
        return ByteOrderDriver(definition)
    return DataOnlyDriver(definition)


def _doubting(definition: Definition) -> Definition:
    """Return it without its word that what comes first is whole."""
    framing = definition.framing.model_copy(update={"distrust_first": None})
    return definition.model_copy(update={"framing": framing})


def factory_from_text(text: str, source: str) -> DataOnlyFactory:
    """Return the factory of a driver file's text; raise `DriverFileError` with every fault."""
    definition = _definition(text, source)
    faults = faults_of(definition)
    if not faults:
        factory = DataOnlyFactory(definition, text)
        faults = list(example_faults(definition, factory))
        if not faults:
            return factory
    raise DriverFileError(source, tuple(faults))


def factory_from_path(path: Path) -> DataOnlyFactory:
    """Return the factory of a driver file; raise `DriverFileError` if it cannot be read or is refused."""
    try:
        text = path.read_bytes().decode("utf-8")
    except OSError as error:
        fault = f"it cannot be read: {error.strerror or error}"
    except UnicodeDecodeError as error:
        fault = f"it is not UTF-8 at byte {error.start + 1}; save it as UTF-8"
    else:
        return factory_from_text(text, str(path))
    raise DriverFileError(str(path), (fault,))


def _definition(text: str, source: str) -> Definition:
    try:
        tables = tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        raise DriverFileError(source, (f"it is not TOML: {error}",)) from error
    try:
        # By way of JSON, because there a list may become a tuple although every type is strict.
        return Definition.model_validate_json(json.dumps(tables, default=str))
    except ValidationError as error:
        raise DriverFileError(source, tuple(_fault(details) for details in error.errors())) from error


_WORDS: Final = {"missing": "is missing", "extra_forbidden": "this key is not known here"}
"""What we say instead of the library's own words, by the kind of fault."""


def _fault(details: ErrorDetails) -> str:
    path = [str(part) for part in details["loc"] if not (isinstance(part, str) and part in KINDS)]
    words = _WORDS.get(details["type"]) or details["msg"].removeprefix("Value error, ")
    return f"{'.'.join(path)}: {words}"
