"""Triggers that somebody took away are made anew at the start, and the ledger says so."""

import structlog
from sqlalchemy import Engine
from sqlalchemy.exc import DatabaseError

from storage.guards import guard_faults, make_guards
from storage.ledger import ActorKind, Head
from storage.recovery import DAEMON
from storage.transaction import Statements, Transaction
from storage.trouble import in_words

log = structlog.get_logger()


def with_guards(engine: Engine, chain: Head, at_us: int, statements: Statements) -> Head:
    """Make the triggers of a store anew if one is missing, altered or foreign; return the chain after that.

    Where this account may not do it, the store is used as it is, and the log says what is wrong.
    """
    with engine.begin() as connection:
        faults = guard_faults(connection)
    if not faults:
        return chain
    log.error("store.guards_wanting", faults=faults, advice="find out who changed the store's triggers")
    try:
        with engine.begin() as connection:
            make_guards(connection)
            tx = Transaction(connection, chain, statements)
            tx.enter(
                "guards.made_anew",
                at_us=at_us,
                actor=DAEMON,
                actor_kind=ActorKind.DAEMON,
                rows={},
                reason="; ".join(faults),
            )
            tx.flush()
            return tx.head
    except DatabaseError as error:
        log.error("store.guards_not_made", why=in_words(error))  # noqa: TRY400 - told in words
        return chain
