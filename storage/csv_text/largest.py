"""The largest of several values, under the name that each database gives that function."""

from typing import Any

from sqlalchemy import BigInteger
from sqlalchemy.ext.compiler import compiles
from sqlalchemy.sql.functions import FunctionElement


class largest(FunctionElement[int]):  # noqa: N801 - reads as a function of the database
    """The largest of its arguments; NULL among them makes it NULL in SQLite, so give none."""

    type = BigInteger()
    inherit_cache = True
    name = "largest"


@compiles(largest)
def _as_greatest(element: Any, compiler: Any, **options: Any) -> str:
    return f"greatest({compiler.process(element.clauses, **options)})"


@compiles(largest, "sqlite")
def _as_max(element: Any, compiler: Any, **options: Any) -> str:
    return f"max({compiler.process(element.clauses, **options)})"
