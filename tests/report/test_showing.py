"""Results at a prompt, in a notebook, in words and as figures; and the figures of the command line."""

from __future__ import annotations

import ast
import json
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from click.testing import CliRunner, Result
from matplotlib.figure import Figure

import creepfit as cf
from creepfit.cli import main
from creepfit.errors import InputError

pytestmark = pytest.mark.few_draws

DEMO = Path(__file__).parents[2] / "demo"
NUMBERS = {"low", "median", "high"}


@pytest.fixture(scope="module")
def run() -> cf.Run:
    return cf.read_run(DEMO / "petg-strip.toml")


@pytest.fixture(scope="module")
def fit(run: cf.Run) -> cf.Fit:
    return cf.fit(run)


@pytest.fixture(scope="module")
def results(run: cf.Run, fit: cf.Fit) -> dict[str, Any]:
    pla, stepped = (cf.fit(cf.read_run(DEMO / f"{name}.toml")) for name in ("pla-strip", "petg-steps"))
    return {
        "run": run,
        "fit": fit,
        "summary": cf.summarise(fit),
        "forecast": cf.forecast(fit, ["30 d", "1 year"], limit="3 mm"),
        "other load": cf.forecast(fit, "30 d", load="1 N", kind="reading"),
        "modulus": cf.creep_modulus(fit, ["1 h", "1 d"]),
        "stop": cf.creep_stop(fit),
        "recovery": cf.recovery(fit, ["1 d", "30 d"], level=0.8),
        "increments": cf.increments(fit),
        "next": cf.next_reading(fit),
        "check": cf.check(run),
        "sag": cf.sag(cf.read_part(DEMO / "bracket.toml"), fit),
        "comparison": cf.compare([fit, pla]),
        "linearity": cf.linearity([stepped]),
        "stress": cf.stress_dependence([stepped]),
    }


def test_what_is_left_is_drawn_up_to_the_time_that_was_asked_about(fit: cf.Fit) -> None:
    drawn = cf.plot(cf.recovery(fit, ["1 d", "60 d"])).axes[0]
    assert drawn.get_xlim()[1] >= 60 * 86400.0


def test_a_table_leaves_no_column_out_where_it_is_printed(fit: cf.Fit) -> None:
    for result in (fit, cf.forecast(fit, ["30 d", "1 year"])):
        table = result.table()
        printed = repr(table)
        assert "..." not in printed
        assert all(column in printed for column in table.columns)
        assert max(map(len, printed.splitlines())) <= 100


def test_every_result_is_a_line_a_table_words_and_a_figure(results: dict[str, Any]) -> None:
    for name, result in results.items():
        line = repr(result)
        assert line.startswith(f"<{type(result).__name__}: "), name
        assert "\n" not in line
        assert len(line) < 500, name
        assert "<table" in result._repr_html_(), name
        assert len(cf.text(result).splitlines()) > 2, name
        figure = cf.plot(result)
        assert isinstance(figure, Figure), name
        assert figure._repr_svg_().lstrip().startswith("<?xml"), name  # type: ignore[attr-defined]
        assert result.table().shape[0] > 0 or name in ("check", "next")


def test_columns_have_one_way_of_naming(results: dict[str, Any]) -> None:
    for name, result in results.items():
        columns = set(result.table().columns)
        assert not [c for c in columns if "." in c or " " in c], name
        assert "time" not in columns, name  # the unit stands in the name


def test_what_a_notebook_shows_is_escaped(fit: cf.Fit) -> None:
    from dataclasses import replace

    hostile = replace(fit, run=replace(fit.run, name="<script>alert(1)</script>"))
    assert "<script>" not in cf.forecast(hostile, "1 d")._repr_html_()


def test_cautions_come_with_what_a_notebook_shows(results: dict[str, Any]) -> None:
    assert "rupture" in results["forecast"]._repr_html_()


