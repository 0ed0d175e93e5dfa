"""What evaluation refuses, as exceptions that say what came and what was wanted."""


class EvaluateError(ValueError):
    """A number cannot be evaluated; the base of every refusal in this package.

    The attributes repeat what the message says, for programs: `name` of the input, the `value` that came, and
    the bounds `low` and `high` that were wanted, each None where it does not apply.
    """

    def __init__(
        self,
        message: str,
        *,
        name: str | None = None,
        value: object = None,
        low: float | None = None,
        high: float | None = None,
    ) -> None:
        super().__init__(message)
        self.name = name
        self.value = value
        self.low = low
        self.high = high


class OutOfRangeError(EvaluateError):
    """An input is not a finite number or lies outside the range in which the formula holds."""


class TooFewPointsError(EvaluateError):
    """There are fewer points than the calculation needs; `value` is their number, `low` the number wanted."""


class NoEndPointError(EvaluateError):
    """A curve has no end point that could be reported."""


class NotPredictableError(EvaluateError):
    """The inputs are sound, but nothing can be said from them; the message says what to measure."""


class ContradictionError(EvaluateError):
    """Two inputs cannot both be true, such as a volume below its blank."""


class UnknownNameError(EvaluateError):
    """A constant set, method or rule set of this name does not exist; the message lists those that do."""


class MissingInputError(EvaluateError):
    """An input that the formula cannot do without was not given; the message names its unit."""
