"""Files mutated in every way a disk, an editor or a spreadsheet might, loaded: no traceback, counts add up.

In: how many files. Out: what became of them. Each is a piece of one of the sample academy's files, changed by one to
four mutations drawn at random from a seed. Checked for each: whatever goes wrong is a sentence; read = new + corrected
+ unchanged + rejected; the rows written are there; at the end the whole store passes `check`.
Run as `python -m tests.store.fuzz --files 20000`.
"""

from __future__ import annotations

import argparse
import tempfile
import time
from collections import Counter
from collections.abc import Callable
from datetime import UTC, date, datetime
from pathlib import Path

import numpy as np

from pipeline.contract.typed import quoted
from pipeline.store import Store, StoreError
from pipeline.store.checkup import check_facts
from tests.store.naughty import ONLY_IN_NOTES, STRINGS

SAMPLE = Path(__file__).parents[2] / "sample_data"
NOW = datetime(2026, 11, 25, 9, 0, tzinfo=UTC)
DAY = date(2026, 11, 25)
MOST_ROWS = 25
AT_ONCE = 12

Bytes = bytearray
Mutation = Callable[[bytearray, np.random.Generator], bytes]


def _place(data: bytearray, rng: np.random.Generator) -> int:
    return int(rng.integers(0, len(data) + 1))


def _cells(data: bytearray, rng: np.random.Generator, change: Callable[[bytes], bytes]) -> bytes:
    """Change one cell of one line, header included."""
    lines = bytes(data).split(b"\n")
    at = int(rng.integers(0, len(lines)))
    cells = lines[at].split(b",")
    place = int(rng.integers(0, len(cells)))
    cells[place] = change(cells[place])
    lines[at] = b",".join(cells)
    return b"\n".join(lines)


def _lines(data: bytearray, rng: np.random.Generator, change: Callable[[list[bytes], int], list[bytes]]) -> bytes:
    lines = bytes(data).split(b"\n")
    return b"\n".join(change(lines, int(rng.integers(0, len(lines)))))


def _naughty(rng: np.random.Generator) -> bytes:
    texts = (*STRINGS, *ONLY_IN_NOTES)
    return texts[int(rng.integers(0, len(texts)))].encode("utf-8")


def _odd_bytes(rng: np.random.Generator) -> bytes:
    odd = (
        b"\0",
        b"\xff",
        b"\xef\xbb\xbf",
        b'"',
        b'""',
        b",",
        b";",
        b"\r",
        b"\n",
        b"\t",
        b"\x1a",
        b"\xc3",
        b"'",
        b"\\",
        b"=",
    )
    return odd[int(rng.integers(0, len(odd)))]


def _values(rng: np.random.Generator) -> bytes:
    values = (
        b"", b"0", b"-1", b"1e999", b"99999999999999999999", b"nan", b"1,5", b"1.2.3", b"2026-02-30", b"1899-12-30",
        b"9999-12-31",
        b"2026-05-01T25:00", b"2026-05-01T17:30", b"yes", b"YES", b"maybe", b"broke", b"R1", b"P01", b"6-4 6-4",
        b"6-4-4", b" ", b"4",
    )  # fmt: skip
    return values[int(rng.integers(0, len(values)))]


MUTATIONS: dict[str, Mutation] = {
    "flip a byte": lambda d, r: bytes(d[: (p := _place(d, r))]) + bytes([int(r.integers(0, 256))]) + bytes(d[p + 1 :]),
    "insert odd bytes": lambda d, r: bytes(d[: (p := _place(d, r))]) + _odd_bytes(r) + bytes(d[p:]),
    "cut a piece out": lambda d, r: bytes(d[: (p := _place(d, r))]) + bytes(d[p + int(r.integers(1, 40)) :]),
    "repeat a piece": lambda d, r: bytes(d[: (p := _place(d, r))]) + bytes(d[max(0, p - int(r.integers(1, 60))) :]),
    "cut short": lambda d, r: bytes(d[: _place(d, r)]),
    "another value": lambda d, r: _cells(d, r, lambda cell: _values(r)),
    "hostile text": lambda d, r: _cells(d, r, lambda cell: b'"' + _naughty(r).replace(b'"', b'""') + b'"'),
    "hostile text unquoted": lambda d, r: _cells(d, r, lambda cell: _naughty(r)),
    "a stray quote": lambda d, r: _cells(d, r, lambda cell: b'"' + cell),
    "a cell more": lambda d, r: _cells(d, r, lambda cell: cell + b","),
    "a line twice": lambda d, r: _lines(d, r, lambda lines, at: [*lines[: at + 1], *lines[at:]]),
    "a line gone": lambda d, r: _lines(d, r, lambda lines, at: lines[:at] + lines[at + 1 :]),
    "lines swapped": lambda d, r: _lines(d, r, lambda lines, at: lines[at:] + lines[:at]),
    "semicolons": lambda d, r: bytes(d).replace(b",", b";"),
    "tabs": lambda d, r: bytes(d).replace(b",", b"\t"),
    "line ends of old": lambda d, r: bytes(d).replace(b"\r\n", b"\n").replace(b"\n", b"\r"),
    "line ends of both kinds": lambda d, r: bytes(d).replace(b"\r\n", b"\n", int(r.integers(1, 9))),
    "UTF-16": lambda d, r: bytes(d).decode("utf-8", "replace").encode("utf-16"),
    "latin-1": lambda d, r: bytes(d).replace(b"e", b"\xe9", 3),
    "a mark at the start": lambda d, r: b"\xef\xbb\xbf" + bytes(d),
    "a huge cell": lambda d, r: _cells(d, r, lambda cell: b"x" * int(r.integers(10_000, 1_200_000))),
    "many columns": lambda d, r: _lines(d, r, lambda lines, at: [line + b",z" * 300 for line in lines]),
    "blank lines": lambda d, r: bytes(d).replace(b"\n", b"\n\n", int(r.integers(1, 5))),
    "upper case header": lambda d, r: bytes(d).split(b"\n", 1)[0].upper() + b"\n" + bytes(d).partition(b"\n")[2],
    "nothing": lambda d, r: b"",
}  # fmt: skip
RARE = ("nothing", "UTF-16", "a huge cell", "many columns", "cut short", "tabs", "line ends of old", "a stray quote")


