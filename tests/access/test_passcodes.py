"""Passcodes: made and shown once, kept as hashes, taken back at once; and guessing gets slower and slower."""

from __future__ import annotations

import stat
from concurrent.futures import ThreadPoolExecutor
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest
from argon2 import PasswordHasher
from hypothesis import given
from hypothesis import strategies as st

from pipeline.access import passcodes, tries
from pipeline.access.passcodes import (
    SignInRefusedError,
    make_passcode,
    person_of_token,
    revoke_passcodes,
    sign_in,
    sign_out,
)
from pipeline.store import StoreError
from pipeline.store.people import ROLES, Person

NOW = datetime(2026, 6, 1, 9, 0, tzinfo=UTC)
HERE, THERE = "192.168.1.7", "192.168.1.8"


@pytest.fixture(autouse=True)
def quick_hashes(monkeypatch: pytest.MonkeyPatch) -> None:
    """The same hash at its lowest cost: what is tested is what is kept and who waits, not how dear a guess is."""
    monkeypatch.setattr(passcodes, "_hasher", PasswordHasher(time_cost=1, memory_cost=8, parallelism=1))


def test_a_hash_is_as_dear_as_the_library_makes_it() -> None:
    real = PasswordHasher()
    assert (real.time_cost, real.memory_cost) >= (3, 65_536) and real.hash_len >= 32  # RFC 9106, second recommendation
    assert "_hasher = PasswordHasher()" in Path(passcodes.__file__).read_text(encoding="utf-8")


def test_a_passcode_lets_in_with_its_role_and_name(tmp_path: Path) -> None:
    for role in ROLES:
        token = sign_in(tmp_path, make_passcode(tmp_path, role, now=NOW), HERE, NOW)
        assert person_of_token(tmp_path, token, NOW) == Person(role, role)
    named = make_passcode(tmp_path, "coach", "Kim  Rowe", NOW)
    assert person_of_token(tmp_path, sign_in(tmp_path, f" {named.upper()} ", HERE, NOW), NOW) == Person(
        "Kim Rowe", "coach"
    )


def test_neither_passcode_nor_token_is_kept(tmp_path: Path) -> None:
    code = make_passcode(tmp_path, "coach", now=NOW)
    token = sign_in(tmp_path, code, HERE, NOW)
    kept = b"".join(path.read_bytes() for path in tmp_path.iterdir())
    for secret in (code, code.replace("-", ""), code.replace("-", "")[2:], token, HERE):
        assert secret.encode() not in kept
    assert b"$argon2id$" in kept
    assert stat.S_IMODE((tmp_path / passcodes.BOOK_NAME).stat().st_mode) == 0o600


def test_a_new_passcode_of_the_same_person_ends_the_old_one(tmp_path: Path) -> None:
    old = make_passcode(tmp_path, "coach", "Kim", NOW)
    token = sign_in(tmp_path, old, HERE, NOW)
    other = sign_in(tmp_path, make_passcode(tmp_path, "coach", "Pat", NOW), HERE, NOW)
    make_passcode(tmp_path, "coach", "Kim", NOW)
    assert person_of_token(tmp_path, token, NOW) is None
    assert person_of_token(tmp_path, other, NOW) == Person("Pat", "coach")
    with pytest.raises(SignInRefusedError, match="is not known here"):
        sign_in(tmp_path, old, HERE, NOW)


def test_taking_back_signs_out_at_once(tmp_path: Path) -> None:
    token = sign_in(tmp_path, make_passcode(tmp_path, "stringer", now=NOW), HERE, NOW)
    assert revoke_passcodes(tmp_path, "stringer", "somebody else") == 0
    assert person_of_token(tmp_path, token, NOW) is not None
    assert revoke_passcodes(tmp_path, "stringer") == 1
    assert person_of_token(tmp_path, token, NOW) is None
    assert passcodes.passcodes(tmp_path) == []


def test_a_sign_in_ends_by_signing_out_or_after_its_days(tmp_path: Path) -> None:
    code = make_passcode(tmp_path, "reader", now=NOW)
    one, two = (sign_in(tmp_path, code, HERE, NOW) for _ in range(2))
    sign_out(tmp_path, one)
    assert person_of_token(tmp_path, one, NOW) is None
    last = NOW + timedelta(days=passcodes.SIGNED_IN_DAYS)
    assert person_of_token(tmp_path, two, last - timedelta(seconds=1)) is not None
    assert person_of_token(tmp_path, two, last) is None
    assert person_of_token(tmp_path, None, NOW) is None and person_of_token(tmp_path, "", NOW) is None


