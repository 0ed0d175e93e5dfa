"""What a formula by id consists of: its text, its inputs, its constants and the function that computes it."""

from collections.abc import Callable
from typing import NamedTuple


class FormulaInput(NamedTuple):
    """One input of a formula."""

    name: str
    """As it stands in the text and in stored results; it ends in its unit."""
    unit: str
    """Code of the unit, "1" for a plain number; empty where it is that of the reading."""
    meaning: str
    default: float | None = None
    """What holds when it is not given; None where it must be given."""


class FormulaConstant(NamedTuple):
    """One constant in the text of a formula."""

    name: str
    value: float
    unit: str
    source: str


class Formula(NamedTuple):
    """A formula under an id and a version that mean the same number for ever.

    The text is plain arithmetic in the names of the inputs and constants, so that a stranger with a stored
    result, the text and a pocket calculator finds the same value.
    """

    id: str
    version: int
    quantity: str | None
    """Code of the quantity it gives, see `evaluate.units`; None: that of the reading."""
    unit: str | None
    """Code of the unit it gives; None: that of the reading."""
    text: str
    inputs: tuple[FormulaInput, ...]
    constants: tuple[FormulaConstant, ...]
    function: Callable[..., float]
    """Takes every input by name."""
    source: str
