"""Twenty browsers' worth of sessions at once on the sample academy, readers and writers mixed.

In: how many sessions, page views each and writers. Out: median and 95th percentile of the time from asking for a page
to its last message, and the faults, of which there must be none: a page with rackets of another squad or another
racket's title, a page that ended in an error, a look that is not there once. A session is a WebSocket to the server, as
a browser opens one, and between two pages it waits a while, as somebody who reads (--pause 0: it does not, and the
machine is full); a writer is a process of its own that does what the page's button does: enter, then refresh.
Run as `python -m tests.dashboard.crowd --sessions 20 --views 8 --writers 3`.
"""

from __future__ import annotations

import argparse
import contextlib
import multiprocessing
import re
import tempfile
import threading
import time
from pathlib import Path
from typing import Any

import numpy as np
from streamlit.proto.BackMsg_pb2 import BackMsg
from streamlit.proto.ForwardMsg_pb2 import ForwardMsg
from websockets.sync.client import ClientConnection, connect

from pipeline.refresh import refresh
from pipeline.store import FreshId, Store
from pipeline.store.checkup import check_facts
from pipeline.store.people import Person
from tests.dashboard.sample_store import SUNDAY_EVENING, make_sample_store
from tests.dashboard.server import running_dashboard

RACKET = re.compile(rb"R\d{3}(?!\d)")
LONGEST_WAIT_SECONDS = 60.0
PLAIN_PAGES = ("bench", "workload", "reels", "records", "write-down")


def _asked(link: ClientConnection, page: str, query: str) -> tuple[float, list[bytes], list[str], str]:
    """One page view: seconds, raw elements, headings, and the error it ended in, '' where there was none."""
    message = BackMsg()
    message.rerun_script.page_name = page
    message.rerun_script.query_string = query
    _drain(link)
    begun = time.monotonic()
    link.send(message.SerializeToString())
    elements: list[bytes] = []
    headings: list[str] = []
    error, is_begun = "", False
    while True:
        data: Any = link.recv(timeout=LONGEST_WAIT_SECONDS)
        told = ForwardMsg()
        told.ParseFromString(data)
        kind = told.WhichOneof("type")
        if kind == "new_session":  # what came before belongs to an earlier run
            is_begun, error = True, ""
            elements.clear()
            headings.clear()
        elif not is_begun:
            continue
        elif kind == "delta" and told.delta.WhichOneof("type") == "new_element":
            element = told.delta.new_element
            elements.append(element.SerializeToString())
            if element.WhichOneof("type") == "heading":
                headings.append(element.heading.body)
            if element.WhichOneof("type") == "exception":
                error = f"{element.exception.type}: {element.exception.message}"
        elif kind == "script_finished" and told.script_finished != ForwardMsg.FINISHED_EARLY_FOR_RERUN:
            return time.monotonic() - begun, elements, headings, error


def _drain(link: ClientConnection) -> None:
    """Take off the line what a page sent after it had ended."""
    with contextlib.suppress(TimeoutError):
        while True:
            link.recv(timeout=0.0)


def _rackets(elements: list[bytes]) -> frozenset[bytes]:
    return frozenset(found for element in elements for found in RACKET.findall(element))


def _write(folder: str, writer: int, looks: int) -> None:
    store = Store(folder, wait_seconds=120)
    for place in range(looks):
        look = {"inspection_id": FreshId("inspections", "Z"), "inspected_on": "2026-11-15", "racket_id": "R001",
                "notching": place % 3, "note": f"crowd {writer}-{place}"}  # fmt: skip
        store.enter({"inspections": [look]}, by=Person(f"writer {writer}", "coach"), now=SUNDAY_EVENING)
        refresh(store, now=SUNDAY_EVENING)