def test_guessing_waits_longer_and_longer_and_a_right_one_waits_too(tmp_path: Path) -> None:
    code = make_passcode(tmp_path, "coach", now=NOW)
    at, waits = NOW, []
    for _ in range(14):
        with pytest.raises(SignInRefusedError, match="is not known here"):
            sign_in(tmp_path, code[:-1] + ("2" if code[-1] != "2" else "3"), HERE, at)
        with_wait = tries.from_rows(tries.as_rows(passcodes._read(tmp_path).tries))
        left = max(
            t.left_seconds(at.timestamp(), tries.FREE_TRIES, tries.MOST_WAIT_SECONDS) for t in with_wait.values()
        )
        waits.append(left)
        if left:
            with pytest.raises(SignInRefusedError, match="too many wrong passcodes: try again in"):
                sign_in(tmp_path, code, HERE, at + timedelta(seconds=left - 0.5))
        at += timedelta(seconds=left)
    assert waits[:6] == [0, 0, 2, 4, 8, 16] and waits[-1] == tries.MOST_WAIT_SECONDS
    sign_in(tmp_path, code, THERE, NOW)  # another phone of the club is not shut out by this one
    sign_in(tmp_path, code, HERE, at)
    with pytest.raises(SignInRefusedError, match=r"is not known here: check it letter by letter\.$"):
        sign_in(tmp_path, "nonsense", HERE, at)  # and after a success three tries are free again


def test_tries_at_one_moment_gain_nothing(tmp_path: Path) -> None:
    make_passcode(tmp_path, "coach", now=NOW)

    def attempt(number: int) -> str:
        with pytest.raises(SignInRefusedError) as refused:
            sign_in(tmp_path, f"zz-2222-{number:04d}", HERE, NOW)
        return str(refused.value)

    with ThreadPoolExecutor(6) as pool:
        said = list(pool.map(attempt, range(10)))
    assert sum("is not known here" in sentence for sentence in said) == tries.FREE_TRIES


def test_changing_address_at_every_try_gains_little(tmp_path: Path) -> None:
    book: dict[str, tries.Tries] = {}
    at, count = 0.0, 0
    while at < 3600:
        at += tries.left_seconds(book, f"address {count}", at)
        book = tries.failed(book, f"address {count}", at)
        count += 1
    assert count <= tries.FREE_TRIES_TOGETHER + 3600 / tries.MOST_WAIT_TOGETHER_SECONDS + 10
    assert tries.left_seconds(book, "the club's own phone", at) <= tries.MOST_WAIT_TOGETHER_SECONDS


@given(failures=st.integers(0, 200), passed=st.floats(-1e9, 1e9))
def test_a_wait_is_never_longer_than_at_first(failures: int, passed: float) -> None:
    one = tries.Tries(failures, 1e9)
    left = one.left_seconds(1e9 + passed, tries.FREE_TRIES, tries.MOST_WAIT_SECONDS)
    assert 0 <= left <= one.wait_seconds(tries.FREE_TRIES, tries.MOST_WAIT_SECONDS) <= tries.MOST_WAIT_SECONDS
    more = tries.Tries(failures + 1, 1e9)
    assert more.wait_seconds(3, 900) >= one.wait_seconds(3, 900)


def test_a_damaged_book_lets_nobody_in_and_says_so(tmp_path: Path) -> None:
    make_passcode(tmp_path, "coach", now=NOW)
    for damage in (
        "",
        "{}",
        '{"salt": 1, "passcodes": [], "sign_ins": {}, "tries": {}}',
        '{"salt": "x", "passcodes": {"a": {}}}',
    ):
        (tmp_path / passcodes.BOOK_NAME).write_text(damage, encoding="utf-8")
        with pytest.raises(StoreError, match="so nobody is let in: delete it and make new passcodes"):
            person_of_token(tmp_path, "token", NOW)


@pytest.mark.parametrize("name", [" ", "a\x00b", "x" * 65])
def test_a_name_that_is_none_is_refused(tmp_path: Path, name: str) -> None:
    with pytest.raises(StoreError, match="a name has 1 to 64 characters on one line"):
        make_passcode(tmp_path, "coach", name)


def test_a_role_that_is_none_is_refused(tmp_path: Path) -> None:
    for change in (make_passcode, revoke_passcodes):
        with pytest.raises(StoreError, match="there is no role 'boss': it is one of coach, stringer, manager, reader"):
            change(tmp_path, "boss")


def test_the_letters_are_hard_to_mistake_and_the_passcodes_differ(tmp_path: Path) -> None:
    assert not set("01iloILO") & set(passcodes.ALPHABET) and len(set(passcodes.ALPHABET)) == len(passcodes.ALPHABET)
    made = {make_passcode(tmp_path, "coach", f"person {number}", NOW) for number in range(5)}
    assert len(made) == 5 and len({code[:2] for code in made}) == 5
