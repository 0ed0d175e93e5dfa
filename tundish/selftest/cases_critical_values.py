"""Published critical values: outlier tests and the range of replicates."""

from collections.abc import Iterator
from functools import partial
from itertools import chain
from typing import Final

from evaluate.duplicates import critical_range_factor
from evaluate.outliers import cochran_critical, grubbs_advice, grubbs_critical
from tundish.selftest.case import Case, Status
from tundish.selftest.tables import rows

_HANDBOOK: Final = "NIST/SEMATECH e-Handbook of Statistical Methods"


def cases() -> Iterator[Case]:
    """Yield every published critical value."""
    return chain(_grubbs_printed(), _grubbs_example(), _critical_values(), _range_factors())


def _grubbs_printed() -> Iterator[Case]:
    columns = {
        "seen_one_sided_5pct": (0.05, False),
        "seen_two_sided_5pct": (0.05, True),
        "seen_two_sided_1pct": (0.01, True),
    }
    for row in rows("qc/grubbs_critical_values.csv"):
        for name, (level, two_sided) in columns.items():
            if row[name]:
                yield Case(
                    f"grubbs.printed/{name.removeprefix('seen_')} n={row['n']}",
                    "critical value of Grubbs' test [1]",
                    "printed tables of Grubbs' test, as carried by public programs",
                    Status.PUBLISHED,
                    float(row[name]),
                    0.000_11,  # four decimals, some of them cut off
                    partial(grubbs_critical, int(row["n"]), level, two_sided=two_sided),
                )


def _grubbs_example() -> Iterator[Case]:
    source = f"{_HANDBOOK}, 1.3.5.17.1"
    path = "qc/nist_grubbs_uranium.csv"
    yield Case(
        "grubbs.uranium/G",
        "Grubbs' statistic of eight uranium measurements [1]",
        source,
        Status.PUBLISHED,
        2.4687,
        0.0001,
        lambda: grubbs_advice(float(row["x"]) for row in rows(path)).statistic,
    )
    yield Case(
        "grubbs.uranium/critical",
        "one-sided 5 % value for eight values [1]",
        source,
        Status.PUBLISHED,
        2.032,
        0.0005,
        lambda: grubbs_critical(8, 0.05, two_sided=False),
    )


def _critical_values() -> Iterator[Case]:
    for row in rows("qc/grubbs_critical_values.csv"):
        for sides in ("one", "two"):
            for per_cent in (5, 1):
                yield Case(
                    f"grubbs.computed/{sides}-sided {per_cent} % n={row['n']}",
                    "critical value of Grubbs' test [1]",
                    f"{_HANDBOOK}, 1.3.5.17.1, formula",
                    Status.COMPUTED,
                    float(row[f"{sides}_sided_{per_cent}pct"]),
                    0.000_051,
                    partial(grubbs_critical, int(row["n"]), per_cent / 100, two_sided=sides == "two"),
                )
    for row in rows("qc/cochran_critical_values.csv"):
        yield from _cochran_row(row)


def _cochran_row(row: dict[str, str]) -> Iterator[Case]:
    source = "ISO 5725-2:1994, clause 7.3.3, formula"
    for n in range(2, 7):
        for per_cent in (5, 1):
            find = partial(cochran_critical, int(row["p"]), n, per_cent / 100)
            what = f"Cochran's C for {row['p']} variances of {n} values, {per_cent} % [1]"
            cell = f"{per_cent} % p={row['p']} n={n}"
            expected = float(row[f"n{n}_{per_cent}pct"])
            yield Case(f"cochran.computed/{cell}", what, source, Status.COMPUTED, expected, 0.000_051, find)
            recalled = row.get(f"iso_n{n}_{per_cent}pct_memory")
            if recalled:
                table = "ISO 5725-2:1994, table 4, from memory"
                yield Case(
                    f"cochran.recalled/{cell}", what, table, Status.MEMORY, float(recalled), 0.000_51, find
                )


def _range_factors() -> Iterator[Case]:
    yield Case(
        "duplicates.r",
        "factor of the repeatability limit, r = 2.8 s_r [1]",
        "national notice 66/2003, article 23, quoting analysis rules of the European Union",
        Status.PUBLISHED,
        2.8,
        0.0,
        lambda: round(critical_range_factor(2), 1),
    )
    for row in rows("qc/replicate_range_factors.csv"):
        find = partial(critical_range_factor, int(row["n"]))
        what = f"critical range factor of {row['n']} replicates [1]"
        cell, formula, memory = (
            f"n={row['n']}",
            "ISO 5725-6:1994, clause 5.2, formula",
            "ISO 5725-6, from memory",
        )
        computed, printed = float(row["f_CR95"]), float(row["f_iso_memory"])
        yield Case(f"replicates.computed/{cell}", what, formula, Status.COMPUTED, computed, 0.000_051, find)
        yield Case(f"replicates.recalled/{cell}", what, memory, Status.MEMORY, printed, 0.051, find)
