"""Saved results: the run as read, the options of its fit and a summary of the numbers.

A saved result holds nothing that could go stale: it is fitted anew when it is loaded, and the summary only serves
to say so where another version comes to other numbers (and lets a person or a spreadsheet read it).
"""

from __future__ import annotations

import json
import math
import os
from collections.abc import Iterator, Sequence
from dataclasses import asdict, dataclass
from functools import cache
from importlib.metadata import version
from json.encoder import encode_basestring
from pathlib import Path
from typing import Any

import numpy as np

from creepfit.errors import InputError
from creepfit.inference.fitting import Fit, fit
from creepfit.inference.priors import Priors
from creepfit.inference.response import predicted
from creepfit.inference.run_fit import asked_fit
from creepfit.models.coordinate import ExponentPrior
from creepfit.records.build_run import run_from_source
from creepfit.records.file_content import decoded, read_bytes
from creepfit.records.outputs import write_text
from creepfit.records.run import Run
from creepfit.shown import Shown
from creepfit.units import HOUR, show_number, show_time

KIND = "saved result"
FORMAT = 1
LARGEST = 1_000_000_000
"""Bytes of a saved result: it carries its readings."""

ROWS = 25
"""Times of the saved forecast: a dozen a decade, close enough to interpolate between."""

SAME = 1e-3
"""Relative difference below which two numbers count as the same: far below any standard error, far above rounding."""


@dataclass(frozen=True, repr=False)
class Saved(Shown):
    """A loaded result: the run, the options of its fit, the summary as it was, and the version that wrote it."""

    run: Run
    models: tuple[str, ...]
    level: float
    seed: int
    priors: Priors
    summary: dict[str, Any]
    version: str
    file: str

    @property
    def headline(self) -> str:
        return f"{self.run.label}, saved by version {self.version}"

    def fit(self, level: float | None = None, seed: int | None = None) -> Fit:
        """Fit the run anew, with the saved options where none are given here."""
        return fit(
            self.run,
            models=self.models,
            priors=self.priors,
            level=self.level if level is None else level,
            seed=self.seed if seed is None else seed,
        )

    def differences(self, again: Fit) -> tuple[str, ...]:
        """Say where numbers come out other than they were saved; nothing where they agree.

        Only what the readings determine is compared: a parameter without a standard error may end anywhere.
        """
        now = dict(_numbers(summary(again)))
        lines = []
        for name, (old, error) in _numbers(self.summary):
            new = now.get(name, (None, None))[0]
            if error is None or old is None or new is None:
                continue
            if abs(new - old) > SAME * max(abs(old), abs(new)):
                digits = 5 if show_number(old) == show_number(new) else 3
                lines.append(f"{name} was {show_number(old, digits=digits)}, is {show_number(new, digits=digits)}")
        if not lines:
            return ()
        here = version("creepfit")
        by = f"saved by version {self.version}, this is {here}" if self.version != here else "same version"
        rest = f"; and {len(lines) - 4} more" if len(lines) > 4 else ""
        return (f"{self.file}: the numbers differ from those saved ({by}): {'; '.join(lines[:4])}{rest}",)


def is_saved(path: str | os.PathLike[str]) -> bool:
    """Whether a file looks like a saved result and not like a run file: JSON begins with a brace, TOML cannot."""
    try:
        if not os.path.isfile(path):  # a pipe would be waited for
            return False
        with open(path, "rb") as file:
            return file.read(64).lstrip(b"\xef\xbb\xbf \t\r\n").startswith(b"{")
    except (OSError, ValueError):
        return False


def save_fit(result: Fit, path: str | os.PathLike[str], force: bool = False) -> None:
    """Write a fit to a JSON file.

    Parameters
    ----------
    result : Fit
        Of a run that was read from a file.
    path : path
    force : bool
        Replace a file that is already there.

    Raises
    ------
    OutputExistsError
        The file exists and `force` is false.
    InputError
        It cannot be written, or the run was not read from a file.
    """
    result = asked_fit(result)
    if not result.run.source:
        raise InputError("only a run that was read from a file can be saved", file=os.fspath(path))
    write_text(path, saved_text(result), force)


def saved_text(result: Fit) -> str:
    """The content of a saved result."""
    made_from = identity(result.run, tuple(result.models), result.level, result.seed, result.priors)
    content = {"creepfit": KIND, "format": FORMAT, **made_from, "summary": summary(result)}
    return _indented(content) + "\n"


def _indented(value: Any, margin: str = "\n") -> str:
    """What `json.dumps` makes of it with an indent of 1, in half of the time; ValueError for a number that is none."""
    if isinstance(value, str):
        return encode_basestring(value)
    if isinstance(value, float) and math.isfinite(value):
        return float.__repr__(value)
    inside = margin + " "
    if isinstance(value, dict) and value:
        items = [f"{encode_basestring(key)}: {_indented(own, inside)}" for key, own in value.items()]
        return f"{{{inside}{f',{inside}'.join(items)}{margin}}}"
    if isinstance(value, list | tuple) and value:
        return f"[{inside}{f',{inside}'.join([_indented(own, inside) for own in value])}{margin}]"
    return json.dumps(value, allow_nan=False)


