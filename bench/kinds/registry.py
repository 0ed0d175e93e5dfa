"""Which kinds there are, and which of their fields name other records."""

from collections.abc import Iterator, Mapping
from functools import lru_cache
from types import MappingProxyType
from typing import Final

from bench.kinds.base import Body, Names
from bench.kinds.cellar import Alias, Lot, Sample, Vessel
from bench.kinds.laboratory import Acceptance, Instrument, LimitSet, Method, Person, Reagent

KINDS: Final[Mapping[str, type[Body]]] = MappingProxyType(
    {
        "lot": Lot,
        "vessel": Vessel,
        "sample": Sample,
        "alias": Alias,
        "method": Method,
        "reagent": Reagent,
        "instrument": Instrument,
        "limit_set": LimitSet,
        "acceptance": Acceptance,
        "person": Person,
    }
)
"""Models by the word that is stored."""


@lru_cache(maxsize=64)
def naming_fields(model: type[Body]) -> tuple[tuple[str, str], ...]:
    """Return the fields of a model that name records, with the kind they name."""
    return tuple(
        (name, mark.kind)
        for name, field in model.model_fields.items()
        for mark in field.metadata
        if isinstance(mark, Names)
    )


def named_codes(body: Body) -> Iterator[tuple[str, str, str]]:
    """Yield field, kind and code of every record that a body names."""
    for field, kind in naming_fields(type(body)):
        value = getattr(body, field)
        for code in (value,) if isinstance(value, str) else value or ():
            yield field, kind, code
