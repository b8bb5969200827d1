"""Devices, pipes, files without end or too large, names that cannot be: one line, and nothing is waited for or lost."""

from __future__ import annotations

import os
import subprocess
import sys
import zipfile
from pathlib import Path

import openpyxl
import pytest

from creepfit.errors import InputError
from creepfit.inference.saved import is_saved
from creepfit.records import file_content, outputs, sheets
from creepfit.records.editing.additions import Addition, prepare
from creepfit.records.files import read_run
from creepfit.records.moments import moment
from creepfit.records.outputs import check_writable, write_text

posix = pytest.mark.skipif(os.name != "posix", reason="special files are those of POSIX")


def message(path: Path | str) -> str:
    with pytest.raises(InputError) as caught:
        read_run(path)
    return str(caught.value)


@posix
class TestKinds:
    def test_a_device(self) -> None:
        assert message("/dev/zero") == "/dev/zero: this is a device; expected a file"

    def test_a_pipe_is_not_waited_for(self, tmp_path: Path) -> None:
        pipe = tmp_path / "run.toml"
        os.mkfifo(pipe)
        assert not is_saved(pipe)
        assert message(pipe) == f"{pipe}: this is a pipe; expected a file"

    @pytest.mark.skipif(not Path("/proc/self/status").exists(), reason="there is no /proc")
    def test_a_file_of_the_kernel_is_not_read(self) -> None:
        assert message("/proc/self/status") == "/proc/self/status: the file is empty"

    def test_readings_in_a_pipe(self, short: Path) -> None:
        pipe = short.parent / "r.csv"
        os.mkfifo(pipe)
        text = short.read_text(encoding="utf-8")
        short.write_text(text[: text.index("time =")] + 'file = "r.csv"\n', encoding="utf-8")
        assert message(short) == f"{pipe}: this is a pipe; expected a file"

    def test_a_name_too_long(self, short: Path) -> None:
        name = "x" * 300 + ".toml"
        assert "cannot be read (File name too long)" in message(name)
        text = short.read_text(encoding="utf-8")
        short.write_text(text[: text.index("time =")] + f'file = "{name}"\n', encoding="utf-8")
        assert "there is no such file" in message(short)
        with pytest.raises(InputError, match="there is no such file"):
            prepare(str(short), Addition(moment("2 d"), "0.16 mm"))


class TestSizes:
    def test_a_file_too_large_is_not_read(self, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
        monkeypatch.setattr(Path, "read_bytes", lambda _: pytest.fail("it was read"))
        path = tmp_path / "run.toml"
        with path.open("wb") as file:
            file.truncate(file_content.LARGEST_TEXT + 1)
        assert message(path) == f"{path}: too large a file; found '20 MB'; expected at most 20 MB"

    def test_a_workbook_that_unpacks_to_far_more(self, tmp_path: Path) -> None:
        path = tmp_path / "book.xlsx"
        with zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED) as packed:
            packed.writestr("xl/sharedStrings.xml", b" " * 30_000_000)
        assert path.stat().st_size < 100_000
        assert "too large a workbook; found '0.0 MB, which unpack to 30 MB'" in message(path)

    def test_a_sheet_of_far_too_many_cells(self, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
        book = openpyxl.Workbook()
        for row in range(1, 20):
            book.active.cell(row, 200, 1)
        book.save(tmp_path / "book.xlsx")
        monkeypatch.setattr(sheets, "MOST_CELLS", 1000)
        assert "too large a sheet; expected at most 1000 cells" in message(tmp_path / "book.xlsx")

    def test_an_unknown_unit_is_quoted_with_a_bound(self, short: Path) -> None:
        text = short.read_text(encoding="utf-8")
        short.write_text(text[: text.index("time =")] + 'file = "r.csv"\n', encoding="utf-8")
        (short.parent / "r.csv").write_text("time [h],reading [" + "x" * 100_000 + "]\n1,2\n", encoding="utf-8")
        assert 'unknown unit "xxx' in message(short)
        assert len(message(short)) < 1000


class TestOutputs:
    def test_no_name_at_all(self) -> None:
        with pytest.raises(InputError, match="no name; expected the name of a file to write"):
            check_writable("")

    @posix
    def test_a_loop_of_links(self, tmp_path: Path) -> None:
        (tmp_path / "a").symlink_to(tmp_path / "b")
        (tmp_path / "b").symlink_to(tmp_path / "a")
        with pytest.raises(InputError, match="cannot be written"):
            write_text(tmp_path / "a", "text", force=True)

    def test_a_name_too_long(self, tmp_path: Path) -> None:
        with pytest.raises(InputError, match="cannot be written"):
            write_text(tmp_path / ("x" * 300), "text")

    @pytest.mark.skipif(not Path("/dev/full").exists(), reason="there is no /dev/full")
    def test_a_full_device(self) -> None:
        with pytest.raises(InputError, match="/dev/full: cannot be written"):
            write_text("/dev/full", "text", force=True)

    @posix
    def test_what_a_killed_process_left_is_removed_and_what_a_living_one_writes_is_not(self, tmp_path: Path) -> None:
        killed = subprocess.Popen([sys.executable, "-c", ""])
        killed.wait()
        left = tmp_path / f"{outputs._PREFIX}{killed.pid}-abcd{outputs._SUFFIX}"
        used = tmp_path / f"{outputs._PREFIX}{os.getpid()}-abcd{outputs._SUFFIX}"
        other = tmp_path / f".creepfit-00000000-{killed.pid}-abcd{outputs._SUFFIX}"  # of another machine
        for file in (left, used, other):
            file.write_text("half", encoding="utf-8")
        write_text(tmp_path / "new", "text")
        assert sorted(p.name for p in tmp_path.iterdir()) == sorted(["new", used.name, other.name])
