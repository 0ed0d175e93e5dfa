"""A transaction that breaks in the middle of something, as a fault of ours would."""

from typing import Any, cast

from storage.transaction import Transaction


class _Breaking:
    def __init__(self, tx: Transaction, action: str, error: Exception) -> None:
        self._tx = tx
        self._action = action
        self._error = error

    def __getattr__(self, name: str) -> Any:
        return getattr(self._tx, name)

    def enter(self, action: str, **more: Any) -> int:
        if action == self._action:
            self._action = ""
            raise self._error
        return self._tx.enter(action, **more)


def breaking(tx: Transaction, action: str, error: Exception | None = None) -> Transaction:
    """Return a transaction that raises the first time that an action would be entered."""
    return cast("Transaction", _Breaking(tx, action, error or ArithmeticError(f"broke before {action}")))
