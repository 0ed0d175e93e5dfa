"""Results with everything they stood on, their standing, their release and their amendments."""

from typing import Final

from sqlalchemy import Column, Index, Table

from storage.columns import real
from storage.schema.makers import brought_by, count, metadata, moment, numeral, one_of, refers, words

result: Final = Table(
    "result",
    metadata,
    brought_by(),
    count("sample_id", nullable=True),
    count("item_id", nullable=True),
    words("quantity"),
    count("method_id"),
    count("method_version"),
    words("instrument", nullable=True),
    moment("at_us"),
    words("outcome"),
    numeral("value_numeral"),
    Column("value", real(), nullable=True),
    words("unit"),
    words("basis", nullable=True),
    words("end_point", nullable=True),
    Column("uncertainty", real(), nullable=True),
    words("formula"),
    words("inputs"),
    count("run_id", nullable=True),
    count("replicate_of", nullable=True),
    count("hand"),
    words("software_version"),
    words("source", nullable=True),
    one_of("outcome", "value", "above_range", "below_range", "no_value"),
    Index(None, "sample_id", "quantity"),
    Index(None, "method_id", "at_us"),
    Index(None, "quantity", "at_us"),
    Index(None, "instrument", "at_us"),
    sqlite_strict=True,
)
"""An evaluated number for one sample, quantity and method; its number is its id. `formula` is id and version
of the formula, `inputs` canonical JSON of every named input, so that the value can be computed again."""

result_input: Final = Table(
    "result_input",
    metadata,
    refers("number", "ledger.number", key=True),
    count("ordinal", key=True),
    count("result_id"),
    count("version"),
    words("role"),
    words("source"),
    count("source_id"),
    count("source_version", nullable=True),
    one_of("source", "reading", "record", "control_record", "result", "run"),
    Index(None, "result_id", "version"),
    Index(None, "source", "source_id"),
    sqlite_strict=True,
    sqlite_with_rowid=False,
)
"""What a version of a result stood on."""

standing: Final = Table(
    "standing",
    metadata,
    refers("number", "ledger.number", key=True),
    count("ordinal", key=True),
    count("result_id"),
    words("standing"),
    words("reasons"),
    one_of("standing", "good", "provisional", "look_again", "do_not_use"),
    Index(None, "result_id", "number"),
    sqlite_strict=True,
    sqlite_with_rowid=False,
)
"""Whether a result may be used, from this entry on; `reasons` is a JSON list of codes with their evidence."""

release: Final = Table(
    "release",
    metadata,
    refers("number", "ledger.number", key=True),
    count("ordinal", key=True),
    count("result_id"),
    words("mark"),
    one_of("mark", "released", "withdrawn", "rejected"),
    Index(None, "result_id", "number"),
    sqlite_strict=True,
    sqlite_with_rowid=False,
)
"""Whether a result is given to readers, from this entry on; a mark of its own beside standing."""

amendment: Final = Table(
    "amendment",
    metadata,
    brought_by(),
    words("kind"),
    words("scope"),
    count("expected_items"),
    one_of("kind", "titrant", "aliquot", "sample", "driver", "value", "blank"),
    sqlite_strict=True,
)
"""A later, reasoned change of results; `scope` is canonical JSON of what was asked; its number is its id."""

amendment_item: Final = Table(
    "amendment_item",
    metadata,
    refers("number", "ledger.number", key=True),
    count("ordinal", key=True),
    refers("amendment_id", "amendment.number"),
    count("result_id"),
    count("version"),
    count("sample_id", nullable=True),
    words("outcome"),
    numeral("value_numeral"),
    Column("value", real(), nullable=True),
    words("unit"),
    Column("uncertainty", real(), nullable=True),
    words("formula"),
    words("inputs"),
    Index("uq_amendment_item_result_id_version", "result_id", "version", unique=True),
    Index(None, "amendment_id", "number", "ordinal"),
    sqlite_strict=True,
    sqlite_with_rowid=False,
)
"""The value of one result under an amendment; it holds only while the amendment is in force."""

amendment_state: Final = Table(
    "amendment_state",
    metadata,
    brought_by(),
    refers("amendment_id", "amendment.number"),
    words("state"),
    one_of("state", "in_force", "undone", "abandoned"),
    Index(None, "amendment_id", "number"),
    sqlite_strict=True,
)
"""One row makes a staged amendment current, or takes it back."""

APPEND_ONLY: Final[tuple[Table, ...]] = (
    result,
    result_input,
    standing,
    release,
    amendment,
    amendment_item,
    amendment_state,
)
