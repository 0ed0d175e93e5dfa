"""Where the network is served: with keys and TLS, unless the file says loudly that it shall be without."""

from ipaddress import IPv4Address, IPv6Address, ip_address
from typing import Self

from pydantic import Field, field_validator, model_validator

from tundish.line_config import Part


class NetworkConfig(Part):
    """A second address for the same pages, sheets and routes; whoever comes by it needs a key."""

    host: str
    """An address of this machine; ``0.0.0.0`` or ``::`` for all of them."""
    port: int = Field(default=8711, ge=1, le=65535)
    names: tuple[str, ...] = ()
    """By which it is called in the Host header, beside the address itself."""
    cert_file: str | None = None
    """The certificate with those that sign it (PEM); a relative path counts from the configuration file."""
    key_file: str | None = None
    """Its private key (PEM), without a password."""
    without_tls: bool = False
    """Whether keys and numbers may be read on their way; for a proxy on this machine that does TLS."""
    without_keys: bool = False
    """Whether everybody on the network may read and change everything without a key."""

    @field_validator("host")
    @classmethod
    def _is_an_address(cls, host: str) -> str:
        try:
            ip_address(host)
        except ValueError:
            raise ValueError(
                f"wants an address of this machine such as 192.0.2.10, or 0.0.0.0 for all (got {host!r}); "
                "names by which it is called stand in names"
            ) from None
        return host

    @model_validator(mode="after")
    def _is_protected_or_says_loudly_that_it_is_not(self) -> Self:
        if (self.cert_file is None) != (self.key_file is None):
            raise ValueError("wants cert_file and key_file together")
        if self.cert_file is None and not self.without_tls:
            raise ValueError(
                "is refused without TLS: whoever listens in would read the keys. Give cert_file and "
                "key_file, or, behind a proxy that does it, without_tls = true"
            )
        if self.cert_file is not None and self.without_tls:
            raise ValueError("has a certificate and says without_tls; leave one of them out")
        if self._address.is_unspecified and not self.names:
            raise ValueError("serves every address of this machine: give the names it is called by in names")
        return self

    @property
    def _address(self) -> IPv4Address | IPv6Address:
        return ip_address(self.host)

    @property
    def url(self) -> str:
        """Where it serves, as a URL without a path."""
        scheme = "https" if self.cert_file else "http"
        return f"{scheme}://{self._host_in_urls}:{self.port}"

    @property
    def host_names(self) -> tuple[str, ...]:
        """What the Host header may say."""
        return self.names if self._address.is_unspecified else (self._host_in_urls, *self.names)

    @property
    def _host_in_urls(self) -> str:
        return f"[{self.host}]" if self._address.version == 6 else self.host
