"""Words that many instruments use, and what they usually mean. Each is a guess until somebody agrees."""

import re
from typing import Final

from acquire.events import Outcome

_TOKENS: Final[dict[Outcome, str]] = {
    Outcome.ABOVE_RANGE: (
        "over ovr ovfl overflow overrange over-range ovrng ol o.l. hi high ofl sat satd saturated max above"
    ),
    Outcome.BELOW_RANGE: (
        "under undr udr underflow underrange under-range undrng ul u.l. lo low ufl min below trace tr"
    ),
    Outcome.INSTRUMENT_ERROR: "err error fail failed fault bad bubble lamp leak hw alarm defect",
    Outcome.NOT_STABLE: "unst unstable unstab wait busy drift drifting settling noisy moving dyn warm warmup",
    Outcome.ABORTED: "abort aborted abrt stop stopped cancel cancelled canceled esc break",
    Outcome.NO_VALUE: (
        "na n/a n.a. nan nil none null nd n.d. n/d nv no_value noval no-data nodata empty blank missing void "
        "no invalid inv off skip nm n.m. k.a. leer"
    ),
}
_OUTCOME_BY_WORD: Final = {word: outcome for outcome, words in _TOKENS.items() for word in words.split()}
_SIGNS: Final = (
    (re.compile(r"[>^+/ ]*[>^]+[>^+/ ]*|\++"), Outcome.ABOVE_RANGE),
    (re.compile(r"<+|\\[_ ]+"), Outcome.BELOW_RANGE),
    (re.compile(r"[-–—_.,*?=~#x/ ]*", re.IGNORECASE), Outcome.NO_VALUE),
    (re.compile(r"(?:err|error|e|fault|fail)[-_ #.:]?[0-9]{1,4}", re.IGNORECASE), Outcome.INSTRUMENT_ERROR),
)

GOOD_CODES: Final = frozenset(
    {
        "ok",
        "good",
        "pass",
        "passed",
        "valid",
        "ready",
        "norm",
        "normal",
        "fine",
        "done",
        "0",
        "00",
        "000",
        "0000",
    }
)
"""Status codes under which a number stands."""

STABLE: Final = frozenset(
    {"s", "st", "stb", "stable", "stab", "*", "=", "ok", "r", "rdy", "ready", "fix", "final"}
)
DRIFTING: Final = frozenset(
    {"d", "us", "u", "un", "unst", "unstable", "drift", "?", "~", "..", "...", "m", "mov", "moving", "dyn"}
)
COUNTER_LABELS: Final = frozenset(
    {"no", "no.", "nr", "nr.", "n", "n°", "#", "seq", "seq.", "sequence", "run", "count", "cnt", "counter"}
    | {"idx", "index", "num", "number", "rec", "record", "entry", "line", "meas", "id no", "lfd", "lfd. nr."}
)
SAMPLE_LABELS: Final = re.compile(
    r"sample|probe|échantillon|echantillon|muestra|campione|lot\b|batch|tank|vessel|barrel|\bid\b|vial|smp|specimen|"
    r"\btag\b|\bref\b|bottle|\bwine\b|charge",
    re.IGNORECASE,
)

