"""The driver that somebody names for stored captures: by name, by its text, or as the store keeps it."""

import json
import re
from collections.abc import Callable
from contextlib import AbstractContextManager
from typing import Final

from sqlalchemy import Connection

from acquire.driver import DriverFactory
from acquire.drivers.data_only import factory_from_text
from acquire.errors import UnknownDriverError
from acquire.registry import FILE_SUFFIX, DriverRegistry
from api.pours import WantedDriver
from storage.queries import DriverRecord, driver_by_number
from tundish.errors import NotTheSameDriverError

_RELEASE: Final = re.compile(r"[A-Za-z0-9._-]+==\S+")
"""First line of what the store keeps of a driver made of code: its package and version."""

Reader = Callable[[], AbstractContextManager[Connection]]


def chosen(wanted: WantedDriver, reader: Reader) -> DriverFactory:
    """Return the factory of the driver that is wanted.

    Raises
    ------
    DriverError
        If there is none of that name, or it is refused.
    NotTheSameDriverError
        If the store names another than what is installed now, or none at all.
    """
    registry = DriverRegistry()
    if wanted.number is not None:
        with reader() as connection:
            record = driver_by_number(connection, wanted.number)
        if record is None:
            raise NotTheSameDriverError(
                f"the store knows no driver {wanted.number}; take it from driver_id of a pour"
            )
        return of_record(record, registry)
    if wanted.definition is not None:
        return factory_from_text(wanted.definition, "definition")
    name = wanted.name or ""
    if name.endswith(FILE_SUFFIX):
        raise UnknownDriverError(name, registry.names)  # files of this computer are not read for others
    return registry.factory(name, wanted.options)


def of_record(record: DriverRecord, registry: DriverRegistry) -> DriverFactory:
    """Return the factory of a driver just as it was when it was first used.

    Raises
    ------
    NotTheSameDriverError
        If it is made of code that is installed in another version now.
    """
    package, _, rest = record.definition.partition("\n")
    if _RELEASE.fullmatch(package) is None:
        return factory_from_text(record.definition, f"driver {record.number}")
    options = json.loads(rest) if rest.strip() else {}
    factory = registry.factory(record.name, options)
    if factory.identity.definition != record.definition:
        raise NotTheSameDriverError(
            f"driver {record.number} is {record.name} of {package}; what is installed now is "
            f"{factory.identity.definition.partition(chr(10))[0]}: name the driver instead to use that"
        )
    return factory
