"""Files are written whole or not at all, and never over another one unasked."""

from __future__ import annotations

import os
from pathlib import Path

import pytest

from creepfit.errors import InputError, OutputExistsError
from creepfit.records import outputs
from creepfit.records.outputs import check_writable, write_text


def test_written_as_utf8_with_the_rights_of_any_new_file(tmp_path: Path) -> None:
    target = tmp_path / "a.toml"
    write_text(target, "4 ± 0.1 mm\n")
    assert target.read_bytes() == "4 ± 0.1 mm\n".encode()
    other = tmp_path / "b"
    other.touch()
    assert target.stat().st_mode == other.stat().st_mode
    assert sorted(os.listdir(tmp_path)) == ["a.toml", "b"]


def test_never_over_another_file_unasked(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(tmp_path)
    write_text("a.toml", "one")
    with pytest.raises(OutputExistsError) as caught:
        write_text("a.toml", "two")
    assert str(caught.value) == "a.toml: the file exists already; expected another name, or --force to replace it"
    assert Path("a.toml").read_text() == "one"
    os.chmod("a.toml", 0o600)
    write_text("a.toml", "two", force=True)
    assert Path("a.toml").read_text() == "two"
    assert Path("a.toml").stat().st_mode & 0o777 == 0o600


def test_an_interruption_leaves_the_old_file_and_no_other(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    target = tmp_path / "a.toml"
    write_text(target, "one")

    def full(handle: int) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(outputs.os, "fsync", full)
    with pytest.raises(InputError, match=r"cannot be written \(No space left on device\)"):
        write_text(target, "two", force=True)
    assert target.read_text() == "one"
    assert os.listdir(tmp_path) == ["a.toml"]


def test_a_link_goes_on_pointing_at_its_file(tmp_path: Path) -> None:
    target, link = tmp_path / "a.toml", tmp_path / "b.toml"
    target.write_text("one")
    link.symlink_to(target)
    write_text(link, "two", force=True)
    assert link.is_symlink()
    assert target.read_text() == "two"


def test_places_that_cannot_be_written_to(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(tmp_path)
    with pytest.raises(InputError) as caught:
        write_text("no/a.toml", "one")
    assert str(caught.value) == "no: there is no such directory; expected one that exists"
    with pytest.raises(InputError) as caught:
        check_writable(".")
    assert str(caught.value) == ".: this is a directory; expected the name of a file to write"
    check_writable("a.toml")
    write_text("/dev/null", "one")
