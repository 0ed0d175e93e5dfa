"""Results computed again by the id and version of their formula, and shown with the numbers in them."""

import re
from collections.abc import Mapping
from types import MappingProxyType
from typing import Final

from evaluate.checks import finite
from evaluate.errors import MissingInputError, UnknownNameError
from evaluate.formula import Formula, FormulaInput
from evaluate.formula_table import TABLE
from evaluate.uncertainty import Budget, Input, propagate

_BY_ID_AND_VERSION: Final = MappingProxyType({(one.id, one.version): one for one in TABLE})
_NEWEST: Final = MappingProxyType({one.id: one for one in sorted(TABLE, key=lambda one: one.version)})
_NAME: Final = re.compile(r"[a-z][a-z0-9_]*")
_FUNCTIONS_IN_TEXTS: Final = frozenset({"max"})


def formulas() -> tuple[Formula, ...]:
    """Return every formula in every version, in the order of the table."""
    return TABLE


def formula(formula_id: str, version: int | None = None) -> Formula:
    """Return a formula, the newest version unless one is named; raise `UnknownNameError` if there is none."""
    found = _NEWEST.get(formula_id) if version is None else _BY_ID_AND_VERSION.get((formula_id, version))
    if found is not None:
        return found
    if formula_id in _NEWEST:
        versions = ", ".join(str(one.version) for one in TABLE if one.id == formula_id)
        raise UnknownNameError(
            f"formula {formula_id!r} has no version {version}; it has: {versions}",
            name="formula version",
            value=version,
        )
    raise UnknownNameError(
        f"no formula is called {formula_id!r}; known: {', '.join(_NEWEST)}", name="formula", value=formula_id
    )


def complete_inputs(
    formula_id: str, inputs: Mapping[str, float], version: int | None = None
) -> dict[str, float]:
    """Return every input of a formula, with the defaults for those that were not given.

    Parameters
    ----------
    formula_id : str
        See `formulas`.
    inputs : mapping of str to float
        By the names of the formula. [units of the formula]
    version : int, optional
        Version of the formula, the newest by default.

    Returns
    -------
    dict of str to float
        In the order of the formula: what belongs beside a stored result. [units of the formula]

    Raises
    ------
    UnknownNameError
        If there is no such formula, version or input.
    MissingInputError
        If an input without a default was not given; it names all of them.
    OutOfRangeError
        If an input is not finite.

    Notes
    -----
    Defaults are written out so that a later change of a default moves no stored result.

    References
    ----------
    .. [1] Each formula carries its source.
    """
    chosen = formula(formula_id, version)
    known = {one.name: one for one in chosen.inputs}
    for name in inputs:
        if name not in known:
            raise UnknownNameError(
                f"{chosen.id} has no input {name!r}; its inputs: {', '.join(known)}", name="input", value=name
            )
    given = {name: inputs.get(name, one.default) for name, one in known.items()}
    missing = [known[name] for name, value in given.items() if value is None]
    if missing:
        raise MissingInputError(f"{chosen.id} needs {_listed(missing)} as well", name=missing[0].name)
    return {name: finite(name, value) for name, value in given.items() if value is not None}


def recompute(formula_id: str, inputs: Mapping[str, float], version: int | None = None) -> float:
    """Return the value that a formula gives for stored inputs.

    Parameters
    ----------
    formula_id : str
        See `formulas`.
    inputs : mapping of str to float
        By the names of the formula. [units of the formula]
    version : int, optional
        Version of the formula, the newest by default; a stored result names its own.

    Returns
    -------
    float
        The same double for the same inputs. [unit of the formula]

    Raises
    ------
    UnknownNameError
        If there is no such formula, version or input.
    MissingInputError
        If an input without a default was not given.
    OutOfRangeError
        If an input is not finite or outside its range.
    ContradictionError
        If two inputs cannot both be true, such as a titre below its blank.

    Notes
    -----
    Pure: nothing but the inputs enters. The formula's text gives the same number in plain arithmetic.

    References
    ----------
    .. [1] Each formula carries its source.

    Examples
    --------
    >>> inputs = {"titre_ml": 5.0, "titrant_mol_per_l": 0.01, "sample_ml": 50.0, "titrant_factor": 0.998}
    >>> round(recompute("free_so2_iodine", inputs, 1), 2)
    63.93
    """
    chosen = formula(formula_id, version)
    return chosen.function(**complete_inputs(chosen.id, inputs, chosen.version))


