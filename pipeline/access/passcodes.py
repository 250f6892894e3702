"""A passcode per role: made, shown once, checked, taken back; and the sign-ins that came of it.

In: the store's folder, what was typed, the instant. Out: a `Person` with the passcode's role, or a sentence that says
why not. `door.json` in the store's folder holds Argon2id hashes (RFC 9106) of the passcodes, SHA-256 of the sign-in
tokens (random, so a plain hash is enough) and the failed tries by hashed address. A passcode reads `k7-wm2x-q9tp`:
two letters that name it, then eight drawn from 31 that are hard to mistake for one another, 39.6 bits, which the
waits of `tries` protect.
"""

from __future__ import annotations

import contextlib
import hashlib
import json
import re
import secrets
from collections.abc import Iterator
from dataclasses import asdict, dataclass, field
from datetime import UTC, datetime, timedelta
from functools import cache
from pathlib import Path
from typing import Any

from argon2 import PasswordHasher
from argon2.exceptions import InvalidHashError, VerificationError
from filelock import FileLock, Timeout

from pipeline.access import tries
from pipeline.store.errors import StoreBusyError, StoreError
from pipeline.store.people import LOCAL, ROLES, Person, require
from pipeline.store.whole_files import write_whole

BOOK_NAME, LOCK_NAME = "door.json", "door.lock"
ALPHABET = "23456789abcdefghjkmnpqrstuvwxyz"  # no 0 1 i l o
MARK_LENGTH, SECRET_LENGTH = 2, 8
SIGNED_IN_DAYS = 30
WAIT_SECONDS = 10.0
LONGEST_TYPED = 64
_hasher = PasswordHasher()  # argon2-cffi's defaults: Argon2id with the RFC's low-memory parameters


class SignInRefusedError(StoreError):
    """The passcode was not taken, or it is too soon to try again."""


@dataclass(frozen=True)
class Passcode:
    """One passcode: its mark (the two letters it begins with), whose it is, and when it was made (UTC)."""

    mark: str
    role: str
    name: str
    hashed: str
    made_at: str


@dataclass(frozen=True)
class SignIn:
    """One device that is signed in with the passcode of that mark, until then (seconds since 1970)."""

    mark: str
    until: float


@dataclass
class _Book:
    """What `door.json` holds."""

    salt: str = ""
    passcodes: dict[str, Passcode] = field(default_factory=dict)
    sign_ins: dict[str, SignIn] = field(default_factory=dict)
    tries: dict[str, tries.Tries] = field(default_factory=dict)


def _read(folder: Path) -> _Book:
    path = folder / BOOK_NAME
    try:
        kept: dict[str, Any] = json.loads(path.read_text(encoding="utf-8"))
        return _Book(
            str(kept["salt"]),
            {mark: Passcode(**row) for mark, row in kept["passcodes"].items()},
            {token: SignIn(**row) for token, row in kept["sign_ins"].items()},
            tries.from_rows(kept["tries"]),
        )
    except FileNotFoundError:
        return _Book()
    except (OSError, ValueError, KeyError, TypeError, AttributeError) as error:
        raise StoreError(
            f"{path} is damaged or cannot be read, so nobody is let in: delete it and make new passcodes "
            "(racket-fleet passcode)."
        ) from error


def _write(folder: Path, book: _Book) -> None:
    rows = {
        "salt": book.salt or secrets.token_hex(16),
        "passcodes": {mark: asdict(code) for mark, code in book.passcodes.items()},
        "sign_ins": {token: asdict(sign_in) for token, sign_in in book.sign_ins.items()},
        "tries": tries.as_rows(book.tries),
    }
    write_whole(folder / BOOK_NAME, json.dumps(rows), is_private=True)


@contextlib.contextmanager
def _changing(folder: Path) -> Iterator[_Book]:
    """The book, under its lock; written back at the end unless something is raised."""
    try:
        with FileLock(folder / LOCK_NAME, timeout=WAIT_SECONDS):
            book = _read(folder)
            book.salt = book.salt or secrets.token_hex(16)
            yield book
            _write(folder, book)
    except Timeout:
        raise StoreBusyError(f"{folder / LOCK_NAME} is held by another process: try again.") from None
    except OSError as error:
        raise StoreError(
            f"{folder} cannot be written to ({error.strerror or error}): check its permissions."
        ) from error


def _drawn(length: int) -> str:
    return "".join(secrets.choice(ALPHABET) for _ in range(length))


def make_passcode(
    folder: Path, role: str, name: str | None = None, now: datetime | None = None, by: Person = LOCAL
) -> str:
    """Make a passcode for a role, and for a person if named; an older one of the same role and name stops working.

    Returns the passcode, which is not kept and cannot be shown again. Raises for a role or name that is none, and
    NotAllowedError unless `by` may say who comes in.
    """
    require(by, "people")
    if role not in ROLES:
        raise StoreError(f"there is no role {role!r}: it is one of {', '.join(ROLES)}.")
    whose = " ".join((name or role).split())
    if not whose or len(whose) > LONGEST_TYPED or not whose.isprintable():
        raise StoreError(f"a name has 1 to {LONGEST_TYPED} characters on one line: choose another.")
    secret = _drawn(SECRET_LENGTH)
    hashed = _hasher.hash(secret)
    made_at = (now or datetime.now(UTC)).astimezone(UTC).isoformat(timespec="seconds")
    with _changing(folder) as book:
        _take_out(book, [code.mark for code in book.passcodes.values() if (code.role, code.name) == (role, whose)])
        mark = _drawn(MARK_LENGTH)
        while mark in book.passcodes:
            mark = _drawn(MARK_LENGTH)
        book.passcodes[mark] = Passcode(mark, role, whose, hashed, made_at)
    half = SECRET_LENGTH // 2
    return f"{mark}-{secret[:half]}-{secret[half:]}"


