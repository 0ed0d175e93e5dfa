"""Uncertainty of a result from that of its inputs, correlated or not, and the share of each input in it."""

import math
from collections.abc import Callable, Mapping, Sequence
from typing import NamedTuple

from evaluate.checks import enough, finite, in_range, not_negative, positive
from evaluate.errors import ContradictionError, UnknownNameError
from evaluate.sensitivity import sensitivity

_SMALLEST = 1e-300  # keeps an exact input a variable, so that its sensitivity is found as well


class Input(NamedTuple):
    """A value with its standard uncertainty, in the unit of the value."""

    value: float
    u: float


class Contribution(NamedTuple):
    """What one input adds to the uncertainty of the result."""

    sensitivity: float
    """Change of the result per unit of the input."""
    u: float
    """Absolute sensitivity times standard uncertainty of the input, in the unit of the result."""
    share: float
    """Part of the variance. The shares add to one; with correlations one may be negative."""


class Budget(NamedTuple):
    """A result with its standard uncertainty and where that comes from."""

    value: float
    u: float
    contributions: Mapping[str, Contribution]

    @property
    def relative_u(self) -> float:
        """Standard uncertainty over value; infinite for a value of zero."""
        return self.u / abs(self.value) if self.value else math.inf

    def expanded(self, coverage: float = 2.0) -> float:
        """Return the uncertainty times a coverage factor, which must be more than 0."""
        return positive("coverage", coverage) * self.u


def propagate(
    function: Callable[..., float],
    inputs: Mapping[str, Input],
    correlations: Mapping[tuple[str, str], float] | None = None,
) -> Budget:
    r"""Return the result of a function with its uncertainty, by first-order propagation.

    Parameters
    ----------
    function : callable
        Takes the inputs by name and returns a number; smooth within an uncertainty of the values.
    inputs : mapping of str to Input
        One or more, by the name the function has for them.
    correlations : mapping of (str, str) to float, optional
        Correlation coefficient of two inputs, -1 to 1; each pair once, in either order. Inputs that share a
        burette or a balance are correlated.

    Returns
    -------
    Budget
        Value, standard uncertainty and the contribution of each input.

    Raises
    ------
    TooFewPointsError
        If there are no inputs.
    OutOfRangeError
        If a value is not finite, an uncertainty negative, or a coefficient outside its range.
    UnknownNameError
        If a correlation names something that is no input.
    ContradictionError
        If the correlations cannot all hold together.

    Notes
    -----
    :math:`u^2 = \sum_{ij} c_i u_i\, r_{ij}\, c_j u_j` [1]_, with sensitivities :math:`c_i` found by numerical
    derivatives, good to about nine digits (`evaluate.sensitivity`). Where the function bends within an
    uncertainty, this is only a first approach and a simulation is the judge.

    References
    ----------
    .. [1] JCGM 100:2008, equation 16. Published.

    Examples
    --------
    >>> budget = propagate(lambda a, b: a - b, {"a": Input(5.0, 0.1), "b": Input(3.0, 0.1)}, {("a", "b"):
    1.0})
    >>> round(budget.u, 6)
    0.0
    """
    enough("inputs of the uncertainty", len(inputs), 1)
    value, sensitivities = _derivatives(function, inputs)
    signed = {name: sensitivities[name] * one.u for name, one in inputs.items()}
    covariances = _covariances(signed, correlations or {})
    variance = math.fsum(covariances.values())
    u = math.sqrt(max(0.0, variance))
    contributions = {
        name: Contribution(sensitivities[name], abs(part), covariances[name] / variance if u else 0.0)
        for name, part in signed.items()
    }
    return Budget(value, u, contributions)


def _derivatives(
    function: Callable[..., float], inputs: Mapping[str, Input]
) -> tuple[float, dict[str, float]]:
    from uncertainties import ufloat, wrap

    for name, one in inputs.items():
        finite(name, one.value)
        not_negative(f"uncertainty of {name}", one.u)
    names, values = list(inputs), {name: one.value for name, one in inputs.items()}
    variables = [ufloat(one.value, max(one.u, _SMALLEST)) for one in inputs.values()]
    result = wrap(
        lambda *_: function(**values),
        [lambda *_, name=name: sensitivity(function, values, name) for name in names],
    )(*variables)
    value = finite("result", result.nominal_value)
    return value, {
        name: result.derivatives.get(variable, 0.0) for name, variable in zip(names, variables, strict=True)
    }


def _covariances(
    signed: Mapping[str, float], correlations: Mapping[tuple[str, str], float]
) -> dict[str, float]:
    """Return the part of each input in the variance; a correlated pair shares its part by halves."""
    parts = {name: part**2 for name, part in signed.items()}
    for pair, coefficient in _checked_pairs(signed, correlations).items():
        first, second = sorted(pair)
        shared = coefficient * signed[first] * signed[second]
        parts[first] += shared
        parts[second] += shared
    return parts


def _checked_pairs(
    signed: Mapping[str, float], correlations: Mapping[tuple[str, str], float]
) -> dict[frozenset[str], float]:
    checked: dict[frozenset[str], float] = {}
    for pair, coefficient in correlations.items():
        _must_be_two_inputs(pair, signed, checked)
        checked[frozenset(pair)] = in_range(f"correlation of {pair[0]} and {pair[1]}", coefficient, -1.0, 1.0)
    _must_be_a_correlation_matrix(list(signed), checked)
    return checked


def _must_be_two_inputs(
    pair: tuple[str, str], signed: Mapping[str, float], checked: Mapping[frozenset[str], float]
) -> None:
    for name in pair:
        if name not in signed:
            raise UnknownNameError(
                f"a correlation names {name!r}, which is no input; inputs: {', '.join(signed)}",
                name="correlation",
                value=name,
            )
    if pair[0] == pair[1] or frozenset(pair) in checked:
        raise ContradictionError(
            f"the correlation of {pair[0]} and {pair[1]} must be given once, for two inputs",
            name="correlation",
            value=pair,
        )


def _must_be_a_correlation_matrix(names: Sequence[str], pairs: Mapping[frozenset[str], float]) -> None:
    if len(pairs) < 2:
        return
    import numpy as np

    matrix = [[1.0 if a == b else pairs.get(frozenset({a, b}), 0.0) for b in names] for a in names]
    smallest = float(np.linalg.eigvalsh(matrix)[0])
    if smallest < -1e-9:  # no unit; rounding of the eigenvalues of a matrix of ones
        raise ContradictionError(
            "the correlations cannot all hold together: three inputs cannot all oppose each other; "
            "look at the signs",
            name="correlations",
            value=smallest,
        )
