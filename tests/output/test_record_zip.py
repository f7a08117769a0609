"""Zips that nobody should trust: exists for a name that leads out of the folder, a file that was changed and passes,
and a page of errors where one line would do. The manifest is checked against hashlib and the system's own sha256sum."""

from __future__ import annotations

import hashlib
import io
import shutil
import struct
import subprocess
import zipfile
from pathlib import Path

import pytest

from layerpreview.errors import InputError
from layerpreview.output import record_zip
from layerpreview.output.record_zip import MANIFEST, Packed, is_plain_name, manifest_of, zipped

FILES = {"b.txt": b"two\n", "a/ü.csv": b"x,y\n", "c.png": bytes(range(256))}


def save(tmp_path: Path, files: dict[str, bytes], manifest: bytes | None = None) -> Path:
    """A zip as somebody else might make it."""
    path = tmp_path / "job.zip"
    with zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED) as archive:
        for name, data in files.items():
            archive.writestr(name, data)
        archive.writestr(MANIFEST, manifest_of(files) if manifest is None else manifest)
    return path


def told(path: Path) -> list[str]:
    with pytest.raises(InputError) as caught, Packed(path):
        pass
    lines = str(caught.value).splitlines()
    assert all(line.startswith(str(path)) for line in lines)
    return lines


def test_what_is_packed_comes_out(tmp_path: Path) -> None:
    path = tmp_path / "job.zip"
    path.write_bytes(zipped(FILES))
    with Packed(path) as packed:
        assert {name: packed.read(name) for name in packed.hashes} == FILES
        with pytest.raises(InputError, match="no such file"):
            packed.read("d.txt")


def test_same_files_same_bytes() -> None:
    assert zipped(FILES) == zipped(dict(reversed(FILES.items())))
    with zipfile.ZipFile(io.BytesIO(zipped(FILES))) as archive:
        assert archive.namelist() == sorted([*FILES, MANIFEST])
        assert {entry.date_time for entry in archive.infolist()} == {(1980, 1, 1, 0, 0, 0)}


def test_manifest_has_what_hashlib_says() -> None:
    """SHA-256 of the standard library (FIPS 180-4)."""
    lines = manifest_of(FILES).decode("utf-8").splitlines()
    assert lines == [f"{hashlib.sha256(FILES[name]).hexdigest()}  {name}" for name in sorted(FILES)]


@pytest.mark.skipif(shutil.which("sha256sum") is None, reason="the system has no sha256sum")
def test_the_systems_own_tool_checks_it(tmp_path: Path) -> None:
    with zipfile.ZipFile(io.BytesIO(zipped(FILES))) as archive:
        archive.extractall(tmp_path)
    command = ["sha256sum", "--check", "--strict", MANIFEST]
    assert subprocess.run(command, cwd=tmp_path, capture_output=True, check=False).returncode == 0
    (tmp_path / "b.txt").write_bytes(b"too\n")
    done = subprocess.run(command, cwd=tmp_path, capture_output=True, check=False)
    assert done.returncode == 1
    assert b"b.txt: FAILED" in done.stdout


def test_everything_that_differs_is_told_at_once(tmp_path: Path) -> None:
    path = save(tmp_path, {**FILES, "b.txt": b"changed", "extra.txt": b""}, manifest_of({**FILES, "gone.txt": b"x"}))
    lines = told(path)
    assert len(lines) == 3
    assert "b.txt: its bytes are not those of the manifest" in lines[0]
    assert "extra.txt: the manifest does not name it" in lines[1]
    assert "gone.txt: the manifest names it, and it is missing" in lines[2]


@pytest.mark.parametrize(
    "name",
    [
        "../evil.txt",
        "/etc/evil",
        "a/../../evil",
        "C:/evil",
        "a\\..\\evil",
        "a//b",
        "./a",
        "nul.txt",
        "a/con",
        "x. ",
        "a\n",
    ],
)
def test_names_that_lead_elsewhere(tmp_path: Path, name: str) -> None:
    assert not is_plain_name(name)
    lines = told(save(tmp_path, {**FILES, name: b""}, manifest_of(FILES)))
    assert len(lines) == 1
    assert "leads out of the record" in lines[0]
    # The same name in the manifest alone.
    assert "a line is a SHA-256" in told(save(tmp_path, FILES, manifest_of({name.replace("\n", "\r"): b""})))[0]


def test_the_same_name_twice(tmp_path: Path) -> None:
    path = tmp_path / "job.zip"
    with zipfile.ZipFile(path, "w") as archive:
        for name in ("a.txt", "A.TXT", MANIFEST):
            archive.writestr(name, b"")
        with pytest.warns(UserWarning, match="Duplicate name"):
            archive.writestr("a.txt", b"")
    assert sum("is in it twice" in line for line in told(path)) == 2


