"""The script a user would write without us: a thread a port, readline, one commit a row.

Run as ``python -m tests.benchmarks.plain_script STORE JOURNAL PORT…``; JOURNAL is ``default`` or ``WAL``.
It stops when its standard input closes. It is the baseline of the sustained rate: no captures, no frames, no
ledger, only the numbers.
"""

import sqlite3
import sys
import threading

import serial


def keep_rows(port: str, database: sqlite3.Connection, lock: threading.Lock) -> None:
    """Read lines for ever and commit each as a row."""
    with serial.Serial(port, 115200, timeout=1) as line:
        while True:
            text = line.readline().decode("ascii", "replace").strip()
            parts = text.split("|")
            if len(parts) != 4:
                continue
            with lock:
                database.execute("INSERT INTO row VALUES (?, ?, ?)", (port, parts[1], float(parts[2])))
                database.commit()


def main(store: str, journal: str, ports: list[str]) -> None:
    """Start a thread a port and wait for the end of standard input."""
    database = sqlite3.connect(store, check_same_thread=False)
    if journal != "default":
        database.execute(f"PRAGMA journal_mode={journal}")
    database.execute("PRAGMA synchronous=FULL")
    database.execute("CREATE TABLE row (port TEXT, sequence TEXT, value REAL)")
    lock = threading.Lock()
    for port in ports:
        threading.Thread(target=keep_rows, args=(port, database, lock), daemon=True).start()
    sys.stdin.read()


if __name__ == "__main__":
    main(sys.argv[1], sys.argv[2], sys.argv[3:])
