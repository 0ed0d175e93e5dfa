"""The different values of an indexed column, found by leaps: a walk costs as many seeks as there are values.

``SELECT DISTINCT`` would read every row of the table on both databases.
"""

from typing import Any

from sqlalchemy import ColumnElement, Select, func, select


def distinct(column: ColumnElement[Any], *conditions: ColumnElement[bool]) -> Select[Any]:
    """Return the query for the different values of `column`, ascending.

    Parameters
    ----------
    column : ColumnElement
        Never NULL; with the columns of the conditions before it, the beginning of an index.
    *conditions : ColumnElement
        Each sets a column before it in the index equal to a value.
    """
    least = select(func.min(column).label("value")).where(*conditions)
    walk = least.cte("walk", recursive=True)
    following = select(func.min(column)).where(*conditions, column > walk.c.value).scalar_subquery()
    walk = walk.union_all(select(following).where(walk.c.value.is_not(None)))
    return select(walk.c.value).where(walk.c.value.is_not(None))
