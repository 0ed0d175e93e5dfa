"""Drivers that keep silent: for looking on at a conversation, or at an instrument that must not forget."""

from acquire.driver import Driver, DriverFactory, DriverIdentity
from acquire.events import Event, Instant


class MuteDriver:
    """Reads as another driver does, and never wants anything sent."""

    def __init__(self, driver: Driver) -> None:
        self._driver = driver

    @property
    def next_deadline_ns(self) -> int | None:
        """As the other's. [ns]"""
        return self._driver.next_deadline_ns

    def receive(self, data: bytes, at: Instant) -> list[Event]:
        """As the other's."""
        return self._driver.receive(data, at)

    def tick(self, at: Instant) -> list[Event]:
        """As the other's."""
        return self._driver.tick(at)

    def closed(self, at: Instant) -> list[Event]:
        """As the other's."""
        return self._driver.closed(at)

    def to_send(self) -> bytes:
        """Return nothing, whatever the other wants to say."""
        self._driver.to_send()
        return b""


class MuteDrivers:
    """Makes them."""

    def __init__(self, factory: DriverFactory) -> None:
        self._factory = factory

    @property
    def identity(self) -> DriverIdentity:
        """That of the drivers which are kept silent."""
        return self._factory.identity

    def __call__(self) -> Driver:
        """Return a driver that has heard nothing yet and will say nothing."""
        return MuteDriver(self._factory())
