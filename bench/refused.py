"""What is said when a rule of the bench forbids an act."""

from typing import NamedTuple


class Fault(NamedTuple):
    """One thing that is wrong with a request."""

    field: str
    """Where it stands, such as ``parts.2.volume_l``; empty if it is the request as a whole."""
    detail: str
    """What came and what would be right."""


class RefusedError(Exception):
    """A rule forbids what was asked; nothing was written.

    `rule` is a code of `bench.rules`, the message says what was wrong and what to do.
    """

    def __init__(self, rule: str, detail: str, *faults: Fault) -> None:
        super().__init__(detail)
        self.rule = rule
        self.detail = detail
        self.faults = faults


class NotThereError(RefusedError):
    """What the request names is not in the store."""


class MalformedError(RefusedError):
    """The request says something that can never be right."""


class ForbiddenError(RefusedError):
    """The person may not do this."""
