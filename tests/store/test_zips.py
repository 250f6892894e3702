"""ZIP files given to load: their CSV files are loaded; traps, tricks and damaged ones are refused with a sentence."""

from __future__ import annotations

import io
import random
import stat
import struct
import zipfile
from collections.abc import Callable
from pathlib import Path

import pytest

from pipeline.store import Store, StoreError
from pipeline.store.zips import unpack, unpacked
from tests.small_club import FILES, NOW, write_club, write_file


def _zip(path: Path, files: dict[str, bytes]) -> Path:
    with zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED) as packed:
        for name, data in files.items():
            packed.writestr(name, data)
    return path


def test_a_zip_of_a_club_loads_as_its_folder_does(store: Store, tmp_path: Path) -> None:
    files = {f"my club/{name}.csv": text.encode() for name, text in FILES.items()}
    files |= {"my club/": b"", "__MACOSX/my club/._players.csv": b"\0", "my club/notes.txt": b"x"}
    report = store.load(_zip(tmp_path / "club.ZIP", files), now=NOW)
    assert (report.total("new"), report.total("rejected"), report.refused) == (12, 0, ())
    assert sorted(file.file for file in report.files) == sorted(f"{name}.csv" for name in FILES)
    assert store.load(write_club(tmp_path / "club"), now=NOW).total("unchanged") == 12


def test_a_zip_and_a_file_load_together(store: Store, tmp_path: Path) -> None:
    some = {f"{name}.csv": text.encode() for name, text in FILES.items() if name != "matches"}
    paths = [write_file(tmp_path, "matches", FILES["matches"]), _zip(tmp_path / "a.zip", some)]
    assert store.load(paths, now=NOW).total("new") == 12


def test_what_is_unpacked_is_gone_afterwards(tmp_path: Path) -> None:
    with unpacked([_zip(tmp_path / "a.zip", {"players.csv": b"x"})]) as paths:
        (path,) = paths
        assert path.read_bytes() == b"x"
    assert not path.exists()


def _link(path: Path) -> None:
    entry = zipfile.ZipInfo("players.csv")
    entry.external_attr = (stat.S_IFLNK | 0o777) << 16
    with zipfile.ZipFile(path, "w") as packed:
        packed.writestr(entry, "/etc/passwd")


def _locked(path: Path) -> None:
    _zip(path, {"players.csv": b"x"})
    data = bytearray(path.read_bytes())
    data[6] |= 1
    data[data.index(b"PK\x01\x02") + 8] |= 1
    path.write_bytes(data)


def _lies(path: Path) -> None:
    """Says it holds one byte, and holds many."""
    _zip(path, {"players.csv": b"x" * 1000})
    data = bytearray(path.read_bytes())
    central = data.index(b"PK\x01\x02")
    data[central + 24 : central + 28] = struct.pack("<I", 1)
    data[22:26] = struct.pack("<I", 1)
    path.write_bytes(data)


def _quine(path: Path) -> None:
    inner = io.BytesIO()
    with zipfile.ZipFile(inner, "w") as packed:
        packed.writestr("players.csv", b"x")
    _zip(path, {"inner.zip": inner.getvalue()})


def _no_text(path: Path) -> None:
    """A name that says it is UTF-8 and is not."""
    _zip(path, {"plüyers.csv": b"x"})
    path.write_bytes(path.read_bytes().replace("ü".encode(), b"\xff\xff"))


def _another_way(path: Path) -> None:
    with zipfile.ZipFile(path, "w", zipfile.ZIP_LZMA) as packed:
        packed.writestr("players.csv", FILES["players"])


TRAPS: dict[str, tuple[Callable[[Path], object], str]] = {
    "a bomb": (
        lambda p: _zip(p, {"players.csv": b"0" * 60_000_000}),
        "would unpack players.csv to 60 MB out of next to nothing",
    ),
    "a way up": (lambda p: _zip(p, {"../players.csv": b"x"}), "holds a file whose name leads out of its folder"),
    "a way up with the other slash": (lambda p: _zip(p, {"..\\..\\players.csv": b"x"}), "leads out of its folder"),
    "an absolute path": (lambda p: _zip(p, {"/tmp/players.csv": b"x"}), "leads out of its folder"),
    "a drive": (lambda p: _zip(p, {"C:players.csv": b"x"}), "leads out of its folder"),
    "a link": (_link, "holds a link"),
    "a password": (_locked, "is locked with a password"),
    "a false size": (_lies, "nothing was loaded"),
    "a name that is no text": (_no_text, "is damaged, or no ZIP file"),
    "a way of packing that takes gigabytes": (_another_way, "is packed in a way other than the usual one"),
    "a zip in a zip": (_quine, "holds no CSV file"),
    "two of one name": (
        lambda p: _zip(p, {"a/players.csv": b"x", "b/Players.csv": b"y"}),
        "holds two files named Players.csv",
    ),
    "too many files": (lambda p: _zip(p, {f"{n}.csv": b"x" for n in range(600)}), "holds 600 files (at most 500)"),
    "nothing": (lambda p: _zip(p, {}), "holds no CSV file"),
    "no zip": (lambda p: p.write_bytes(b"not a zip"), "is damaged, or no ZIP file"),
    "an empty file": (lambda p: p.write_bytes(b""), "is damaged, or no ZIP file"),
    "half a zip": (
        lambda p: p.write_bytes(_zip(p, {"players.csv": b"x" * 999}).read_bytes()[:60]),
        "is damaged, or no ZIP file",
    ),
}


