"""A store in, its dashboard served out, until it is interrupted: on this machine, or to others through a door.

`plan_service` decides what is served where, before anything is opened: this machine alone with one trusted user, the
club's own network with passcodes, or any address with log-in. Everything else is refused with a sentence.
"""

from __future__ import annotations

import os
import signal
import socket
import subprocess
import sys
from dataclasses import dataclass
from importlib.resources import as_file, files
from pathlib import Path
from typing import Annotated
from urllib.parse import urlsplit

import typer

from pipeline.access import listening, log_in, passcodes
from pipeline.command import output
from pipeline.command.failures import says_why
from pipeline.command.options import DEFAULT_STORE, PortOption, StoreOption
from pipeline.store import Store, StoreError

HOST = listening.LOOPBACK
FIRST_PORT = listening.USUAL_PORT
COUNT_PORTS = 50
STORE_VARIABLE = "RACKET_FLEET_STORE"
NO_WAY_OUT = "http://127.0.0.1:9"  # the discard port: nothing answers there

SAID = {
    listening.ALONE: "Only this machine reaches it, and whoever sits here may do everything.",
    listening.PASSCODE: "Phones in the club's network reach it; everybody signs in with a passcode. It goes over the "
    "network unencrypted unless you give --certificate and --key.",
    listening.LOG_IN: "Everybody signs in with an account that is listed under [roles] in club.toml.",
}


def address(port: int) -> str:
    """Where a browser on this machine finds the dashboard."""
    return listening.url_of(HOST, port)


def _is_free(port: int, host: str) -> bool:
    family = socket.AF_INET6 if ":" in host else socket.AF_INET
    with socket.socket(family, socket.SOCK_STREAM) as probe:
        probe.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        try:
            probe.bind((host, port))
        except OSError:
            return False
    return True


def free_port(wanted: int | None, host: str = HOST) -> int:
    """The port asked for, or the first free one from 8501 on; raises where there is none."""
    if wanted is not None:
        if not _is_free(wanted, host):
            raise StoreError(f"port {wanted} is in use: choose another with --port.")
        return wanted
    for port in range(FIRST_PORT, FIRST_PORT + COUNT_PORTS):
        if _is_free(port, host):
            return port
    raise StoreError(f"no port from {FIRST_PORT} to {FIRST_PORT + COUNT_PORTS - 1} is free: choose one with --port.")


@dataclass(frozen=True)
class Service:
    """What is served where: the address listened on, the one people use, the door, and the files of TLS if any."""

    host: str
    port: int
    url: str
    door: str
    certificate: Path | None = None
    key: Path | None = None


def _host(lan: bool, listen: str | None) -> str:
    if lan and listen is not None:
        raise StoreError("--lan finds this machine's address by itself: give it or --listen, not both.")
    if lan:
        return listening.lan_address()
    return listen or HOST


def plan_service(
    folder: Path,
    port: int | None = None,
    lan: bool = False,
    listen: str | None = None,
    known_as: str | None = None,
    certificate: Path | None = None,
    key: Path | None = None,
) -> Service:
    """Decide; raises `StoreError` where the address may not be served as things are.

    `known_as` is the name by which others reach this machine, for labels that outlast a change of address.
    """
    host = _host(lan, listen)
    door = listening.door_of(host, log_in.has_log_in(folder))
    if door == listening.PASSCODE and not passcodes.passcodes(folder):
        raise StoreError("nobody could sign in: make a passcode first, such as racket-fleet passcode coach.")
    if (certificate is None) != (key is None):
        raise StoreError("--certificate and --key belong together: give both, or neither.")
    for path in (certificate, key):
        if path is not None and not path.is_file():
            raise StoreError(f"{path} does not exist: give the PEM file.")
    is_for_others = door != listening.ALONE
    # labels carry the port, so what others reach does not wander to the next free one
    chosen = free_port(port or FIRST_PORT if is_for_others else port, host)
    url = listening.url_of(known_as or host, chosen, certificate is not None)
    if door == listening.LOG_IN:
        url = log_in.address_of(folder)
    return Service(host, chosen, url, door, certificate, key)