def budget(
    formula_id: str,
    inputs: Mapping[str, float],
    uncertainties: Mapping[str, float],
    *,
    version: int | None = None,
    correlations: Mapping[tuple[str, str], float] | None = None,
) -> Budget:
    """Return the value that a formula gives for stored inputs, with its uncertainty and the inputs' shares.

    Parameters
    ----------
    formula_id : str
        See `formulas`.
    inputs : mapping of str to float
        By the names of the formula. [units of the formula]
    uncertainties : mapping of str to float
        Standard uncertainties by the same names; an input without one is exact. [units of the formula]
    version : int, optional
        Version of the formula, the newest by default.
    correlations : mapping of (str, str) to float, optional
        Correlation coefficient of two inputs, as for `evaluate.uncertainty.propagate`.

    Returns
    -------
    Budget
        Value, standard uncertainty and the contribution of each input. [unit of the formula]

    Raises
    ------
    UnknownNameError
        If there is no such formula, version or input.
    MissingInputError
        If an input without a default was not given.
    OutOfRangeError
        If an input is not finite or outside its range, or an uncertainty negative.
    ContradictionError
        If two inputs or the correlations cannot all be true.

    Notes
    -----
    First-order propagation [1]_. At an edge, such as a blank of zero, the sensitivity is that of the side
    which the formula takes.

    References
    ----------
    .. [1] JCGM 100:2008, equation 16. Published.
    """
    chosen = formula(formula_id, version)
    given = complete_inputs(chosen.id, inputs, chosen.version)
    for name in uncertainties:
        if name not in given:
            raise UnknownNameError(
                f"{chosen.id} has no input {name!r}; its inputs: {', '.join(given)}",
                name="uncertainty",
                value=name,
            )
    doubtful = {name: Input(value, uncertainties.get(name, 0.0)) for name, value in given.items()}
    return propagate(chosen.function, doubtful, correlations)


def worked(formula_id: str, inputs: Mapping[str, float], version: int | None = None) -> str:
    """Return a calculation with the numbers in it, and where each constant comes from.

    Parameters
    ----------
    formula_id : str
        See `formulas`.
    inputs : mapping of str to float
        By the names of the formula. [units of the formula]
    version : int, optional
        Version of the formula, the newest by default.

    Returns
    -------
    str
        Lines: the text, the text with its numbers, the value with its unit, each constant with its source,
        the source of the formula.

    Raises
    ------
    UnknownNameError
        If there is no such formula, version or input.
    MissingInputError
        If an input without a default was not given.
    OutOfRangeError
        If an input is not finite or outside its range.
    ContradictionError
        If two inputs cannot both be true.

    Notes
    -----
    Numbers stand with the digits that give back the same double, the value with twelve.

    References
    ----------
    .. [1] Each formula carries its source.
    """
    chosen = formula(formula_id, version)
    given = complete_inputs(chosen.id, inputs, chosen.version)
    value = chosen.function(**given)
    numbers = given | {one.name: one.value for one in chosen.constants}
    lines = [
        f"{chosen.id} version {chosen.version}",
        f"= {chosen.text}",
        f"= {_filled(chosen.text, numbers)}",
    ]
    lines += [f"= {value:.12g} {chosen.unit or ''}".rstrip()]
    lines += [f"{one.name} = {one.value!r} {one.unit}, {one.source}" for one in chosen.constants]
    return "\n".join([*lines, f"source: {chosen.source}"])


def _filled(text: str, numbers: Mapping[str, float]) -> str:
    return _NAME.sub(
        lambda found: found[0] if found[0] in _FUNCTIONS_IN_TEXTS else _plain(numbers[found[0]]), text
    )


def _plain(number: float) -> str:
    return f"({number!r})" if number < 0 else repr(number)


def _listed(inputs: list[FormulaInput]) -> str:
    return ", ".join(f"{one.name} [{one.unit}]" if one.unit else one.name for one in inputs)