def test_no_manifest_is_no_record(tmp_path: Path) -> None:
    path = tmp_path / "job.zip"
    with zipfile.ZipFile(path, "w") as archive:
        archive.writestr("holiday.txt", b"")
    assert "this is no record" in told(path)[0]


@pytest.mark.parametrize("line", ["0" * 64 + " b.txt", "0" * 63 + "  b.txt", "G" * 64 + "  b.txt", "", "x" * 500])
def test_manifests_that_are_none(tmp_path: Path, line: str) -> None:
    assert f"{MANIFEST}:1:" in told(save(tmp_path, FILES, f"{line}\n".encode()))[0]


def test_a_zip_that_swells(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Nothing is unpacked of it: it is told by what its directory says."""
    monkeypatch.setattr(record_zip, "MOST_BYTES", 1_000_000)
    assert "unpacked it would be 0.002 GB" in told(save(tmp_path, {"a.csv": bytes(2_000_000)}))[0]
    monkeypatch.setattr(record_zip, "MOST_TEXT_BYTES", 1000)
    assert "it is longer than" in told(save(tmp_path, {"a.csv": bytes(2000)}))[0]
    monkeypatch.setattr(record_zip, "MOST_FILES", 3)
    assert "6 files are in it" in told(save(tmp_path, {f"{n}": b"" for n in range(5)}))[0]


def test_a_directory_that_lies_about_a_size(tmp_path: Path) -> None:
    """What is deflated holds more than it says: it is read no further, and does not fit its checksum."""
    path = save(tmp_path, {"a.csv": bytes(100_000)})
    data = bytearray(path.read_bytes())
    central = data.rfind(b"PK\x01\x02", 0, data.rfind(b"PK\x01\x02"))
    struct.pack_into("<I", data, central + 24, 10)
    path.write_bytes(data)
    assert "a.csv: it cannot be unpacked" in "\n".join(told(path))


def test_locked_cut_short_and_none_at_all(tmp_path: Path) -> None:
    path = save(tmp_path, FILES)
    whole = path.read_bytes()
    locked = bytearray(whole)
    for sign, at in ((b"PK\x01\x02", 8), (b"PK\x03\x04", 6)):
        locked[locked.find(sign) + at] |= 1
    path.write_bytes(locked)
    assert "locked with a password" in told(path)[0]
    path.write_bytes(whole[: len(whole) // 2])
    assert "only a part of one" in told(path)[0]
    path.write_bytes(b"")
    assert "no zip file" in told(path)[0]
    assert "this is a folder" in told(tmp_path)[0]
    assert "there is no such file" in told(tmp_path / "other.zip")[0]


def test_a_link_is_no_file(tmp_path: Path) -> None:
    path = tmp_path / "job.zip"
    with zipfile.ZipFile(path, "w") as archive:
        link = zipfile.ZipInfo("a.txt")
        link.create_system, link.external_attr = 3, 0o120777 << 16
        archive.writestr(link, b"/etc/passwd")
        archive.writestr(MANIFEST, manifest_of({"a.txt": b"/etc/passwd"}))
    assert "no plain file" in told(path)[0]


def test_damage_anywhere_is_told_in_plain_lines(tmp_path: Path) -> None:
    """Every fortieth byte turned over, one at a time: the very same files or plain lines, never anything else."""
    whole = zipped(FILES)
    path = tmp_path / "job.zip"
    refused = 0
    for at in range(0, len(whole), 40):
        path.write_bytes(whole[:at] + bytes([whole[at] ^ 0xFF]) + whole[at + 1 :])
        try:
            with Packed(path) as packed:
                assert {name: packed.read(name) for name in packed.hashes} == FILES
        except InputError:
            refused += 1
    assert refused > 0


@pytest.mark.parametrize("packing", [zipfile.ZIP_BZIP2, zipfile.ZIP_LZMA])
def test_packed_in_another_way(tmp_path: Path, packing: int) -> None:
    """What unpacks it has errors of its own, and takes what memory it likes."""
    path = tmp_path / "job.zip"
    with zipfile.ZipFile(path, "w", packing) as archive:
        archive.writestr("a.txt", b"a")
    assert "a.txt: it is packed in a way that a record never is" in told(path)[0]


def test_packed_far_tighter_than_texts_and_pictures_are(tmp_path: Path) -> None:
    path = tmp_path / "job.zip"
    with zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED) as archive:
        archive.writestr("a.png", bytes(150_000_000))
    assert "a.png: it is packed far tighter" in told(path)[0]