def _streamlit_options(service: Service, folder: Path) -> list[str]:
    """The server's settings beside those of the theme: where it listens, and which names it answers to."""
    hosts = {service.host, urlsplit(service.url).hostname or service.host}
    if listening.is_loopback(service.host):
        hosts |= {"localhost", HOST}
    options = [
        "--server.address", service.host, "--server.port", str(service.port), "--server.headless", "true",
        "--browser.gatherUsageStats", "false",
        # names other than these are refused: a foreign page that points its own name here gets nothing
        *(word for host in sorted(hosts) for word in ("--server.allowedHosts", host)),
    ]  # fmt: skip
    if service.door != listening.ALONE:
        options += ["--browser.serverAddress", urlsplit(service.url).hostname or service.host]
    if service.door == listening.LOG_IN:
        options += ["--secrets.files", str((folder / log_in.SECRETS_NAME).resolve())]
    if service.certificate is not None and service.key is not None:
        options += ["--server.sslCertFile", str(service.certificate.resolve())]
        options += ["--server.sslKeyFile", str(service.key.resolve())]
    return options


def _environment(service: Service, folder: Path) -> dict[str, str]:
    """What the server's process is told.

    Without log-in it has no business with the outside, so it is given no way there.

    Streamlit asks a public service for this machine's address when a foreign page tries to connect; a proxy that is
    not there makes that fail at once. Log-in needs the provider, so there the way is left open.
    """
    told = os.environ | {STORE_VARIABLE: str(folder.resolve())}
    if service.door != listening.LOG_IN:
        told |= dict.fromkeys(("HTTP_PROXY", "HTTPS_PROXY", "http_proxy", "https_proxy"), NO_WAY_OUT)
    return told


def serve_dashboard(store: Store, port: int, service: Service | None = None) -> None:
    """Serve until interrupted or ended; raises `StoreError` if the dashboard stops by itself with an error."""
    planned = service or Service(HOST, port, address(port), listening.ALONE)
    signal.signal(signal.SIGTERM, signal.default_int_handler)  # else the dashboard would outlive this process
    with as_file(files("dashboard")) as folder:
        command = [sys.executable, "-m", "streamlit", "run", str(folder / "app.py")]
        process = subprocess.Popen(
            command + _streamlit_options(planned, store.folder),
            env=_environment(planned, store.folder),
            stdout=sys.stderr,
        )
        try:
            status = process.wait()
        except KeyboardInterrupt:
            process.terminate()
            process.wait()
            return
    if status:
        raise StoreError(f"the dashboard stopped with status {status}: what it wrote above says why.")


@says_why
def serve(
    store: StoreOption = DEFAULT_STORE,
    port: PortOption = None,
    lan: Annotated[
        bool, typer.Option("--lan", help="Let phones in the club's own network in, each with a passcode.")
    ] = False,
    listen: Annotated[
        str | None,
        typer.Option("--listen", metavar="ADDRESS", help="Listen on this address; others than your own need log-in."),
    ] = None,
    known_as: Annotated[
        str | None,
        typer.Option("--known-as", metavar="NAME", help="The name others reach this machine by, for the labels."),
    ] = None,
    certificate: Annotated[
        Path | None, typer.Option("--certificate", metavar="FILE", help="Serve with TLS: the certificate, as PEM.")
    ] = None,
    key: Annotated[Path | None, typer.Option("--key", metavar="FILE", help="The certificate's key, as PEM.")] = None,
) -> None:
    """Open the dashboard: on this machine alone, or to others who sign in."""
    club = Store(store)
    service = plan_service(club.folder, port, lan, listen, known_as, certificate, key)
    if service.door != listening.ALONE:
        club.create()
        listening.note_address(club.folder, service.url)
    output.say(f"Dashboard: {service.url}", to_stdout=True)
    output.say(SAID[service.door])
    serve_dashboard(club, service.port, service)
