"""Files are written whole or not at all, also where the desk is killed; the worker answers what was asked last."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
import threading
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from creepfit.desk import quiet
from creepfit.desk import worker as worker_module
from creepfit.desk.cards import Cards
from creepfit.desk.folder import ChangedError, Folder, mark
from creepfit.desk.worker import Worker
from creepfit.errors import InputError

SAVING = """
import os, sys
from pathlib import Path
from creepfit.desk.folder import Folder, mark
folder = Folder(Path(sys.argv[1]))
texts = [letter.encode() * 2_000_000 for letter in "ab"]
for _ in sys.stdin:  # each time another desk that saves until it is killed
    desk = os.fork()
    if not desk:
        print(os.getpid(), flush=True)
        for k in range(100_000):
            folder.replace("x.csv", texts[k % 2], mark(folder.read("x.csv")))
    print(os.WTERMSIG(os.waitpid(desk, 0)[1]), flush=True)
"""


@pytest.mark.skipif(os.name != "posix", reason="SIGKILL is one of POSIX")
def test_a_desk_that_is_killed_while_saving_leaves_a_whole_file(tmp_path: Path) -> None:
    (tmp_path / "x.csv").write_bytes(b"a" * 2_000_000)
    command = [sys.executable, "-c", SAVING, str(tmp_path)]
    with subprocess.Popen(command, stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True) as process:
        assert process.stdin is not None
        assert process.stdout is not None
        for pause in (0.03, 0.11):
            print("start", file=process.stdin, flush=True)
            desk = int(process.stdout.readline())
            time.sleep(pause)
            os.kill(desk, signal.SIGKILL)
            assert int(process.stdout.readline()) == signal.SIGKILL
            for name in ("x.csv", "x.csv.bak"):
                if (tmp_path / name).exists():
                    content = (tmp_path / name).read_bytes()
                    assert (len(content), len(set(content))) == (2_000_000, 1), name


def test_a_change_is_refused_where_the_file_is_another_by_now(tmp_path: Path) -> None:
    folder = Folder(tmp_path)
    folder.replace("x.csv", b"one", mark(None))
    with pytest.raises(ChangedError):
        folder.replace("x.csv", b"two", mark(None))
    folder.replace("x.csv", b"two", mark(b"one"))
    with pytest.raises(ChangedError) as failure:
        folder.replace("x.csv", b"three", mark(b"one"))
    assert failure.value.now == b"two"
    with pytest.raises(InputError, match="changed again since"):
        folder.take_back({"x.csv": (mark(b"one"), mark(None))})
    folder.take_back({"x.csv": (mark(b"two"), mark(b"one"))})
    assert (tmp_path / "x.csv").read_bytes() == b"one"


def test_the_worker_works_out_the_newest_question_and_keeps_the_last_answer() -> None:
    worker, go, worked = Worker(), threading.Event(), []

    def slow(name: str) -> Any:
        def work() -> str:
            worked.append(name)
            go.wait(10.0)
            return name

        return work

    assert worker.ask("a", "1", slow("a1")) is None
    while not worked:
        time.sleep(0.001)
    for state in ("2", "3", "4"):  # typed faster than it is worked out
        worker.ask("a", state, slow(f"a{state}"))
    worker.ask("shelf", "1", slow("shelf"), urgent=False)
    go.set()
    found = worker.ask("a", "4", slow("a4"), wait=10.0)
    assert (found.answer, found.state) == ("a4", "4")  # type: ignore[union-attr]
    assert worker.ask("shelf", "1", slow("shelf"), wait=10.0).answer == "shelf"  # type: ignore[union-attr]
    assert worked == ["a1", "a4", "shelf"]
    go.clear()
    assert worker.ask("a", "5", slow("a5")).answer == "a4"  # type: ignore[union-attr]  # until there is a newer one
    go.set()
    worker.close()


def test_answers_asked_for_long_ago_are_let_go_but_not_the_rows_of_a_shelf(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(worker_module, "KEPT", 2)
    worker = Worker()
    for k in range(5):
        worker.ask(f"row {k}", "1", lambda: None, wait=10.0, urgent=False)
    for k in range(5):
        worker.ask(f"answer {k}", "1", lambda: None, wait=10.0)
    kept = [about for k in range(5) for about in (f"row {k}", f"answer {k}") if about in worker._done]
    assert kept == ["row 0", "row 1", "row 2", "row 3", "answer 3", "row 4", "answer 4"]
    worker.close()


def test_an_error_is_an_answer_too() -> None:
    worker = Worker()
    found = worker.ask("a", "1", lambda: 1 / 0, wait=10.0)
    assert isinstance(found.error, ZeroDivisionError)  # type: ignore[union-attr]
    worker.close()


def test_a_card_is_read_again_only_where_a_file_changed(folder: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    cards = Cards(Folder(folder))
    assert [c.count for c in cards.all()] == [5]
    read: list[str] = []
    real = Cards._read

    def counted(self: Cards, path: Path) -> Any:
        read.append(path.name)
        return real(self, path)

    monkeypatch.setattr(Cards, "_read", counted)
    cards.all()
    assert read == []
    table = folder / "small.csv"
    table.write_text(f"{table.read_text(encoding='utf-8')}48,0.158\n", encoding="utf-8")
    assert [c.count for c in cards.all()] == [6]
    assert read == ["small.toml"]


class Clock:
    """Time that passes only while the desk waits, and what other programs do to files meanwhile."""

    def __init__(self) -> None:
        self.now = time.time()
        self.later: list[tuple[float, Callable[[], None]]] = []

    def time(self) -> float:
        self.now += 1e-4
        return self.now

    monotonic = time

    def sleep(self, seconds: float) -> None:
        self.now += seconds
        while self.later and self.later[0][0] <= self.now:
            self.later.pop(0)[1]()

    def write(self, path: Path, text: str) -> None:
        path.write_text(text, encoding="utf-8")
        os.utime(path, (self.now, self.now))

    def take_away(self, path: Path) -> None:
        path.unlink()
        os.utime(path.parent, (self.now, self.now))


@pytest.fixture
def clock(monkeypatch: pytest.MonkeyPatch) -> Clock:
    found = Clock()
    monkeypatch.setattr(quiet, "time", found)
    return found


def test_half_a_file_is_neither_a_card_nor_an_answer(folder: Path, browser: Any, clock: Clock) -> None:
    """An editor that writes in two goes, the first of which ends in the midst of a row."""
    table = folder / "small.csv"
    whole = f"{table.read_text(encoding='utf-8')}48,0.158\n"
    assert "0.153 mm" in browser.get("/").text
    seen: list[str] = []
    for address in ("/", "/today?run=small.toml", "/answer?run=small.toml"):
        clock.write(table, whole[: whole.index("24,0.153") + 4])
        clock.later = [(clock.now + 0.1, lambda: clock.write(table, whole))]
        seen.append(browser.get(address).text)
        clock.sleep(10.0)
    assert "6 readings" in seen[0]
    assert "0.158 mm" in seen[1]
    assert not any("24,0" in text or ("row 6" in text and "found" in text) for text in seen)


def test_what_a_pause_in_writing_leaves_is_not_shown_in_place_of_a_card(
    folder: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(quiet, "QUIET", 0.0)
    cards, table = Cards(Folder(folder)), folder / "small.csv"
    whole = table.read_text(encoding="utf-8")
    assert [(c.count, c.state) for c in cards.all()] == [(5, "in progress")]
    for part in (whole[:40], "", "time [h],read"):
        table.write_text(part, encoding="utf-8")
        assert [(c.count, c.state) for c in cards.all()] == [(5, "in progress")], part
    for path in (table, folder / "small.toml"):
        os.utime(path, (1e9, 1e9))
    assert [c.state for c in cards.all()] == ["unreadable"]  # it stayed so
    bracket = folder / "bracket.toml"
    text = bracket.read_text(encoding="utf-8")
    bracket.write_text(text[:500] + "[", encoding="utf-8")
    assert cards.parts() == ["bracket.toml"]


def test_a_file_that_is_taken_away_for_a_moment_is_waited_for(folder: Path, clock: Clock) -> None:
    cards, path = Cards(Folder(folder)), folder / "small.toml"
    assert len(cards.all()) == 1
    text = path.read_text(encoding="utf-8")
    clock.take_away(path)
    clock.later = [(clock.now + 0.08, lambda: clock.write(path, text))]
    assert len(cards.all()) == 1
    assert clock.later == []
    clock.take_away(path)
    assert cards.all() == []


def test_a_folder_that_is_gone_is_said(folder: Path, browser: Any) -> None:
    folder.rename(folder.with_name("elsewhere"))  # a stick that was pulled out
    for address in ("/", "/today?run=small.toml"):
        found = browser.get(address)
        assert found.status_code == 400
        assert "This cannot be done" in found.text
