"""The dashboard is served on this machine alone, and ends with the command that started it."""

from __future__ import annotations

import http.client
import os
import signal
import socket
import subprocess
import sys
import time
from pathlib import Path

import pytest

from pipeline.command.serving import HOST, address, free_port
from pipeline.store import Store, StoreError

ROOT = Path(__file__).parents[2]
WAIT_SECONDS = 90


def _health(port: int) -> int | None:
    """Status of the server's health page, or None while nothing answers."""
    connection = http.client.HTTPConnection(HOST, port, timeout=5)
    try:
        connection.request("GET", "/_stcore/health")
        return connection.getresponse().status
    except OSError:
        return None
    finally:
        connection.close()


@pytest.mark.skipif(os.name == "nt", reason="needs POSIX signals")
def test_serve_answers_on_this_machine_and_ends_when_told(store: Store, club: Path) -> None:
    store.load(club)
    port = free_port(None)
    command = [sys.executable, "-m", "pipeline.cli", "serve", "--store", str(store.folder), "--port", str(port)]
    process = subprocess.Popen(command, cwd=ROOT, stdout=subprocess.PIPE, stderr=subprocess.DEVNULL, text=True)
    try:
        assert process.stdout is not None and process.stdout.readline() == f"Dashboard: {address(port)}\n"
        give_up_at = time.monotonic() + WAIT_SECONDS
        while _health(port) is None and time.monotonic() < give_up_at:
            time.sleep(0.3)
        assert _health(port) == 200
        process.send_signal(signal.SIGTERM)
        assert process.wait(timeout=WAIT_SECONDS) == 0
        assert _health(port) is None
    finally:
        process.kill()
        process.communicate()


def test_a_port_in_use_is_said() -> None:
    with socket.socket() as taken:
        taken.bind((HOST, 0))
        taken.listen()
        port = taken.getsockname()[1]
        with pytest.raises(StoreError, match=f"port {port} is in use: choose another with --port"):
            free_port(port)
