"""What happens to the wine: movements, additions, and the numbers of other laboratories."""

from typing import Final

from sqlalchemy import Column, Index, Table

from storage.columns import real
from storage.schema.makers import brought_by, count, metadata, moment, numeral, one_of, refers, words

movement: Final = Table(
    "movement",
    metadata,
    brought_by(),
    moment("at_us"),
    words("kind"),
    count("to_lot_id"),
    count("to_vessel_id", nullable=True),
    words("note"),
    one_of("kind", "fill", "rack", "blend", "top", "bottle", "loss"),
    Index(None, "to_lot_id"),
    sqlite_strict=True,
)
"""Wine went somewhere; its number is its id."""

movement_part: Final = Table(
    "movement_part",
    metadata,
    refers("number", "ledger.number", key=True),
    count("ordinal", key=True),
    count("from_lot_id", nullable=True),
    count("from_vessel_id", nullable=True),
    Column("volume_l", real(), nullable=False),
    Index(None, "from_lot_id"),
    sqlite_strict=True,
    sqlite_with_rowid=False,
)
"""What it was made of. [L]"""

addition: Final = Table(
    "addition",
    metadata,
    brought_by(),
    count("lot_id"),
    count("vessel_id", nullable=True),
    count("substance_id"),
    words("quantity"),
    words("plan"),
    Index(None, "lot_id"),
    sqlite_strict=True,
)
"""An addition was planned; `plan` is canonical JSON of every input and figure; its number is its id."""

addition_step: Final = Table(
    "addition_step",
    metadata,
    brought_by(),
    refers("addition_id", "addition.number"),
    words("step"),
    moment("at_us"),
    Column("mass_g", real(), nullable=True),
    count("reading_id", nullable=True),
    words("details"),
    one_of("step", "weighed", "done", "cancelled", "judged"),
    Index(None, "addition_id", "number"),
    sqlite_strict=True,
)
"""What became of a planned addition. [g]"""

outside_result: Final = Table(
    "outside_result",
    metadata,
    brought_by(),
    words("source"),
    words("alias"),
    count("lot_id", nullable=True),
    count("sample_id", nullable=True),
    count("reading_id", nullable=True),
    moment("at_us"),
    words("quantity"),
    words("outcome"),
    numeral("value_numeral"),
    Column("value", real(), nullable=True),
    words("unit"),
    Column("uncertainty", real(), nullable=True),
    words("method"),
    one_of("outcome", "value", "above_range", "below_range", "no_value"),
    Index(None, "lot_id", "quantity"),
    Index(None, "source", "alias"),
    sqlite_strict=True,
)
"""A number of another laboratory, kept apart by its source, under the name that it used."""

APPEND_ONLY: Final[tuple[Table, ...]] = (movement, movement_part, addition, addition_step, outside_result)