def _take_out(book: _Book, marks: list[str]) -> None:
    book.passcodes = {mark: code for mark, code in book.passcodes.items() if mark not in marks}
    book.sign_ins = {token: sign_in for token, sign_in in book.sign_ins.items() if sign_in.mark not in marks}


def revoke_passcodes(folder: Path, role: str, name: str | None = None, by: Person = LOCAL) -> int:
    """Take back the passcodes of a role, or of one person in it, and sign their devices out; how many there were.

    Raises for a role that is none, and NotAllowedError unless `by` may say who comes in.
    """
    require(by, "people")
    if role not in ROLES:
        raise StoreError(f"there is no role {role!r}: it is one of {', '.join(ROLES)}.")
    with _changing(folder) as book:
        marks = [code.mark for code in book.passcodes.values() if code.role == role and name in (None, code.name)]
        _take_out(book, marks)
    return len(marks)


def passcodes(folder: Path) -> list[Passcode]:
    """The passcodes in force, by role and name; what they read is not among what is known of them."""
    return sorted(_read(folder).passcodes.values(), key=lambda code: (ROLES.index(code.role), code.name))


def _hashed_address(book: _Book, address: str) -> str:
    return hashlib.sha256(f"{book.salt} {address}".encode()).hexdigest()[:24]


def _hashed_token(token: str) -> str:
    return hashlib.sha256(token.encode()).hexdigest()


def wait_in_words(seconds: float) -> str:
    """A wait for a sentence: `5 seconds`, `2 minutes`."""
    if seconds <= 90:
        whole = max(1, round(seconds + 0.49))
        return f"{whole} second{'' if whole == 1 else 's'}"
    return f"{round(seconds / 60 + 0.49)} minutes"


@cache
def _nobodys_hash() -> str:
    """What an unknown mark is checked against, so that it takes as long as a known one."""
    return _hasher.hash(secrets.token_urlsafe(16))


def _fits(hashed: str, secret: str) -> bool:
    try:
        return _hasher.verify(hashed, secret)
    except (VerificationError, InvalidHashError):
        return False


def sign_in(folder: Path, typed: str, address: str, now: datetime | None = None) -> str:
    """A passcode as typed and the address it came from in; a token that stands for this device out.

    Raises `SignInRefusedError` with the wait where there is one. A try counts as failed before it is checked, so that
    tries at the same moment gain nothing.
    """
    moment = now or datetime.now(UTC)
    at = moment.timestamp()
    plain = re.sub(r"[\s\-–—]", "", typed.casefold())[:LONGEST_TYPED]
    mark, secret = plain[:MARK_LENGTH], plain[MARK_LENGTH:]
    with _changing(folder) as book:
        whence = _hashed_address(book, address)
        left = tries.left_seconds(book.tries, whence, at)
        if left <= 0:
            book.tries = tries.failed(book.tries, whence, at)
        code = book.passcodes.get(mark)
    if left > 0:
        raise SignInRefusedError(f"too many wrong passcodes: try again in {wait_in_words(left)}.")
    is_right = _fits(code.hashed if code else _nobodys_hash(), secret) and code is not None
    if not is_right:
        after = tries.left_seconds(_read(folder).tries, whence, at)
        wait = f" The next try is open in {wait_in_words(after)}." if after else ""
        raise SignInRefusedError(f"this passcode is not known here: check it letter by letter.{wait}")
    token = secrets.token_urlsafe(32)
    with _changing(folder) as book:
        if code is None or book.passcodes.get(mark) != code:
            raise SignInRefusedError("this passcode has just been taken back: ask for a new one.")
        book.tries = tries.succeeded(book.tries, whence)
        book.sign_ins = {kept: sign_in for kept, sign_in in book.sign_ins.items() if sign_in.until > at}
        until = (moment + timedelta(days=SIGNED_IN_DAYS)).timestamp()
        book.sign_ins[_hashed_token(token)] = SignIn(mark, until)
    return token


def person_of_token(folder: Path, token: str | None, now: datetime | None = None) -> Person | None:
    """Who is signed in with this token; None if nobody is, any more."""
    if not token:
        return None
    book = _read(folder)
    sign_in = book.sign_ins.get(_hashed_token(token))
    if sign_in is None or sign_in.until <= (now or datetime.now(UTC)).timestamp():
        return None
    code = book.passcodes.get(sign_in.mark)
    return None if code is None else Person(code.name, code.role)


def sign_out(folder: Path, token: str) -> None:
    """Forget a device."""
    with _changing(folder) as book:
        book.sign_ins.pop(_hashed_token(token), None)