def test_the_wrong_thing_is_refused_with_the_way_to_the_right_one(run: cf.Run, fit: cf.Fit) -> None:
    part = cf.read_part(DEMO / "bracket.toml")
    wrong: list[tuple[Callable[[], Any], str]] = [
        (lambda: cf.forecast(run), r"fit: a Run where a Fit is wanted; expected what cf.fit\(run\)"),  # type: ignore[arg-type]
        (lambda: cf.sag("file.toml", fit), r"part: a str where a Part is wanted; expected what cf.read_part"),  # type: ignore[arg-type]
        (lambda: cf.sag(fit, part), "part: a Fit where a Part is wanted"),  # type: ignore[arg-type]
        (lambda: cf.fit("file.toml"), r"run: a str where a Run is wanted; expected what cf.read_run"),  # type: ignore[call-overload]
        (lambda: cf.fit([run, run]), r"expected fit\(runs, pool=True\)"),  # type: ignore[call-overload]
        (lambda: cf.compare(fit), "fits: one Fit; expected a list"),  # type: ignore[arg-type]
        (lambda: cf.linearity([run]), "fits: a Run where a Fit is wanted"),  # type: ignore[list-item]
        (lambda: cf.check("file.toml"), "fit: a str where a Fit is wanted"),  # type: ignore[arg-type]
        (lambda: cf.save_fit(run, "x.json"), "fit: a Run where a Fit is wanted"),  # type: ignore[arg-type]
        (lambda: cf.plot("x"), "a str cannot be drawn"),
        (lambda: cf.text(3), "a int has no text"),
    ]
    for ask, words in wrong:
        with pytest.raises(InputError, match=words):
            ask()


def test_the_notebook_runs(monkeypatch: pytest.MonkeyPatch) -> None:
    """Its code cells one after the other, as a kernel would, and what each leaves last can be shown."""
    monkeypatch.chdir(DEMO)
    book = json.loads((DEMO / "first-look.ipynb").read_text(encoding="utf-8"))
    names: dict[str, Any] = {}
    shown = 0
    for cell in book["cells"]:
        if cell["cell_type"] != "code":
            continue
        assert cell["outputs"] == []
        body = ast.parse("".join(cell["source"]))
        last = body.body[-1]
        if isinstance(last, ast.Expr):
            body.body.pop()
        exec(compile(body, "cell", "exec"), names)
        if isinstance(last, ast.Expr):
            value = eval(compile(ast.Expression(last.value), "cell", "eval"), names)
            ways = [getattr(value, way) for way in ("_repr_html_", "_repr_svg_") if hasattr(value, way)]
            shown += any(way() for way in ways)
    assert shown == 11


def command(*words: str) -> Result:
    return CliRunner().invoke(main, list(words))


@pytest.mark.parametrize(
    ("words", "suffix"),
    [
        (("fit", "petg-strip.toml"), "svg"),
        (("forecast", "petg-strip.toml", "--at", "30 d"), "png"),
        (("recover", "petg-strip.toml", "--after", "1 d"), "svg"),
        (("sag", "bracket.toml", "--material", "petg-strip.toml", "--at", "1 year"), "svg"),
        (("compare", "petg-strip.toml", "pla-strip.toml"), "SVG"),
    ],
)
def test_a_command_draws_its_answer(
    words: tuple[str, ...], suffix: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(DEMO)
    file = tmp_path / f"answer.{suffix}"
    done = command(*words, "--figure", str(file))
    assert done.exit_code == 0, done.output
    assert file.read_bytes().startswith(b"\x89PNG" if suffix == "png" else b"<?xml")
    before = file.read_bytes()
    again = command(*words, "--figure", str(file))
    assert (again.exit_code, file.read_bytes()) == (2, before)
    assert "--force" in again.output


def test_a_figure_is_refused_before_the_work(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(DEMO)
    wrong = command("fit", "petg-strip.toml", "--figure", str(tmp_path / "answer.jpg"))
    assert wrong.exit_code == 2
    assert "ends in .svg or .png" in wrong.output
    several = command("fit", "petg-strip.toml", "pla-strip.toml", "--figure", str(tmp_path / "answer.svg"))
    assert several.exit_code == 2
    assert "--figure: several runs" in several.output
    assert not list(tmp_path.iterdir())
