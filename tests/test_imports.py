"""Import budget, in a child interpreter: what the package and `--help` may not load."""

from __future__ import annotations

import subprocess
import sys
from graphlib import TopologicalSorter
from pathlib import Path

import grimp

from creepfit.cli.commands import main

HEAVY = ("lmfit", "pandas", "matplotlib", "scipy.stats", "pint", "pydantic", "openpyxl", "jinja2", "rich", "joblib")


def loaded_after(code: str) -> set[str]:
    """Modules a fresh interpreter has loaded after running some code."""
    program = f"import sys\n{code}\nprint('MODULES', *sys.modules)"
    done = subprocess.run([sys.executable, "-c", program], capture_output=True, text=True, check=True)
    line = next(line for line in done.stdout.splitlines() if line.startswith("MODULES"))
    return set(line.split())


def test_importing_the_package_loads_nothing_of_weight() -> None:
    loaded = loaded_after("import creepfit")
    assert not loaded & {*HEAVY, "numpy", "scipy", "click"}


def test_help_loads_nothing_of_weight() -> None:
    """All in one interpreter: what is heavy is named by the first that loads it."""
    asked = [["--version"], ["--help"], *([c, "--help"] for c in main.commands)]
    code = (
        "from creepfit.cli.commands import main\n"
        f"for arguments in {asked!r}:\n"
        "    assert main(arguments, standalone_mode=False) in (None, 0)\n"
        f"    heavy = sys.modules.keys() & { ({*HEAVY, 'numpy', 'scipy'})!r}\n"
        "    assert not heavy, (arguments, heavy)"
    )
    loaded_after(code)


def test_reading_a_run_loads_neither_lmfit_nor_pandas(tmp_path: Path) -> None:
    code = (
        "from creepfit.records.templates import run_template\n"
        f"path = {str(tmp_path / 'run.toml')!r}\n"
        "open(path, 'w', encoding='utf-8').write(run_template())\n"
        "import creepfit\nrun = creepfit.read_run(path)"
    )
    assert not loaded_after(code) & {"lmfit", "pandas", "matplotlib", "scipy.stats"}


def test_a_fit_on_the_command_line_loads_none_of_the_heavy_ones(tmp_path: Path) -> None:
    """lmfit only where the descent of all models together does not settle."""
    code = (
        "from creepfit.records.templates import run_template\n"
        f"path = {str(tmp_path / 'run.toml')!r}\n"
        "open(path, 'w', encoding='utf-8').write(run_template())\n"
        "from creepfit.cli.commands import main\nassert main(['fit', path], standalone_mode=False) in (None, 0)"
    )
    loaded = loaded_after(code)
    assert not loaded & {"lmfit", "pandas", "scipy.stats", "scipy.optimize", "scipy.linalg", "matplotlib"}
    assert not any(module.startswith("creepfit.answers.part") for module in loaded)


def test_figures_do_without_the_state_of_pyplot() -> None:
    assert "matplotlib.pyplot" not in loaded_after("import creepfit.report.figures.drawings")


def test_the_words_of_a_page_do_without_matplotlib() -> None:
    """It is loaded beside the command, which would wait for it."""
    assert "matplotlib" not in loaded_after("import creepfit.report.page.html, creepfit.report.page.together")


def test_no_circle_of_files() -> None:
    """import-linter looks within each room's folders; this looks across all of them."""
    graph = grimp.build_graph("creepfit")
    TopologicalSorter({file: graph.find_modules_directly_imported_by(file) for file in graph.modules}).prepare()