def identity(run: Run, models: Sequence[str], level: float, seed: int, priors: Priors) -> dict[str, Any]:
    """What a saved result is made from: with the same version, run and options the numbers are the same."""
    return {
        "version": _version(),
        "run": json.loads(run.source),
        "options": {"models": list(models), "level": level, "seed": seed, "priors": asdict(priors)},
    }


@cache
def _version() -> str:
    """The version at hand, which is read from a file each time that it is asked for."""
    return version("creepfit")


def load_saved(path: str | os.PathLike[str]) -> Saved:
    """Read a saved result.

    Raises
    ------
    InputError
        No such file, or one that `save_fit` did not write.
    """
    file = os.fspath(path)
    try:
        content = json.loads(decoded(read_bytes(Path(path), file, LARGEST), file), parse_constant=_refused)
    except InputError:
        raise
    except (ValueError, RecursionError):
        raise InputError("cannot be read as a saved result (not JSON, perhaps cut short)", file=file) from None
    if not (isinstance(content, dict) and content.get("creepfit") == KIND):
        raise InputError("not a saved result", file=file, expected="a file written by --save, or a run file")
    if content.get("format") != FORMAT:
        raise InputError(file=file, key="format", found=content.get("format"), expected=f"{FORMAT}")
    try:
        options = content["options"]
        run = run_from_source(json.dumps(content["run"]), file)
        saved = dict(options["priors"])
        priors = Priors(**{**saved, "exponent": ExponentPrior(**saved["exponent"])})
        level, seed = float(options["level"]), int(options["seed"])
        if not 0.0 < level < 1.0 or seed < 0:
            raise ValueError(f"level {level:g}, seed {seed}")
        summary = dict(content["summary"])
        _check_numbers(summary)
        models = tuple(map(str, options["models"]))
        return Saved(run, models, level, seed, priors, summary, str(content["version"]), file)
    except (AttributeError, KeyError, TypeError, ValueError, RecursionError) as error:
        if isinstance(error, InputError):
            raise error.within(file) from None
        raise InputError("a saved result that was changed by hand or cut short", file=file, found=error) from None


def _refused(constant: str) -> float:
    raise ValueError(f"{constant} is no number")


def _check_numbers(of: dict[str, Any]) -> None:
    """Raise ValueError or the like where a summary is not as `summary` writes it."""
    if not {"models", "forecast", "unit"} <= set(of):
        raise KeyError("summary")
    for name, (value, error) in _numbers(of):
        for number in (value, error):
            if number is not None and (isinstance(number, bool) or not math.isfinite(number)):
                raise ValueError(name)
    for row in of["forecast"]:
        if not row["time_h"] > 0.0 or not all(math.isfinite(row[key]) for key in ("low", "median", "high")):
            raise ValueError("forecast")


def summary(result: Fit) -> dict[str, Any]:
    """The numbers worth reading in a saved file: models with parameters, and the forecast."""
    return {
        "material": result.run.material,
        "specimen": result.run.name,
        "test": result.run.specimen.describe(),
        "readings": len(result.run.used),
        "models": [
            {
                "model": name,
                "weight": result.mixture.weight_of(name),
                "noise_sd": model.noise_sd,
                "parameters": [
                    {"name": p.name, "value": p.value, "std_error": p.std_error, "unit": p.unit} for p in model.parameters
                ],
            }
            for name, model in result.models.items()
        ],
        "last_reading_h": result.run.test_length / HOUR,
        "unit": result.unit,
        "forecast": _forecast(result),
    }


def _forecast(result: Fit) -> list[dict[str, float]]:
    """Change since the reference reading if the last load had stayed on, to 100 times the data.

    It is kept so that readings taken later can be held against what was said before they were known, and is what
    `forecast` says: no upper end below that without ageing.
    """
    times = np.geomspace(result.run.test_length, result.horizon, ROWS)
    intervals = predicted(result, result.run.working_history, times).intervals(result.level)
    return [{"time_h": float(t) / HOUR, **interval.to_dict()} for t, interval in zip(times, intervals, strict=True)]


def _numbers(of: dict[str, Any]) -> Iterator[tuple[str, tuple[float | None, float | None]]]:
    """Every number of a summary by name, with an error (for an interval its width) where it is determined."""
    for model in of.get("models", ()):
        for p in model["parameters"]:
            yield f"{model['model']} {p['name']}", (p["value"], p["std_error"])
    for row in of.get("forecast", ()):
        name = f"median after {show_time(row['time_h'] * HOUR)} under load [{of['unit']}]"
        yield name, (row["median"], row["high"] - row["low"])
