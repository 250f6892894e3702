"""Processes of one's own for the tests: `racket-fleet serve` on a store, and an OpenID provider, both on this machine.

In: what to start. Out: where it answers, while it runs; stopped at the end.
"""

from __future__ import annotations

import contextlib
import os
import socket
import subprocess
import sys
import time
import urllib.error
import urllib.request
from collections.abc import Iterator, Sequence
from pathlib import Path

ROOT = Path(__file__).parents[2]
START_SECONDS = 90
TODAY = "2026-06-01"


def free_port(host: str = "127.0.0.1") -> int:
    """A port that nothing listens on at this moment."""
    with socket.socket() as probe:
        probe.bind((host, 0))
        port: int = probe.getsockname()[1]
        return port


def _answers(url: str) -> bool:
    try:
        with urllib.request.urlopen(url, timeout=2) as answer:
            return bool(answer.status == 200)
    except (urllib.error.URLError, OSError):
        return False


@contextlib.contextmanager
def running(command: Sequence[str], health: str) -> Iterator[None]:
    """A process, once its health address answers; ended on leaving."""
    environment = os.environ | {"RACKET_FLEET_TODAY": TODAY}
    process = subprocess.Popen(
        [sys.executable, *command],
        cwd=ROOT,
        env=environment,
        stdout=subprocess.PIPE,
        stderr=subprocess.STDOUT,
        text=True,
    )
    try:
        give_up_at = time.monotonic() + START_SECONDS
        while not _answers(health):
            if process.poll() is not None or time.monotonic() > give_up_at:
                process.kill()
                raise RuntimeError(f"{command} did not start: {process.communicate()[0]}")
            time.sleep(0.1)
        yield
    finally:
        process.terminate()
        process.communicate(timeout=30)


@contextlib.contextmanager
def serving(folder: Path, host: str, port: int, *options: str) -> Iterator[str]:
    """`racket-fleet serve` on a store with these options; its address."""
    base = f"http://{host}:{port}"
    command = ["-m", "pipeline.cli", "serve", "--store", str(folder), "--port", str(port), *options]
    with running(command, f"{base}/_stcore/health"):
        yield base


@contextlib.contextmanager
def provider(*claims: str) -> Iterator[str]:
    """An OpenID provider that knows people by these claims, each as JSON; its address."""
    port = free_port()
    base = f"http://127.0.0.1:{port}"
    known = [word for claim in claims for word in ("--user-claims", claim)]
    with running(["-m", "oidc_provider_mock", "--port", str(port), *known], f"{base}/.well-known/openid-configuration"):
        yield base
