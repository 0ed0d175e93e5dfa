"""Taking the address before anything else starts."""

import socket

import pytest

from tundish.errors import AddressError
from tundish.web import bind


def test_a_free_port_is_taken() -> None:
    with bind("127.0.0.1", 0) as listener:
        assert listener.getsockname()[1] > 0


def test_a_taken_port_says_so_and_what_to_do() -> None:
    with bind("127.0.0.1", 0) as first:
        first.listen()
        port = first.getsockname()[1]
        with pytest.raises(
            AddressError, match=f"port {port} of 127.0.0.1 is taken .* choose another with api.port"
        ):
            bind("127.0.0.1", port)


def test_an_address_that_is_not_ours_is_refused_in_words() -> None:
    with pytest.raises(AddressError, match="cannot be had"):
        bind("192.0.2.1", 0)  # a documentation address, RFC 5737


@pytest.mark.skipif(not socket.has_ipv6, reason="no IPv6 on this machine")
def test_the_loopback_address_may_be_of_version_6() -> None:
    with bind("::1", 0) as listener:
        assert listener.family is socket.AF_INET6
