"""Which address the dashboard listens on in; who is let in there, and the address that phones use, out.

Three doors. `alone`: the address reaches this machine only, and whoever sits at it is trusted. `passcode`: an address
of the club's own network (private by RFC 1918 or RFC 4193), where everyone signs in with a passcode. `log-in`: OpenID
Connect, for every address once it is set up. Any other address without log-in is refused: there is no fourth door.
"""

from __future__ import annotations

import contextlib
import ipaddress
import socket
from pathlib import Path

from pipeline.store.errors import StoreError
from pipeline.store.whole_files import write_whole

ALONE, PASSCODE, LOG_IN = "alone", "passcode", "log-in"
LOOPBACK = "127.0.0.1"
USUAL_PORT = 8501
SERVED_NAME = "address.txt"
_NOWHERE = "192.0.2.1"  # a documentation address (RFC 5737): asking for the way there sends nothing


def is_loopback(address: str) -> bool:
    """Whether only this machine reaches a server that listens on this address or name."""
    if address == "localhost":
        return True
    try:
        return ipaddress.ip_address(address).is_loopback
    except ValueError:
        return False


def is_own_network(address: str | None) -> bool:
    """Whether an address belongs to a private network or to this machine; no address, or no number, is not."""
    try:
        known = ipaddress.ip_address((address or "").split("%")[0])
    except ValueError:
        return False
    mapped = getattr(known, "ipv4_mapped", None)
    known = mapped or known
    return known.is_private and not known.is_unspecified


def door_of(address: str | None, has_log_in: bool) -> str:
    """The door that belongs to a server listening on `address` (None: on every address of the machine).

    Raises `StoreError` where nobody may be let in: an address that others than the club's network reach, without
    log-in.
    """
    if has_log_in:
        return LOG_IN
    if address is not None and is_loopback(address):
        return ALONE
    if address is not None and is_own_network(address):
        return PASSCODE
    raise StoreError(
        f"{address or 'every address of this machine'} can be reached from outside the club's network: set up log-in "
        "first (racket-fleet log-in), or use serve --lan for the club's own network."
    )


def lan_address() -> str:
    """This machine's address in the network it is in; raises where it has none, or one that all the world reaches."""
    found = ""
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as probe, contextlib.suppress(OSError):
        probe.connect((_NOWHERE, 9))
        found = probe.getsockname()[0]
    if not found or is_loopback(found):
        raise StoreError("this machine is in no network: connect it to the club's, or name its address with --listen.")
    if not is_own_network(found):
        raise StoreError(
            f"this machine's address {found} is not a private one, so all the world could try its passcodes: "
            "put it behind the club's router, or set up log-in (racket-fleet log-in)."
        )
    return found


def url_of(host: str, port: int, is_tls: bool = False) -> str:
    """The address that a browser asks for."""
    shown = f"[{host}]" if ":" in host else host
    return f"{'https' if is_tls else 'http'}://{shown}:{port}"


def note_address(folder: Path, url: str) -> None:
    """Keep the address that others use to reach this store's dashboard, for labels printed later.

    Raises where the folder cannot be written to.
    """
    try:
        write_whole(folder / SERVED_NAME, url + "\n")
    except OSError as error:
        raise StoreError(
            f"{folder} cannot be written to ({error.strerror or error}), so labels would not know the address: "
            "check its permissions."
        ) from error


def base_address(folder: Path) -> str:
    """Where a scanned label leads, without a slash at its end: the address last served to others, else this machine's.

    Example: http://192.168.1.20:8501.
    """
    try:
        kept = (folder / SERVED_NAME).read_text(encoding="ascii").strip().rstrip("/")
    except (OSError, UnicodeDecodeError):
        kept = ""
    return kept or url_of(LOOPBACK, USUAL_PORT)
