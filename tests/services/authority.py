"""An authority of the tests' own, which gives certificates to brokers on this machine; made with openssl."""

import subprocess
from pathlib import Path

_CURVE = "ec -pkeyopt ec_paramgen_curve:prime256v1"


class Authority:
    """Vouches for whom it gave a certificate, and for nobody else."""

    def __init__(self, folder: Path, name: str) -> None:
        folder.mkdir(parents=True, exist_ok=True)
        self._folder = folder
        self.file = folder / "ca.pem"
        """What those need who are to trust it."""
        self._key = folder / "ca.key"
        _openssl(
            f"req -x509 -newkey {_CURVE} -nodes -days 2 -subj /CN={name} -out {self.file} -keyout {self._key}"
        )

    def certificate(self, address: str = "127.0.0.1") -> tuple[Path, Path]:
        """Return certificate and key of a server at an address."""
        certificate, key, wish = (self._folder / f"server.{kind}" for kind in ("pem", "key", "csr"))
        names = self._folder / "names"
        names.write_text(f"subjectAltName=IP:{address}\n", encoding="utf-8")
        _openssl(f"req -newkey {_CURVE} -nodes -subj /CN={address} -out {wish} -keyout {key}")
        _openssl(
            f"x509 -req -in {wish} -out {certificate} -days 2 -extfile {names} "
            f"-CA {self.file} -CAkey {self._key} -CAcreateserial"
        )
        return certificate, key


def _openssl(words: str) -> None:
    subprocess.run(["openssl", *words.split()], check=True, capture_output=True)
