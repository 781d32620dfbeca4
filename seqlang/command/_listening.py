"""Why a page's socket cannot be had, in words, and what would pass."""

from __future__ import annotations

import errno
import ipaddress
import socket
from contextlib import suppress
from typing import Final

from seqlang.command import WrongUse

LOOPBACK: Final = "127.0.0.1"

_TAKEN: Final = frozenset({errno.EADDRINUSE, getattr(errno, "WSAEADDRINUSE", errno.EADDRINUSE)})
_KEPT: Final = frozenset({errno.EACCES, errno.EPERM, getattr(errno, "WSAEACCES", errno.EACCES)})
_FIRST_FREE: Final = 1024
"""Common practice: systems keep the numbers below for themselves."""


def own_addresses() -> list[str]:
    """Addresses of this computer in networks, the one towards other networks first."""
    import ifaddr

    found: list[str] = []
    with suppress(OSError), socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as probe:
        probe.connect(("192.0.2.1", 9))  # RFC 5737: no such host; connecting sends nothing
        found.append(probe.getsockname()[0])
    for adapter in ifaddr.get_adapters():
        found += [str(each.ip) for each in adapter.ips if each.is_IPv4]
    return [each for each in dict.fromkeys(found) if not each.startswith(("127.", "169.254."))]


def must_be_own(address: str) -> None:
    """WrongUse for what is no address, and for one that this computer has in no network."""
    try:
        read = ipaddress.IPv4Address(address)
    except ValueError:
        raise WrongUse(
            f"--address wants an address of this computer; found `{address}`; {_has()}"
        ) from None
    if read.is_unspecified:
        raise WrongUse(f"--address names one network, and {address} is all of them: use --open")
    if not (read.is_loopback or address in own_addresses()):
        raise WrongUse(f"this computer does not have the address {address}; {_has()}")


def no_socket(error: OSError, host: str, number: int) -> WrongUse:
    """What is wrong with a socket that the system did not give."""
    if error.errno in _TAKEN:
        return WrongUse(
            f"another program listens at number {number} already; leave out --number, which takes "
            "any free one, or choose another"
        )
    if error.errno in _KEPT:
        below = (
            f"; numbers below {_FIRST_FREE} are the system's own" if number < _FIRST_FREE else ""
        )
        return WrongUse(
            f"this user may not listen at number {number}{below}; leave out --number, which takes "
            "any free one"
        )
    if error.errno == errno.EADDRNOTAVAIL:
        return WrongUse(f"this computer does not have the address {host}; {_has()}")
    why = (error.strerror or str(error)).lower()
    return WrongUse(f"nobody can listen at {host}, number {number} ({why}); leave out --number")


def _has() -> str:
    others = own_addresses()
    if not others:
        return f"it is in no network: only {LOOPBACK} is left, which other computers cannot reach"
    return f"it has {', '.join(others)}"
