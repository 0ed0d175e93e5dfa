"""Fuzz for as long as is asked: ``python -m tests.fuzz [SECONDS [SEED]]``."""

import random
import sys
import tempfile
from pathlib import Path

from tests.fuzz.served import fuzz, served

LONG_S = 900


def main() -> int:
    """Fuzz, say what was found, and return 1 if there was something."""
    length_s = sys.argv[1] if len(sys.argv) > 1 else str(LONG_S)
    seed = sys.argv[2] if len(sys.argv) > 2 else str(random.SystemRandom().randrange(2**32))
    with tempfile.TemporaryDirectory() as folder, served(Path(folder)) as address:
        code, said, _ = fuzz(address, Path(folder), "--max-time", length_s, "--seed", seed, "-n", "100")
    print(said)
    print(f"seed {seed}, exit code {code}; the same again: python -m tests.fuzz {length_s} {seed}")
    return min(code, 1)


if __name__ == "__main__":
    sys.exit(main())
