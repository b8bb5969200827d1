"""Import budget, in a child interpreter: what the package, `--help` and more may not load."""

from __future__ import annotations

import subprocess
import sys
from graphlib import TopologicalSorter

import grimp
import pytest

from creepfit.cli.commands import main
from creepfit.records.templates import run_template

HEAVY = ("lmfit", "pandas", "matplotlib", "scipy.stats", "pint", "pydantic", "openpyxl", "jinja2", "rich", "joblib")


STEPS = {
    "the package": "import creepfit",
    "a quantity": "from creepfit.units import quantity; quantity('5 d', 'time'), quantity('2 N', 'force')",
    # what is heavy is named by the first that loads it
    "help": f"""
from creepfit.cli.commands import main
for asked in {[["--version"], ["--help"], *([c, "--help"] for c in main.commands)]!r}:
    assert main(asked, standalone_mode=False) in (None, 0)
    heavy = sys.modules.keys() & { {*HEAVY, "numpy", "scipy"}!r}
    assert not heavy, (asked, heavy)
""",
    "a message": "from creepfit.cli.output import message; message('written')",
    "a run": "creepfit.read_run('run.toml')",
    "a fit": "assert main(['fit', 'run.toml'], standalone_mode=False) in (None, 0)",
    "the words of a page": "import creepfit.report.page.html, creepfit.report.page.together",
    "the figures": "import creepfit.report.figures.drawings",
    "drawing": """
import matplotlib as mpl
from creepfit.report.figures.style import look
def now(): return {k: v for k, v in mpl.rcParams.items() if not k.startswith('backend')}
mpl.use('agg'); before = now()
with look(): assert now() != before
print('STATE', 'left behind' if now() != before else 'as before')
""",
}
"""What one interpreter does one after the other, each step with less to do without than the one before."""


@pytest.fixture(scope="module")
def said(tmp_path_factory: pytest.TempPathFactory) -> list[list[str]]:
    """Words of each line that a fresh interpreter prints."""
    folder = tmp_path_factory.mktemp("imports")
    (folder / "run.toml").write_text(run_template(), encoding="utf-8")
    code = "\n".join(f"{step}\nprint('MODULES', *sys.modules)" for step in STEPS.values())
    program = [sys.executable, "-c", f"import sys\n{code}"]
    done = subprocess.run(program, cwd=folder, capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stderr
    return [line.split() for line in done.stdout.splitlines()]


@pytest.fixture(scope="module")
def loaded(said: list[list[str]]) -> dict[str, set[str]]:
    """Modules it has loaded after each step."""
    lists = [words for words in said if words[:1] == ["MODULES"]]
    return dict(zip(STEPS, map(set, lists), strict=True))


def test_importing_the_package_loads_nothing_of_weight(loaded: dict[str, set[str]]) -> None:
    assert not loaded["the package"] & {*HEAVY, "numpy", "scipy", "click"}


def test_ordinary_units_never_load_pint(loaded: dict[str, set[str]]) -> None:
    assert not loaded["a quantity"] & {*HEAVY, "numpy", "scipy"}


def test_help_loads_nothing_of_weight(loaded: dict[str, set[str]]) -> None:
    assert not loaded["help"] & {*HEAVY, "numpy", "scipy"}


def test_a_message_loads_nothing_of_weight(loaded: dict[str, set[str]]) -> None:
    assert not loaded["a message"] & {*HEAVY, "numpy", "scipy"}


def test_reading_a_run_loads_neither_lmfit_nor_pandas(loaded: dict[str, set[str]]) -> None:
    assert not loaded["a run"] & {"lmfit", "pandas", "matplotlib", "scipy.stats"}


def test_a_fit_on_the_command_line_loads_none_of_the_heavy_ones(loaded: dict[str, set[str]]) -> None:
    """lmfit only where the descent of all models together does not settle."""
    assert not loaded["a fit"] & {"lmfit", "pandas", "scipy.stats", "scipy.optimize", "scipy.linalg", "matplotlib"}
    assert not any(module.startswith("creepfit.answers.part") for module in loaded["a fit"])


def test_the_words_of_a_page_do_without_matplotlib(loaded: dict[str, set[str]]) -> None:
    """It is loaded beside the command, which would wait for it."""
    assert "matplotlib" not in loaded["the words of a page"]


def test_figures_do_without_the_state_of_pyplot(loaded: dict[str, set[str]]) -> None:
    assert "matplotlib.pyplot" not in loaded["the figures"]


def test_drawing_leaves_no_global_state_behind(said: list[list[str]], loaded: dict[str, set[str]]) -> None:
    assert ["STATE", "as", "before"] in said
    assert "matplotlib.pyplot" not in loaded["drawing"]


def test_no_circle_of_files() -> None:
    """import-linter looks within each room's folders; this looks across all of them."""
    graph = grimp.build_graph("creepfit")
    TopologicalSorter({file: graph.find_modules_directly_imported_by(file) for file in graph.modules}).prepare()