def run(
    folder: Path, sessions: int, views: int, writers: int, looks: int, pause: float = 0.0, is_warm: bool = False
) -> tuple[list[float], list[str]]:
    """Times of all page views, and the faults. pause: mean seconds (exponential) before each page of a session.
    is_warm: every page has been opened once before.
    """
    store = make_sample_store(folder)
    with store.view() as view:
        squads = [
            row[0] for row in view.execute("select distinct squad from ranking where squad is not null").fetchall()
        ]
        rackets = [row[0] for row in view.execute("select racket_id from ranking order by 1").fetchall()]
    times: list[float] = []
    faults: list[str] = []
    with running_dashboard(folder, SUNDAY_EVENING.date().isoformat()) as address:
        place = f"ws{address.removeprefix('http')}/_stcore/stream"

        def link() -> ClientConnection:
            return connect(place, origin=address, max_size=None, subprotocols=["streamlit"])  # type: ignore[arg-type,list-item]

        alone = {}
        for squad in squads:
            with link() as one:
                alone[squad] = _rackets(_asked(one, "", f"squad={squad}")[1])
        if is_warm:
            with link() as one:
                for page in (*PLAIN_PAGES, "racket"):
                    _asked(one, page, "")
        if len(set(alone.values())) < len(squads):
            faults.append("the squads' pages do not differ")

        def session(number: int) -> None:
            rng = np.random.default_rng(number)
            try:
                with link() as one:
                    for view in range(views):
                        squad, racket = str(rng.choice(squads)), str(rng.choice(rackets))
                        page, query = [("", f"squad={squad}"), ("racket", f"racket={racket}"),
                                       (str(rng.choice(PLAIN_PAGES)), "")][(number + view) % 3]  # fmt: skip
                        time.sleep(rng.exponential(pause))
                        seconds, elements, headings, error = _asked(one, page, query)
                        times.append(seconds)
                        if error:
                            faults.append(f"{page or 'this week'}: ended in {error}")
                        others = set().union(*alone.values()) - alone[squad]
                        if page == "" and _rackets(elements) & others - alone[squad]:
                            faults.append(f"{squad}: rackets of another squad")
                        if page == "racket" and not any(racket in heading for heading in headings):
                            faults.append(f"{racket}: headed {headings}")
            except Exception as broken_off:  # a session that breaks off is a fault, told at the end
                faults.append(f"session {number}: {type(broken_off).__name__}: {broken_off}")

        context = multiprocessing.get_context("spawn")
        processes = [context.Process(target=_write, args=(str(folder), n, looks)) for n in range(writers)]
        threads = [threading.Thread(target=session, args=(n,)) for n in range(sessions)]
        for worker in (*processes, *threads):
            worker.start()
        for worker in (*threads, *processes):
            worker.join()
    notes = store.records("inspections").note.dropna()
    written = sorted(note for note in notes if note.startswith("crowd "))
    if written != sorted(f"crowd {n}-{k}" for n in range(writers) for k in range(looks)):
        faults.append(f"looks on file: {written}")
    return times, [*faults, *check_facts(store).findings]


def main() -> None:
    parser = argparse.ArgumentParser(description=(__doc__ or "").splitlines()[0])
    for name, usual in (("sessions", 20), ("views", 8), ("writers", 3), ("looks", 3)):
        parser.add_argument(f"--{name}", type=int, default=usual)
    parser.add_argument("--pause", type=float, default=4.0, help="mean seconds that a session reads a page")
    parser.add_argument("--warm", action="store_true", help="open every page once before the clock runs")
    asked = parser.parse_args()
    with tempfile.TemporaryDirectory() as folder:
        times, faults = run(
            Path(folder) / "store", asked.sessions, asked.views, asked.writers, asked.looks, asked.pause, asked.warm
        )
    middle, slow = np.percentile(times, [50, 95])
    print(
        f"{asked.sessions} sessions, {len(times)} pages, {asked.pause:g} s to read one, {asked.writers} writers: "
        f"half within {middle:.2f} s, 95 % within {slow:.2f} s, slowest {max(times):.2f} s, {len(faults)} faults"
    )
    print("\n".join(faults[:20]))
    raise SystemExit(1 if faults else 0)


if __name__ == "__main__":
    main()