_QUANTITY_WORDS: Final[tuple[tuple[str, str], ...]] = (
    (
        r"free.*(so2|sulf|sulph)|(so2|sulf|sulph).*(free|frei|libre)|\bf-?so2\b|freie.*(so2|schwef)|so2 ?f\b",
        "free_so2",
    ),
    (r"total.*(so2|sulf|sulph)|(so2|sulf|sulph).*(tot|gesamt)|\bt-?so2\b|gesamt.*so2|so2 ?t\b", "total_so2"),
    (r"(comb|bound|gebunden).*so2|so2.*(comb|bound|geb)", "combined_so2"),
    (r"molec.*so2|so2.*mol", "molecular_so2"),
    (r"(ta|acid|säure|acidit)\W*(to )?(ph)?\W*8[.,]2|acid.*8[.,]2", "ta_ph_8_2"),
    (r"(ta|acid|säure|acidit)\W*(to )?(ph)?\W*7[.,]0|acid.*7[.,]0", "ta_ph_7_0"),
    (r"vol(atile)?\W*acid|\bva\b|flücht", "va"),
    (r"malic|malat|äpfel", "malic_acid"),
    (r"lactic|lactat|milchs", "lactic_acid"),
    (r"gluc|fruct|\bg ?\+ ?f\b|residual.*sugar|\brs\b", "glucose_fructose"),
    (r"formol|\byan\b|nitrogen|\bn-?opa\b", "yan_formol"),
    (r"slope|steil", "electrode_slope"),
    (r"(^|\W)ph(\W|$|[0-9_])|^ph", "ph"),
    (r"temp|^t$|^tmp|^t[0-9]?$|^ta?mb", "temperature"),
    (r"turb|trüb|\bntu\b|haze", "turbidity"),
    (r"cond|leitf|leitw|\bec\b|kappa", "conductivity"),
    (r"dens|dicht|\brho\b|\bsg\b|grav", "density"),
    (r"brix|\bbx\b|soluble", "brix"),
    (r"alc|alk|\babv\b|ethanol|etoh", "alcohol"),
    (r"oxygen|sauerst|\bdo2?\b|\bo2\b|diss", "dissolved_oxygen"),
    (r"mass|weigh|gewicht|\bnet\b|netto|\bwt\b|\bgross\b|poids|peso", "mass"),
    (r"redox|\borp\b|potential|\bmv\b|\bemf\b|\beh\b", "potential"),
    (r"current|strom|\bi\b", "current"),
    (r"titrant.*str|\bnormality\b|\bmolarity\b", "titrant_strength"),
    (r"vol|\bml\b|dispens|verbrauch", "dispensed_volume"),
    (r"elapsed|duration|dauer|\bsec(onds)?\b", "duration"),
)
_QUANTITY_PATTERNS: Final = tuple((re.compile(text, re.IGNORECASE), code) for text, code in _QUANTITY_WORDS)

QUANTITY_BY_DIMENSION: Final = {
    "ph": "ph",
    "potential": "potential",
    "current": "current",
    "temperature": "temperature",
    "time": "duration",
    "volume": "dispensed_volume",
    "mass": "mass",
    "density": "density",
    "brix": "brix",
    "alcohol": "alcohol",
    "turbidity": "turbidity",
    "conductivity": "conductivity",
    "nitrogen_concentration": "yan_formol",
    "electrode_sensitivity": "electrode_sensitivity",
}
"""What a number usually is whose unit has a dimension; dimensions of several quantities are left out."""

UNIT_SPELLINGS: Final = {
    "°c": "°C",
    "grad c": "°C",
    "gradc": "°C",
    "celsius": "°C",
    "ºc": "°C",
    "mg/l so2": "mg/L",
    "mg so2/l": "mg/L",
    "mgl": "mg/L",
    "ms": "mS/cm",
    "us": "µS/cm",
    "µs": "µS/cm",
    "fnu": "NTU",
    "ph": "pH",
    "seconds": "s",
    "g/ccm": "g/mL",
    "vol%": "% vol",
    "vol.%": "% vol",
    "%abv": "% vol",
    "%alc": "% vol",
}
"""Spellings beyond those of `evaluate.units`, in lower case."""


def outcome_of_word(text: str) -> Outcome | None:
    """Return what a text usually means in place of a number; None if nobody knows."""
    folded = text.strip().casefold()
    bare = folded.strip("*<>()[]!+-# ")
    for word in (folded, bare):
        if word in _OUTCOME_BY_WORD:
            return _OUTCOME_BY_WORD[word]
    return next((outcome for pattern, outcome in _SIGNS if pattern.fullmatch(folded)), None)


def quantity_of_label(label: str) -> str | None:
    """Return the quantity that a label usually names; None if it names none."""
    words = label.replace("_", " ").strip()
    return next((code for pattern, code in _QUANTITY_PATTERNS if pattern.search(words)), None)


def is_sample_label(label: str) -> bool:
    """Tell whether a label usually stands at a sample."""
    return SAMPLE_LABELS.search(label.replace("_", " ")) is not None


def is_counter_label(label: str) -> bool:
    """Tell whether a label usually stands at a counter."""
    return label.strip(" :=").casefold() in COUNTER_LABELS
