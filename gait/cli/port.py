"""Where the page is: the usual port or the next free one, and the address a phone can open."""

from __future__ import annotations

import contextlib
import errno
import os
import socket
import sys

from gait.errors import GaitError

USUAL_PORT = 8614
NEXT_TRIED = 20
CARD_ADDRESS = 0x8915
"""Linux's SIOCGIFADDR: which address has this network card?"""


def page_port(address: str, wanted: int | None) -> int:
    """Return the port to serve the page on.

    Parameters
    ----------
    address : str
        The page's address on this computer.
    wanted : int or None
        The port asked for; None for the usual one, or the next free one after it: another farm's
        page may be open.

    Raises
    ------
    GaitError
        If the port asked for cannot be had, or none of those tried.
    """
    if wanted is not None:
        if not _is_free(address, wanted):
            raise GaitError(
                f"The page cannot be served on port {wanted}; perhaps an open page uses it.",
                "Stop that one (Ctrl-C in its window), or leave --port out to get a free one.",
            )
        return wanted
    for port in range(USUAL_PORT, USUAL_PORT + NEXT_TRIED):
        if _is_free(address, port):
            return port
    raise GaitError(
        f"The page cannot be served on {address}, ports {USUAL_PORT} to {port}.",
        "Close pages that are still open.",
    )


def network_addresses(address: str) -> list[str]:
    """Return the addresses under which phones in the farm's network find the page.

    Parameters
    ----------
    address : str
        The address served; ``0.0.0.0``, ``::`` and none at all stand for all of this computer's.

    Returns
    -------
    list of str
        Empty when this computer is in no network.
    """
    if address not in ("0.0.0.0", "::", ""):
        return [address]
    try:
        found = _of_linux() if sys.platform == "linux" else _of_own_name()
    except OSError:
        return []
    return [own for own in found if not own.startswith("127.")]


def _of_linux() -> list[str]:
    """Ask the system for each network card's address; looking up the own name might ask others."""
    import fcntl

    found = []
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as asking:
        for _, card in socket.if_nameindex():
            with contextlib.suppress(OSError):  # a card without an address
                told = fcntl.ioctl(
                    asking.fileno(), CARD_ADDRESS, card.encode()[:15].ljust(256, b"\0")
                )
                found.append(socket.inet_ntoa(told[20:24]))
    return found


def _of_own_name() -> list[str]:
    return socket.gethostbyname_ex(socket.gethostname())[2]


def _is_free(address: str, port: int) -> bool:
    """Tell whether a server could listen there, as far as the port goes."""
    family = socket.AF_INET6 if ":" in address else socket.AF_INET
    with socket.socket(family, socket.SOCK_STREAM) as trial:
        if os.name != "nt":  # there it would let two servers share a port
            trial.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        try:
            trial.bind((address, port))
        except OverflowError:  # there is no such port
            return False
        except OSError as problem:  # of an address that cannot be had the page itself tells
            return problem.errno not in (errno.EADDRINUSE, errno.EACCES)
    return True
