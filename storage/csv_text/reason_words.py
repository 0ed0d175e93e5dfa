"""Reasons that are kept as JSON, as a cell shows them: codes or words with semicolons between."""

from typing import Any

from sqlalchemy import Text
from sqlalchemy.ext.compiler import compiles
from sqlalchemy.sql.functions import FunctionElement


class reason_words(FunctionElement[str]):  # noqa: N801 - reads as a function of the database
    """The codes of a list of objects, or the words of a list of texts; NULL for an empty list and for NULL.

    It says what `storage.sheets.wording.reason_codes` says, where the database writes the cell.
    """

    type = Text()
    inherit_cache = True
    name = "reason_words"


@compiles(reason_words)
def _by_elements(element: Any, compiler: Any, **options: Any) -> str:
    kept = compiler.process(element.clauses, **options)
    word = "CASE json_typeof(one) WHEN 'object' THEN one ->> 'code' ELSE one #>> '{}' END"
    each = f"json_array_elements(CAST(({kept}) AS json)) AS one"
    return f"(SELECT string_agg({word}, '; ') FROM {each})"  # noqa: S608 - the compiler's own text


@compiles(reason_words, "sqlite")
def _by_each(element: Any, compiler: Any, **options: Any) -> str:
    kept = compiler.process(element.clauses, **options)
    word = "CASE one.type WHEN 'object' THEN json_extract(one.value, '$.code') ELSE one.value END"
    return f"(SELECT group_concat({word}, '; ') FROM json_each({kept}) AS one)"  # noqa: S608 - the same
