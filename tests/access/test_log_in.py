"""Log-in: what is written down for the provider, and who a token's claims are on the club's list."""

from __future__ import annotations

import stat
import tomllib
from pathlib import Path

import pytest

from pipeline.access import log_in
from pipeline.access.log_in import person_of_claims
from pipeline.store import StoreError
from pipeline.store.people import Person

ISSUER, HOME = "https://sign-in.example.org", "https://club.example.org"
ROLES = {"Kim@Club.example": "stringer", "sub:7": "manager", "coach": "coach"}


def claims(**told: object) -> dict[str, object]:
    return {"is_logged_in": True, "sub": "1", "email": "kim@club.example", "email_verified": True} | told


def test_somebody_on_the_list_has_the_role_there() -> None:
    assert person_of_claims(claims(), ROLES) == Person("Kim@Club.example", "stringer")
    assert person_of_claims(claims(email_verified="true", email=" KIM@club.EXAMPLE "), ROLES) is not None
    assert person_of_claims(claims(sub="7", email=None), ROLES) == Person("sub:7", "manager")


@pytest.mark.parametrize(
    "told",
    [
        {"is_logged_in": False}, {"is_logged_in": "yes"}, {"is_logged_in": None},
        {"email": "pat@club.example"}, {"email": ""}, {"email": None}, {"email": ["kim@club.example"]},
        {"email_verified": False}, {"email_verified": None}, {"email_verified": "false"}, {"email_verified": 1.5},
        {"email": "coach"}, {"email": "sub:7"}, {"email": None, "sub": "coach"}, {"email": None, "sub": 7},
        {"email": None, "sub": ""},
    ],
)  # fmt: skip
def test_nobody_else_comes_in(told: dict[str, object]) -> None:
    assert person_of_claims(claims(**told), ROLES) is None
    assert person_of_claims(claims(), {}) is None


def test_secrets_are_the_owner_s_alone_and_drawn_anew(tmp_path: Path) -> None:
    secret = 'quote " back \\ slash ü'
    path = log_in.set_up(tmp_path, ISSUER + "/", "club-1", secret, HOME)
    assert stat.S_IMODE(path.stat().st_mode) == 0o600 and path.parent == tmp_path
    auth = tomllib.loads(path.read_text(encoding="utf-8"))["auth"]
    assert auth["client_secret"] == secret
    assert auth["server_metadata_url"] == ISSUER + "/.well-known/openid-configuration"
    assert auth["redirect_uri"] == HOME + "/oauth2callback" and log_in.address_of(tmp_path) == HOME
    assert len(auth["cookie_secret"]) >= 64
    log_in.set_up(tmp_path, auth["server_metadata_url"], "club-1", secret, auth["redirect_uri"])
    again = tomllib.loads(path.read_text(encoding="utf-8"))["auth"]
    assert again["cookie_secret"] != auth["cookie_secret"]
    assert again | {"cookie_secret": ""} == auth | {"cookie_secret": ""}
    assert log_in.take_down(tmp_path) and not log_in.take_down(tmp_path) and not log_in.has_log_in(tmp_path)


@pytest.mark.parametrize(
    ("provider", "address", "said"),
    [
        ("http://sign-in.example.org", HOME, "without TLS"),
        (ISSUER, "http://club.example.org", "without TLS"),
        ("sign-in.example.org", HOME, "is not an address such as"),
        ("https://user@sign-in.example.org", HOME, "is not an address such as"),
        ("https://sign-in.example.org:port", HOME, "is not an address such as"),
        (ISSUER, "https://club.example.org/?a=1", "is not an address such as"),
    ],
)
def test_an_address_that_would_not_do_is_refused(tmp_path: Path, provider: str, address: str, said: str) -> None:
    with pytest.raises(StoreError, match=said):
        log_in.set_up(tmp_path, provider, "club-1", "not-a-secret", address)
    assert list(tmp_path.iterdir()) == []


def test_no_secret_is_in_the_project() -> None:
    root = Path(__file__).parents[2]
    assert [path for path in root.rglob(log_in.SECRETS_NAME) if ".venv" not in path.parts] == []
    with pytest.raises(StoreError, match="run racket-fleet log-in again"):
        log_in.address_of(root)