@pytest.mark.parametrize("case", TRAPS)
def test_a_trap_is_refused_with_a_sentence_and_nothing_is_left(store: Store, tmp_path: Path, case: str) -> None:
    make, said = TRAPS[case]
    inside = tmp_path / "in"
    inside.mkdir()
    make(inside / "trap.zip")
    with pytest.raises(StoreError) as error:
        store.load(inside / "trap.zip", now=NOW)
    assert said in str(error.value) and "nothing was loaded: unpack it yourself" in str(error.value)
    assert not store.exists and [path.name for path in inside.iterdir()] == ["trap.zip"]


WAYS = (zipfile.ZIP_STORED, zipfile.ZIP_DEFLATED, zipfile.ZIP_BZIP2, zipfile.ZIP_LZMA)


def _changed_bytes(data: bytes, rng: random.Random) -> bytes:
    changed = bytearray(data)
    for _ in range(rng.choice((1, 1, 2, 5))):
        changed[rng.randrange(len(changed))] = rng.randrange(256)
    return bytes(changed)


@pytest.mark.parametrize("way", WAYS)
def test_a_zip_with_a_few_bytes_changed_is_read_or_refused_with_a_sentence(tmp_path: Path, way: int) -> None:
    whole, rng = io.BytesIO(), random.Random(way)
    with zipfile.ZipFile(whole, "w", way) as packed:
        for name, text in FILES.items():
            packed.writestr(f"my clüb/{name}.csv", text)
    said: list[str] = []
    for _ in range(500):
        try:
            out = unpack(io.BytesIO(_changed_bytes(whole.getvalue(), rng)), Path("club.zip"), tmp_path)
        except StoreError as error:
            said.append(str(error))
        else:
            assert all(path.parent == tmp_path for path in out.files)
    assert len(said) > 100 and all(sentence.startswith("club.zip ") and sentence.endswith(".") for sentence in said)


def test_what_is_noted_of_a_file_in_a_zip_is_the_zip_and_its_name_there(store: Store, tmp_path: Path) -> None:
    files = {f"my club/{name}.csv": text.encode() for name, text in FILES.items() if name != "matches"}
    archive = _zip(tmp_path / "club.zip", files | {"my club/notes.csv": b"a\n"})
    store.load([archive, write_file(tmp_path, "matches", FILES["matches"])], now=NOW)
    noted = store.loads().set_index("file").path.to_dict()
    assert noted == {f"{name}.csv": f"{archive}: my club/{name}.csv" for name in FILES if name != "matches"} | {
        "matches.csv": str(tmp_path / "matches.csv"), "notes.csv": f"{archive}: my club/notes.csv",
    }  # fmt: skip


def test_what_is_noted_of_a_copy_is_what_its_giver_says(store: Store, club: Path) -> None:
    copies = {club / f"{name}.csv": f"club.zip: {name}.csv" for name in FILES}
    store.load(copies, now=NOW, origins=copies)
    assert set(store.loads().path) == set(copies.values())


HOSTILE_NAMES = (
    "players'; drop table players; --.csv", "<b>players.csv", "pla*yers.csv", "=players.csv", "ＰＬＡＹＥＲＳ.csv",
    "a" * 200 + ".csv",
)  # fmt: skip


@pytest.mark.parametrize("name", HOSTILE_NAMES)
def test_a_hostile_file_name_is_no_file_of_the_contract(store: Store, club: Path, name: str) -> None:
    (club / name).write_text(FILES["players"])
    report = store.load(club, now=NOW)
    assert report.total("new") == 12 and len(report.refused) == 1
    assert report.refused[0].startswith(f"{name} is not a file name of the contract and was not loaded: name it one of")
    assert len(store.records("players")) == 2 and store.loads().file.tolist()[-1] == name


def test_a_file_in_a_folder_of_a_hostile_name_is_read_all_the_same(store: Store, tmp_path: Path) -> None:
    folder = tmp_path / "it's [a] {club}; drop table x -- *"
    assert store.load(write_club(folder), now=NOW).total("new") == 12
