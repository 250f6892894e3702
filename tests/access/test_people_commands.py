"""The commands: a passcode alone on standard output, a secret never on the command line, forgetting asks first."""

from __future__ import annotations

import re
import tomllib
from datetime import UTC, datetime
from pathlib import Path

import pytest
from typer.testing import CliRunner

from pipeline.access.passcodes import person_of_token, sign_in
from pipeline.cli import app
from pipeline.command.failures import DEBUG_VARIABLE
from pipeline.store import Store
from pipeline.store.people import Person

ROOT = Path(__file__).parents[2]
NOW = datetime(2026, 6, 1, 9, 0, tzinfo=UTC)


@pytest.fixture
def run(monkeypatch: pytest.MonkeyPatch) -> CliRunner:
    monkeypatch.delenv(DEBUG_VARIABLE, raising=False)
    return CliRunner()


def test_a_passcode_is_made_listed_and_taken_back(run: CliRunner, tmp_path: Path) -> None:
    where = ["--store", str(tmp_path / "club")]
    made = run.invoke(app, ["passcode", "stringer", "--name", "Kim", *where])
    code = made.stdout.strip()
    assert made.exit_code == 0 and re.fullmatch(r"[2-9a-z]{2}-[2-9a-z]{4}-[2-9a-z]{4}", code)
    assert "write it down now" in made.stderr
    token = sign_in(tmp_path / "club", code, "192.168.1.7", NOW)
    assert person_of_token(tmp_path / "club", token, NOW) == Person("Kim", "stringer")
    listed = run.invoke(app, ["passcode", *where])
    assert listed.stdout.startswith(f"stringer: Kim, begins with {code[:2]}, made ") and code not in listed.stdout
    taken = run.invoke(app, ["passcode", "stringer", "--revoke", *where])
    assert taken.exit_code == 0 and "1 taken back" in taken.stderr
    assert person_of_token(tmp_path / "club", token, NOW) is None
    again = run.invoke(app, ["passcode", "stringer", "--revoke", *where])
    assert again.exit_code == 1 and "no passcode of stringer is in force" in again.stderr
    assert run.invoke(app, ["passcode", "boss", *where]).exit_code == 1


def test_log_in_asks_for_the_secret(run: CliRunner, tmp_path: Path) -> None:
    where = ["--store", str(tmp_path / "club")]
    words = ["log-in", "https://sign-in.example.org", "--client-id", "club-1", "--address", "https://club.example.org"]
    done = run.invoke(app, [*words, *where], input="not-a-secret\n")
    assert done.exit_code == 0, done.stderr
    assert "https://club.example.org/oauth2callback at the provider" in done.stderr
    assert "Nobody is listed there yet" in done.stderr and "not-a-secret" not in done.stdout + done.stderr
    auth = tomllib.loads((tmp_path / "club" / "secrets.toml").read_text(encoding="utf-8"))["auth"]
    assert auth["client_secret"] == "not-a-secret"
    assert run.invoke(app, ["log-in", *where]).exit_code == 1
    assert run.invoke(app, ["log-in", "--remove", *where]).exit_code == 0
    assert run.invoke(app, ["log-in", "--remove", *where]).exit_code == 1


def test_forgetting_asks_first_and_works_the_view_out_anew(run: CliRunner, small: Store) -> None:
    where = ["--store", str(small.folder)]
    refused = run.invoke(app, ["forget", "P1", *where], input="n\n")
    assert refused.exit_code == 1 and "Ada Sample" in set(small.records("players")["player_name"])
    done = run.invoke(app, ["forget", "P1", "--yes", *where])
    assert done.exit_code == 0 and "now belongs to former-" in done.stdout, done.stderr
    assert "Loading an old file would bring the name back" in done.stderr
    with small.view() as view:
        assert view.execute("select count(*) from ranking where player_name = 'Ada Sample'").fetchone() == (0,)
        assert view.execute("select count(*) from ranking where player_name = 'Former player'").fetchone() == (2,)


def test_serving_to_others_says_what_is_missing(run: CliRunner, small: Store) -> None:
    where = ["--store", str(small.folder)]
    done = run.invoke(app, ["serve", "--listen", "0.0.0.0", *where])
    assert done.exit_code == 1 and "set up log-in first (racket-fleet log-in)" in done.stderr
    done = run.invoke(app, ["serve", "--listen", "10.0.0.5", *where])
    assert done.exit_code == 1 and "make a passcode first" in done.stderr


def test_started_past_the_command_it_listens_on_this_machine_alone() -> None:
    server = tomllib.loads((ROOT / "dashboard/.streamlit/config.toml").read_text(encoding="utf-8"))["server"]
    assert server["address"] == "127.0.0.1" and set(server["allowedHosts"]) == {"127.0.0.1", "localhost"}
    assert 0 < server["maxUploadSize"] <= 100 and 0 < server["maxMessageSize"] <= 100
    assert "enableCORS" not in server and "enableXsrfProtection" not in server  # both are on unless switched off
