"""What a calibration, standardisation, blank, pump factor or check amounts to, judged once when it comes.

Pure: figures in, a judgement out; limits come from the acceptance records or are the defaults of `evaluate`.
"""

from collections.abc import Mapping, Sequence
from typing import Any, Final, NamedTuple

from evaluate.buffers import BufferValue
from evaluate.burette import pump_factor
from evaluate.control_charts import Limits, standard_scores
from evaluate.electrode import BufferReading, fit_electrode
from evaluate.electrode_check import Acceptance, ElectrodeLimits, judge_electrode
from evaluate.rule_definitions import Verdict
from evaluate.rule_sets import judge
from evaluate.statistics import mean, standard_deviation
from evaluate.titrant import StandardisationLimits, standardise

VERIFICATION_TOLERANCE_PH: Final = 0.05  # [pH]; USP <791>, published, as in evaluate.electrode_check
BLANK_SPAN_ML: Final = 0.05  # [mL]; common practice, no source
MASS_TOLERANCE_G: Final = 0.001  # [g]; common practice, no source; a balance has its own
LONGEST_CHART: Final = 1000  # points; earlier ones can no longer make a rule hit


class Judged(NamedTuple):
    """What a record says."""

    quantity: str
    value: float | None
    unit: str
    uncertainty: float | None
    verdict: Verdict
    reasons: tuple[str, ...]
    """In plain words; empty when all is well."""
    details: Mapping[str, Any]
    """Every figure that belongs to it."""


class BufferPoint(NamedTuple):
    """What an electrode showed in one buffer."""

    buffer: str
    """Code of its record."""
    ph: float
    """Its pH at its temperature. [pH]"""
    mv: float
    temperature_c: float
    edition: str


def calibration(points: Sequence[BufferPoint], settings: Mapping[str, float]) -> Judged:
    """Return slope and zero of an electrode, and whether they may be used."""
    electrode = fit_electrode(
        [
            BufferReading(BufferValue(one.buffer, one.ph, one.temperature_c, one.edition), one.mv)
            for one in points
        ]
    )
    verdict = judge_electrode(electrode, _electrode_limits(settings))
    return Judged(
        "electrode_slope",
        electrode.slope_pct,
        "%",
        None,
        {Acceptance.ACCEPT: Verdict.PASS, Acceptance.WARN: Verdict.WARN, Acceptance.REFUSE: Verdict.FAIL}[
            verdict.acceptance
        ],
        verdict.reasons,
        {
            "slope_pct": electrode.slope_pct,
            "offset_mv": electrode.offset_mv,
            "temperature_c": electrode.temperature_c,
            "residuals_ph": list(electrode.residuals_ph),
            "points": [one._asdict() for one in points],
        },
    )


def _electrode_limits(settings: Mapping[str, float]) -> ElectrodeLimits:
    usual = ElectrodeLimits()
    return ElectrodeLimits(
        good_slope_pct=(
            settings.get("good_slope_low_pct", usual.good_slope_pct[0]),
            settings.get("good_slope_high_pct", usual.good_slope_pct[1]),
        ),
        usable_slope_pct=(
            settings.get("usable_slope_low_pct", usual.usable_slope_pct[0]),
            settings.get("usable_slope_high_pct", usual.usable_slope_pct[1]),
        ),
        good_offset_mv=settings.get("good_offset_mv", usual.good_offset_mv),
        usable_offset_mv=settings.get("usable_offset_mv", usual.usable_offset_mv),
        most_residual_ph=settings.get("most_residual_ph", usual.most_residual_ph),
    )


def verification(found_ph: float, buffer_ph: float, settings: Mapping[str, float]) -> Judged:
    """Return how an electrode reads a buffer that it was not calibrated with."""
    tolerance = settings.get("tolerance_ph", VERIFICATION_TOLERANCE_PH)
    return _against(
        "ph",
        found_ph,
        buffer_ph,
        tolerance=tolerance,
        unit="pH",
        details={"buffer_ph": buffer_ph, "tolerance_ph": tolerance},
    )


def mass_check(found_g: float, known_g: float, settings: Mapping[str, float]) -> Judged:
    """Return how a balance shows a known mass."""
    tolerance = settings.get("tolerance_g", MASS_TOLERANCE_G)
    return _against(
        "mass",
        found_g,
        known_g,
        tolerance=tolerance,
        unit="g",
        details={"known_g": known_g, "tolerance_g": tolerance},
    )


