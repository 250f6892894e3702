"""Which address has which door: this machine, the club's own network, log-in; everything else is refused."""

from __future__ import annotations

from pathlib import Path

import pytest

from pipeline.access import listening, log_in
from pipeline.access.passcodes import make_passcode
from pipeline.command.serving import NO_WAY_OUT, _environment, _streamlit_options, plan_service
from pipeline.store import StoreError

# address ranges: RFC 1122 (loopback), RFC 1918 and RFC 4193 (private), RFC 3927 and RFC 4291 (link-local)
THIS_MACHINE = ["127.0.0.1", "127.8.8.8", "::1", "localhost"]
OWN_NETWORK = ["10.0.0.5", "172.16.4.4", "192.168.1.20", "169.254.9.9", "fd00::5", "fe80::1%eth0"]
THE_WORLD = [None, "0.0.0.0", "::", "8.8.8.8", "172.32.0.1", "2606:4700::1", "club.example.org", "", "192.168.1.999"]


@pytest.mark.parametrize("address", [*THIS_MACHINE, *OWN_NETWORK, *THE_WORLD])
def test_every_address_has_one_door_or_none(address: str | None) -> None:
    assert listening.door_of(address, has_log_in=True) == listening.LOG_IN
    if address in THIS_MACHINE:
        assert listening.door_of(address, has_log_in=False) == listening.ALONE
    elif address in OWN_NETWORK:
        assert listening.door_of(address, has_log_in=False) == listening.PASSCODE
    else:
        with pytest.raises(StoreError, match="can be reached from outside the club's network: set up log-in first"):
            listening.door_of(address, has_log_in=False)


def test_an_address_mapped_into_the_other_kind_is_taken_for_what_it_is() -> None:
    assert listening.is_own_network("::ffff:192.168.1.4") and not listening.is_own_network("::ffff:8.8.8.8")


def test_the_plan_without_options_is_this_machine_alone(tmp_path: Path) -> None:
    plan = plan_service(tmp_path)
    assert (plan.host, plan.door) == ("127.0.0.1", listening.ALONE)
    options = _streamlit_options(plan, tmp_path)
    assert options[:2] == ["--server.address", "127.0.0.1"]
    hosts = [options[place + 1] for place, word in enumerate(options) if word == "--server.allowedHosts"]
    assert hosts == ["127.0.0.1", "localhost"]
    assert _environment(plan, tmp_path)["https_proxy"] == NO_WAY_OUT


def test_the_network_is_served_only_once_somebody_can_sign_in(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(listening, "lan_address", lambda: "192.168.1.20")
    monkeypatch.setattr("pipeline.command.serving._is_free", lambda port, host: True)
    with pytest.raises(StoreError, match="make a passcode first, such as racket-fleet passcode coach"):
        plan_service(tmp_path, lan=True)
    make_passcode(tmp_path, "coach")
    plan = plan_service(tmp_path, lan=True)
    assert (plan.url, plan.door) == ("http://192.168.1.20:8501", listening.PASSCODE)
    named = plan_service(tmp_path, lan=True, port=9000, known_as="bench.local")
    assert named.url == "http://bench.local:9000"
    options = _streamlit_options(named, tmp_path)
    assert "bench.local" in options and "192.168.1.20" in options and "0.0.0.0" not in options


@pytest.mark.parametrize("listen", ["0.0.0.0", "::", "8.8.8.8", "club.example.org"])
def test_any_other_address_needs_log_in(tmp_path: Path, listen: str) -> None:
    make_passcode(tmp_path, "coach")
    with pytest.raises(StoreError, match="set up log-in first"):
        plan_service(tmp_path, listen=listen)
    log_in.set_up(tmp_path, "https://sign-in.example.org", "club-1", "not-a-secret", "https://club.example.org")
    assert listening.door_of(listen, log_in.has_log_in(tmp_path)) == listening.LOG_IN


def test_a_public_address_of_the_machine_is_not_taken_for_the_club_s(monkeypatch: pytest.MonkeyPatch) -> None:
    class Probe:
        def __init__(self, found: str) -> None:
            self.found = found

        def __enter__(self) -> Probe:
            return self

        def __exit__(self, *error: object) -> None:
            return None

        def connect(self, where: tuple[str, int]) -> None:
            return None

        def getsockname(self) -> tuple[str, int]:
            return self.found, 9

    for found, said in (("8.8.4.4", "all the world could try its passcodes"), ("127.0.0.1", "is in no network")):
        monkeypatch.setattr("socket.socket", lambda *kind, found=found: Probe(found))
        with pytest.raises(StoreError, match=said):
            listening.lan_address()


def test_labels_lead_to_the_address_last_served_to_others(tmp_path: Path) -> None:
    assert listening.base_address(tmp_path) == "http://127.0.0.1:8501"
    listening.note_address(tmp_path, "http://192.168.1.20:8501")
    assert listening.base_address(tmp_path) == "http://192.168.1.20:8501"
    assert listening.url_of("fd00::5", 8501, is_tls=True) == "https://[fd00::5]:8501"


def test_options_that_do_not_go_together_are_said(tmp_path: Path) -> None:
    with pytest.raises(StoreError, match="give it or --listen, not both"):
        plan_service(tmp_path, lan=True, listen="127.0.0.1")
    with pytest.raises(StoreError, match="belong together"):
        plan_service(tmp_path, certificate=tmp_path / "a.pem")
    with pytest.raises(StoreError, match=r"a\.pem does not exist"):
        plan_service(tmp_path, certificate=tmp_path / "a.pem", key=tmp_path / "b.pem")