def pieces() -> list[tuple[str, bytes, list[bytes]]]:
    """File name, header line and lines of every file of the sample academy."""
    found = []
    for path in sorted(SAMPLE.glob("*.csv")):
        header, *lines = path.read_bytes().splitlines(keepends=True)
        found.append((path.name, header, lines))
    return found


def mutated(sources: list[tuple[str, bytes, list[bytes]]], rng: np.random.Generator) -> tuple[str, bytes, list[str]]:
    """One file: its name, its bytes, and what was done to it."""
    name, header, lines = sources[int(rng.integers(0, len(sources)))]
    start = int(rng.integers(0, max(1, len(lines) - MOST_ROWS)))
    data = bytearray(header + b"".join(lines[start : start + int(rng.integers(1, MOST_ROWS))]))
    weights = np.array([0.2 if kind in RARE else 1.0 for kind in MUTATIONS])
    kinds = [str(kind) for kind in rng.choice(list(MUTATIONS), size=int(rng.integers(1, 5)), p=weights / weights.sum())]
    for kind in kinds:
        data = bytearray(MUTATIONS[kind](data, rng))
    return name, bytes(data), kinds


def _look(store: Store, report: object, names: list[str], faults: list[str]) -> Counter[str]:
    counts: Counter[str] = Counter()
    with store.facts() as con:
        for file in report.files:  # type: ignore[attr-defined]
            counts["refused" if file.refused else "loaded"] += 1
            counts["rows"] += file.read
            counts["rejected rows"] += file.rejected
            if file.read != file.new + file.corrected + file.unchanged + file.rejected:
                faults.append(f"{file.file}: counts do not add up ({file})")
            if file.refused and not file.refused.rstrip().endswith("."):
                faults.append(f"{file.file}: refused without a sentence: {file.refused}")
            if file.resource and not file.refused:
                table = quoted(file.resource)
                ((there,),) = con.execute(
                    f"select (select count(*) from facts.{table} where load_id = $l) + "
                    f"(select count(*) from facts.history.{table} where load_id = $l)",
                    {"l": file.load_id},
                ).fetchall()
                if there != file.new + file.corrected:
                    faults.append(f"{file.file}: {file.new + file.corrected} rows written, {there} there")
    if len(report.files) != len(names):  # type: ignore[attr-defined]
        faults.append(f"{len(names)} files given, {len(report.files)} reported")  # type: ignore[attr-defined]
    return counts


def run(files: int, seed: int, folder: Path, say: Callable[[str], None] = print) -> tuple[Counter[str], list[str]]:
    """Load so many mutated files, a dozen at once, into a store that holds the sample; what became of them."""
    rng = np.random.default_rng(seed)
    store = Store(folder / "store")
    store.load(SAMPLE, now=NOW, load_day=DAY)
    sources = pieces()
    counts: Counter[str] = Counter()
    faults: list[str] = []
    done = 0
    while done < files:
        batch: dict[str, tuple[bytes, list[str]]] = {}
        while len(batch) < min(AT_ONCE, files - done):
            name, data, kinds = mutated(sources, rng)
            if name not in batch:
                batch[name] = (data, kinds)
        place = folder / f"batch-{done}"
        place.mkdir()
        for name, (data, _) in batch.items():
            (place / name).write_bytes(data)
        try:
            report = store.load([place / name for name in batch], now=NOW, load_day=DAY)
            counts += _look(store, report, list(batch), faults)
        except StoreError as error:
            faults.append(f"the whole load was refused: {error}")
        except Exception as error:  # what the fuzzer is for: any of these is a fault, kept with its files
            faults.append(f"{place}: {type(error).__name__}: {error}"[:600])
            counts["tracebacks"] += 1
        else:
            for name in batch:
                (place / name).unlink()
            place.rmdir()
        done += len(batch)
        counts["files"] += len(batch)
        if done % 1200 < AT_ONCE:
            say(f"... {done} files, {len(faults)} faults")
    faults += [f"check: {finding}" for finding in check_facts(store).findings]
    return counts, faults


def main() -> None:
    parser = argparse.ArgumentParser(description=(__doc__ or "").splitlines()[0])
    parser.add_argument("--files", type=int, default=20_000)
    parser.add_argument("--seed", type=int, default=0)
    asked = parser.parse_args()
    begun = time.monotonic()
    with tempfile.TemporaryDirectory() as folder:
        counts, faults = run(asked.files, asked.seed, Path(folder), lambda line: print(line, flush=True))
    print(
        ", ".join(f"{kind}: {count}" for kind, count in sorted(counts.items())), f"in {time.monotonic() - begun:.0f} s"
    )
    print("\n".join(faults) or "No traceback; the counts of every file add up; the store passes check.")
    raise SystemExit(1 if faults else 0)


if __name__ == "__main__":
    main()
