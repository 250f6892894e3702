"""A store in, its dashboard served on this machine out, until it is interrupted."""

from __future__ import annotations

import os
import signal
import socket
import subprocess
import sys
from importlib.resources import as_file, files

from pipeline.store import Store, StoreError

HOST = "127.0.0.1"
FIRST_PORT = 8501
COUNT_PORTS = 50
STORE_VARIABLE = "RACKET_FLEET_STORE"


def address(port: int) -> str:
    """Where a browser finds the dashboard."""
    return f"http://{HOST}:{port}"


def _is_free(port: int) -> bool:
    with socket.socket(socket.AF_INET, socket.SOCK_STREAM) as probe:
        probe.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        try:
            probe.bind((HOST, port))
        except OSError:
            return False
    return True


def free_port(wanted: int | None) -> int:
    """The port asked for, or the first free one from 8501 on; raises where there is none."""
    if wanted is not None:
        if not _is_free(wanted):
            raise StoreError(f"port {wanted} is in use: choose another with --port.")
        return wanted
    for port in range(FIRST_PORT, FIRST_PORT + COUNT_PORTS):
        if _is_free(port):
            return port
    raise StoreError(f"no port from {FIRST_PORT} to {FIRST_PORT + COUNT_PORTS - 1} is free: choose one with --port.")


def serve_dashboard(store: Store, port: int) -> None:
    """Serve until interrupted or ended; raises `StoreError` if the dashboard stops by itself with an error."""
    signal.signal(signal.SIGTERM, signal.default_int_handler)  # else the dashboard would outlive this process
    with as_file(files("dashboard")) as folder:
        command = [
            sys.executable, "-m", "streamlit", "run", str(folder / "app.py"),
            "--server.address", HOST, "--server.port", str(port), "--server.headless", "true",
            "--browser.gatherUsageStats", "false",
        ]  # fmt: skip
        environment = os.environ | {STORE_VARIABLE: str(store.folder.resolve())}
        process = subprocess.Popen(command, env=environment, stdout=sys.stderr)
        try:
            status = process.wait()
        except KeyboardInterrupt:
            process.terminate()
            process.wait()
            return
    if status:
        raise StoreError(f"the dashboard stopped with status {status}: what it wrote above says why.")
