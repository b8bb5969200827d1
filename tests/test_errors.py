"""Every mistake gets one line: file, key or row, what was found, what is expected.

The mistakes stand in tests/records/mistakes, a paragraph each: what is changed in run.toml or part.toml beside them
("- " into "+ "; in csv.txt "+ " is the whole table of readings), and after "= " the full message.
"""

from __future__ import annotations

import pickle
from dataclasses import dataclass
from pathlib import Path

import pytest

from creepfit.errors import CreepfitError, FitError, InputError, OutputExistsError
from creepfit.records.files import read_run
from creepfit.records.part_files import read_part

MISTAKES = Path(__file__).parent / "records" / "mistakes"


@dataclass(frozen=True)
class Mistake:
    name: str
    changes: tuple[tuple[str, str], ...]
    message: str


def mistakes(topic: str) -> list[Mistake]:
    """Read one list of mistakes; "\\n" in a change stands for a line end."""
    found = []
    for paragraph in (MISTAKES / f"{topic}.txt").read_text(encoding="utf-8").split("\n\n"):
        lines = [(line[:1], line[2:]) for line in paragraph.strip("\n").split("\n")]
        name, message = lines[0][1], lines[-1][1]
        assert lines[0][0] == "#"
        assert lines[-1][0] == "="
        old = [text.replace("\\n", "\n") for sign, text in lines if sign == "-"] or [""]
        new = [text.replace("\\n", "\n") for sign, text in lines if sign == "+"]
        found.append(Mistake(name, tuple(zip(old, new, strict=True)), message))
    return found


def cases(*topics: str) -> list[object]:
    return [pytest.param(m, id=f"{topic}: {m.name}") for topic in topics for m in mistakes(topic)]


def changed(base: str, mistake: Mistake) -> str:
    for old, new in mistake.changes:
        assert old in base
        base = base.replace(old, new, 1)
    return base


def message_of(read: object, file: str) -> str:
    with pytest.raises(InputError) as caught:
        read(file)  # type: ignore[operator]
    message = str(caught.value)
    assert "\n" not in message
    assert caught.value.exit_code == 2
    return message


@pytest.fixture
def here(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.chdir(tmp_path)
    return tmp_path


@pytest.mark.parametrize("mistake", cases("tables", "loads", "readings"))
def test_mistake_in_a_run_file(mistake: Mistake, here: Path) -> None:
    base = (MISTAKES / "run.toml").read_text(encoding="utf-8")
    (here / "run.toml").write_text(changed(base, mistake), encoding="utf-8")
    assert message_of(read_run, "run.toml") == mistake.message


@pytest.mark.parametrize("mistake", cases("csv"))
def test_mistake_in_a_table_of_readings(mistake: Mistake, here: Path) -> None:
    base = (MISTAKES / "run.toml").read_text(encoding="utf-8")
    (here / "run.toml").write_text(base[: base.index("time =")] + 'file = "r.csv"', encoding="utf-8")
    (here / "r.csv").write_text(mistake.changes[0][1], encoding="utf-8")
    assert message_of(read_run, "run.toml") == mistake.message


@pytest.mark.parametrize("mistake", cases("part"))
def test_mistake_in_a_part_file(mistake: Mistake, here: Path) -> None:
    base = (MISTAKES / "part.toml").read_text(encoding="utf-8")
    (here / "part.toml").write_text(changed(base, mistake), encoding="utf-8")
    assert message_of(read_part, "part.toml") == mistake.message


def test_the_files_the_mistakes_are_made_in_are_right() -> None:
    assert len(read_run(MISTAKES / "run.toml").readings) == 3
    assert read_part(MISTAKES / "part.toml").limit.sag == 2.0


@pytest.mark.parametrize("read", [read_run, read_part])
@pytest.mark.parametrize(
    ("content", "message"),
    [
        (b"", "x.toml: the file is empty"),
        (b" \n\n", "x.toml: the file is empty"),
        (b"# nothing yet\n", "x.toml, format: missing; expected format = 1 as the first line"),
        (
            b'format = 1\nnote = "23 \xb0C"\n',
            "x.toml: not UTF-8 text (line 2); found 'byte 0xb0'; expected a file saved as UTF-8",
        ),
        (b"a = " + b"[" * 3000, "x.toml: nested too deeply; expected a TOML file"),
        (b"a = " + b"9" * 5000, "x.toml: a number with too many digits"),
        (
            b"format = 1\nformat = 1\n",
            "x.toml, line 2: not valid TOML (Cannot overwrite a value); found 'format = 1'; expected key = value, with "
            'text and quantities in quotes, such as mass = "0.2 kg"',
        ),
    ],
)
def test_files_that_are_no_toml(read: object, content: bytes, message: str, here: Path) -> None:
    (here / "x.toml").write_bytes(content)
    assert message_of(read, "x.toml") == message


@pytest.mark.parametrize("read", [read_run, read_part])
@pytest.mark.parametrize(
    ("name", "message"),
    [
        ("nowhere.toml", "nowhere.toml: there is no such file"),
        (".", ".: this is a directory; expected a file"),
        ("a\0b", "a\\x00b: cannot be read (embedded null byte)"),
    ],
)
def test_files_that_are_none(read: object, name: str, message: str, here: Path) -> None:
    assert message_of(read, name) == message


def test_a_byte_order_mark_is_no_mistake(here: Path) -> None:
    content = (MISTAKES / "run.toml").read_bytes()
    (here / "run.toml").write_bytes(b"\xef\xbb\xbf" + content.replace(b"\n", b"\r\n"))
    assert read_run("run.toml").steps == read_run(MISTAKES / "run.toml").steps


def test_the_tree_of_errors() -> None:
    assert issubclass(InputError, ValueError)
    assert issubclass(FitError, RuntimeError)
    assert issubclass(OutputExistsError, InputError)
    assert all(issubclass(kind, CreepfitError) for kind in (InputError, FitError))
    assert (CreepfitError.exit_code, InputError.exit_code, FitError.exit_code) == (1, 2, 2)


def test_an_error_learns_its_place_and_survives_another_process() -> None:
    error = InputError("too long", key="length", found="6 km", expected="a length").within("a.toml", "specimen")
    assert str(error) == "a.toml, specimen, length: too long; found '6 km'; expected a length"
    copy = pickle.loads(pickle.dumps(error))
    assert (type(copy), str(copy)) == (InputError, str(error))


def test_what_was_found_stays_on_one_short_line() -> None:
    message = str(InputError("unknown\nkey", file="a\x00b", found="a\nb" * 100))
    assert message.isprintable()
    assert message.startswith("a\\x00b: unknown\\nkey; found 'a\\nb")
    assert len(message) < 130
