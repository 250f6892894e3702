"""OpenID Connect: the club's provider written down for Streamlit's own log-in, and who the claims of a token are
here.

In: the provider's address, this club's client id and secret there, the address of the dashboard; club.toml's [roles]
as the list of who may come in. Out: `secrets.toml` in the store's folder (never in the project's), readable by its
owner alone, with a cookie secret drawn here; and a `Person`, or None for somebody who is not on the list. A log-in
says only who somebody is: the list is read again on every run of a page, so whoever is struck from it is out at once.
"""

from __future__ import annotations

import json
import secrets
import tomllib
from collections.abc import Mapping
from pathlib import Path
from urllib.parse import urlsplit

from pipeline.access.listening import is_loopback
from pipeline.store.errors import StoreError
from pipeline.store.people import LOCAL, Person, require
from pipeline.store.whole_files import write_whole

SECRETS_NAME = "secrets.toml"
CALLBACK = "/oauth2callback"
WELL_KNOWN = "/.well-known/openid-configuration"  # OpenID Connect Discovery 1.0, section 4
COOKIE_SECRET_BYTES = 48


def has_log_in(folder: Path) -> bool:
    """Log-in has been set up for this store."""
    return (folder / SECRETS_NAME).exists()


def _checked(url: str, what: str) -> str:
    """An address over TLS, or on this machine, without a slash at its end."""
    parts = urlsplit(url.strip())
    try:
        host = parts.hostname or ""
        _ = parts.port
    except ValueError:
        host = ""
    if parts.scheme not in ("http", "https") or not host or parts.query or parts.fragment or parts.username:
        raise StoreError(f"{what} {url!r} is not an address such as https://sign-in.example.org: write it out in full.")
    if parts.scheme == "http" and not is_loopback(host):
        raise StoreError(
            f"{what} {url!r} is without TLS, so a log-in could be read on its way: give an https:// address."
        )
    return url.strip().rstrip("/")


def set_up(folder: Path, provider: str, client_id: str, client_secret: str, address: str, by: Person = LOCAL) -> Path:
    """Write secrets.toml for one provider; the path.

    The cookie secret is drawn anew, so everybody has to sign in again.

    Raises for an address without TLS or a value that is missing, and NotAllowedError unless `by` may say who comes in.
    `provider` is the issuer's address, with or without its well-known part; `address` that of the dashboard as people
    reach it.
    """
    require(by, "people")
    issuer = _checked(provider.strip().removesuffix(WELL_KNOWN), "the provider")
    base = _checked(address.strip().removesuffix(CALLBACK), "the dashboard's address")
    for value, what in ((client_id, "a client id"), (client_secret, "a client secret")):
        if not value.strip() or not value.isprintable():
            raise StoreError(f"{what} is missing: copy it from the provider's page for this club.")
    path = folder / SECRETS_NAME
    values = {
        "redirect_uri": base + CALLBACK,
        "cookie_secret": secrets.token_urlsafe(COOKIE_SECRET_BYTES),
        "client_id": client_id.strip(),
        "client_secret": client_secret.strip(),
        "server_metadata_url": issuer + WELL_KNOWN,
    }
    # a TOML basic string is a JSON string, as long as nothing beyond ASCII is escaped in pairs
    lines = [f"{name} = {json.dumps(value, ensure_ascii=False)}" for name, value in values.items()]
    text = "# Made by racket-fleet log-in. Secret: do not copy, mail or publish.\n[auth]\n" + "\n".join(lines) + "\n"
    try:
        write_whole(path, text, is_private=True)
    except OSError as error:
        raise StoreError(
            f"{folder} cannot be written to ({error.strerror or error}): check its permissions."
        ) from error
    return path


def take_down(folder: Path, by: Person = LOCAL) -> bool:
    """Remove the log-in; whether there was one. Raises NotAllowedError unless `by` may say who comes in."""
    require(by, "people")
    path = folder / SECRETS_NAME
    was_there = path.exists()
    path.unlink(missing_ok=True)
    return was_there


def address_of(folder: Path) -> str:
    """The dashboard's address as people reach it, out of secrets.toml; raises where that cannot be read."""
    path = folder / SECRETS_NAME
    try:
        back_to = tomllib.loads(path.read_text(encoding="utf-8"))["auth"]["redirect_uri"]
    except (OSError, ValueError, KeyError, TypeError) as error:
        raise StoreError(f"{path} cannot be read, so nobody could sign in: run racket-fleet log-in again.") from error
    return str(back_to).removesuffix(CALLBACK)


def person_of_claims(claims: Mapping[str, object], roles: Mapping[str, str]) -> Person | None:
    """Who the claims of a log-in are on the club's list; None if they are not on it.

    Somebody is listed by e-mail address, which counts only if the provider says that it has verified it (claim
    `email_verified`, OpenID Connect Core 5.1), or as "sub:..." by the provider's own name for them.
    """
    if claims.get("is_logged_in") is not True:
        return None
    listed = {name.strip().casefold(): (name.strip(), role) for name, role in roles.items() if "@" in name}
    subject = claims.get("sub")
    by_subject = roles.get(f"sub:{subject}") if isinstance(subject, str) and subject else None
    if by_subject is not None:
        return Person(f"sub:{subject}", by_subject)
    email = claims.get("email")
    if not isinstance(email, str) or claims.get("email_verified") not in (True, "true"):
        return None
    found = listed.get(email.strip().casefold())
    return None if found is None else Person(*found)
