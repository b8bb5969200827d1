"""What is handed on: an archive of the sources, and a wheel from it that runs where nothing else of this project is."""

from __future__ import annotations

import shutil
import subprocess
import sys
import tarfile
import zipfile
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[1]
BUILD = "import sys; from setuptools import build_meta; print(getattr(build_meta, sys.argv[1])(sys.argv[2]))"


def built(kind: str, source: Path, into: Path) -> Path:
    into.mkdir(exist_ok=True)
    words = [sys.executable, "-c", BUILD, kind, str(into)]
    done = subprocess.run(words, cwd=source, capture_output=True, text=True, check=True)
    return into / done.stdout.split()[-1]


@pytest.fixture(scope="module")
def wheel(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A wheel from the archive from a copy of the sources, so that nothing of the working copy can stand in."""
    place = tmp_path_factory.mktemp("supply")
    source = place / "source"
    source.mkdir()
    shutil.copytree(ROOT / "creepfit", source / "creepfit", ignore=shutil.ignore_patterns("__pycache__"))
    for name in ("pyproject.toml", "README.md"):
        shutil.copy(ROOT / name, source)
    archive = built("build_sdist", source, place / "dist")
    with tarfile.open(archive) as packed:
        packed.extractall(place / "unpacked", filter="data")
    (unpacked,) = (place / "unpacked").iterdir()
    return built("build_wheel", unpacked, place / "dist")


def test_the_wheel_holds_every_file_of_the_package(wheel: Path) -> None:
    wanted = {
        str(p.relative_to(ROOT)) for p in (ROOT / "creepfit").rglob("*") if p.is_file() and "__pycache__" not in p.parts
    }
    with zipfile.ZipFile(wheel) as packed:
        found = {name for name in packed.namelist() if name.startswith("creepfit/")}
    assert found == wanted


def compiled_as_here(copy: Path) -> None:
    """Files that are the same to the byte need not be compiled once more: that takes as long as the answers."""
    for path in copy.rglob("*.py"):
        here = ROOT / path.relative_to(copy)
        assert path.read_bytes() == here.read_bytes()
        shutil.copystat(here, path)
    for folder in (ROOT / "creepfit").rglob("__pycache__"):
        shutil.copytree(folder, copy / folder.relative_to(ROOT))


def test_the_wheel_answers_elsewhere(wheel: Path, tmp_path: Path) -> None:
    with zipfile.ZipFile(wheel) as packed:
        packed.extractall(tmp_path / "lib")
    compiled_as_here(tmp_path / "lib")
    for name in ("bracket.toml", "petg-strip.toml", "petg-strip.csv"):
        shutil.copy(ROOT / "demo" / name, tmp_path)
    code = (
        f"import sys; sys.path.insert(0, {str(tmp_path / 'lib')!r})\n"
        "import creepfit; assert creepfit.__file__.startswith(sys.path[0]), creepfit.__file__\n"
        "from creepfit.cli import main\n"
        "main(['sag', 'bracket.toml', '--material', 'petg-strip.toml', '--at', '1 year'], standalone_mode=False)\n"
        "main(['report', 'petg-strip.toml', '-o', 'page.html'], standalone_mode=False)"
    )
    done = subprocess.run([sys.executable, "-c", code], cwd=tmp_path, capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stderr
    assert "mm" in done.stdout
    assert "</html>" in (tmp_path / "page.html").read_text(encoding="utf-8")