def _against(
    quantity: str, found: float, known: float, *, tolerance: float, unit: str, details: Mapping[str, float]
) -> Judged:
    difference = found - known
    passes = abs(difference) <= tolerance * (1 + 1e-12)  # a difference on the limit is within it
    reasons = () if passes else (f"off by {difference:+.4g} {unit}; {tolerance:g} {unit} is allowed",)
    verdict = Verdict.PASS if passes else Verdict.FAIL
    return Judged(quantity, found, unit, None, verdict, reasons, {"difference": difference, **details})


def standardisation(
    strengths_mol_per_l: Sequence[float], nominal_mol_per_l: float, settings: Mapping[str, float]
) -> Judged:
    """Return the factor of a titrant from replicates, and whether it may be used."""
    usual = StandardisationLimits()
    found = standardise(
        strengths_mol_per_l,
        nominal_mol_per_l,
        StandardisationLimits(
            int(settings.get("least_count", usual.least_count)),
            settings.get("most_rsd_pct", usual.most_rsd_pct),
            settings.get("most_change_pct", usual.most_change_pct),
        ),
    )
    return Judged(
        "titrant_factor",
        found.factor,
        "1",
        found.standard_error_mol_per_l / nominal_mol_per_l,
        Verdict.PASS if found.is_accepted else Verdict.FAIL,
        found.reasons,
        {
            "mol_per_l": found.mol_per_l,
            "nominal_mol_per_l": nominal_mol_per_l,
            "rsd_pct": found.rsd_pct,
            "strengths_mol_per_l": list(strengths_mol_per_l),
        },
    )


def blank(volumes_ml: Sequence[float], settings: Mapping[str, float]) -> Judged:
    """Return the blank of a procedure from its replicates."""
    allowed = settings.get("most_span_ml", BLANK_SPAN_ML)
    most = settings.get("most_ml")
    span = max(volumes_ml) - min(volumes_ml)
    average = mean(volumes_ml)
    reasons = []
    if span > allowed:
        reasons.append(f"replicates span {span:.3g} mL, {allowed:g} mL is allowed")
    if most is not None and average > most:
        reasons.append(f"the blank is {average:.3g} mL, {most:g} mL is allowed")
    sd = standard_deviation(volumes_ml) if len(volumes_ml) > 1 else None
    return Judged(
        "dispensed_volume",
        average,
        "mL",
        sd,
        Verdict.FAIL if reasons else Verdict.PASS,
        tuple(reasons),
        {"volumes_ml": list(volumes_ml), "span_ml": span},
    )


def pump(true_value: float, found: Sequence[float], settings: Mapping[str, float]) -> Judged:
    """Return the factor of a pump from titrations of a standard."""
    factor = pump_factor(
        true_value,
        found,
        least_count=int(settings.get("least_count", 3)),
        most_rsd_pct=settings.get("most_rsd_pct", 0.5),
        most_change_pct=settings.get("most_change_pct", 5.0),
    )
    return Judged(
        "pump_factor",
        factor.factor,
        "1",
        None,
        Verdict.FAIL if factor.reasons else Verdict.PASS,
        tuple(factor.reasons),
        {"true_value": true_value, "found": list(found), "rsd_pct": factor.rsd_pct},
    )


def check(
    value: float, unit: str, quantity: str, *, earlier: Sequence[float], limits: Limits | None, rule_set: str
) -> Judged:
    """Return the verdict of the rules on a control value after the earlier ones of its limit set.

    Without a limit set it is not evaluated, which never counts as a pass.
    """
    if limits is None:
        reason = "there is no limit set for this material and quantity"
        return not_evaluated(quantity, unit, reason)._replace(value=value)
    series = [*earlier[-LONGEST_CHART + 1 :], value]
    scores = standard_scores(series, limits)
    judgement = judge(scores, rule_set)[-1]
    reasons = tuple(
        f"{hit.rule.id}: {hit.rule.definition}; usually {hit.rule.causes}" for hit in judgement.hits
    )
    return Judged(
        quantity,
        value,
        unit,
        None,
        judgement.verdict,
        reasons,
        {
            "score": float(scores[-1]),
            "centre": limits.centre,
            "sd": limits.s,
            "rule_set": judgement.rule_set,
            "values_judged_with": len(series) - 1,
        },
    )


def not_evaluated(quantity: str, unit: str, why: str) -> Judged:
    """Return the record of a check that could not be judged; it never counts as a pass."""
    return Judged(quantity, None, unit, None, Verdict.NOT_EVALUATED, (why,), {})
