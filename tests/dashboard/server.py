"""A dashboard of one's own: started on a free port of this machine, stopped at the end.

In: a store's folder and the day it is. Out: the address, while the server runs.
"""

from __future__ import annotations

import contextlib
import os
import socket
import subprocess
import sys
import tempfile
import time
import urllib.error
import urllib.request
from collections.abc import Iterator
from pathlib import Path

ROOT = Path(__file__).parents[2]
APP = ROOT / "dashboard" / "app.py"
HOST = "127.0.0.1"
START_SECONDS, STOP_SECONDS = 60, 20


def _free_port() -> int:
    with socket.socket() as probe:
        probe.bind((HOST, 0))
        port: int = probe.getsockname()[1]
        return port


def _answers(address: str) -> bool:
    try:
        with urllib.request.urlopen(f"{address}/_stcore/health", timeout=2) as answer:
            return bool(answer.status == 200)
    except (urllib.error.URLError, OSError):
        return False


@contextlib.contextmanager
def running_dashboard(store_folder: Path, today: str) -> Iterator[str]:
    """The address of a dashboard on that store, as of that day."""
    port = _free_port()
    address = f"http://{HOST}:{port}"
    settings = {"RACKET_FLEET_STORE": str(store_folder), "RACKET_FLEET_TODAY": today}
    paths = os.pathsep.join(path for path in (str(ROOT), os.environ.get("PYTHONPATH", "")) if path)
    server = subprocess.Popen(
        [sys.executable, "-m", "streamlit", "run", str(APP), "--server.port", str(port), "--server.address", HOST,
         "--server.fileWatcherType", "none"],
        cwd=tempfile.gettempdir(),  # not the repository: the theme has to come from the folder of the main script
        env=os.environ | settings | {"PYTHONPATH": paths},
        stdout=subprocess.PIPE,
        stderr=subprocess.STDOUT,
        text=True,
    )  # fmt: skip
    try:
        give_up_at = time.monotonic() + START_SECONDS
        while not _answers(address):
            if server.poll() is not None or time.monotonic() > give_up_at:
                server.kill()
                raise RuntimeError(f"The dashboard did not start: {server.communicate()[0]}")
            time.sleep(0.1)
        yield address
    finally:
        server.terminate()
        try:
            server.wait(timeout=STOP_SECONDS)
        except subprocess.TimeoutExpired:  # in the midst of a plan on a busy machine
            server.kill()
            server.wait()
