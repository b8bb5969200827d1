"""What an answer rests on: what was assumed, the run file as read, and how to come to the same numbers again."""

from __future__ import annotations

import json
from typing import Any

import numpy as np
import tomlkit

from creepfit.answers.doubts.collected import prior_share
from creepfit.answers.heading import program_version
from creepfit.inference.fitting import Fit
from creepfit.records.run import Run
from creepfit.report.page.findings import Findings
from creepfit.report.text.pieces import percent, shown_unit

SET_ON = (
    "The allowances of the intervals were set on 303 published creep curves of 37 thermoplastics: moulded bars in a "
    "controlled climate, fitted to their readings at 1, 10 and 100 h and held against 1000 and 10 000 h. Printed bars "
    "that are read daily may differ; the prior of the exponent was kept wide for them."
)


def assumptions(findings: Findings) -> list[tuple[str, str]]:
    """What the answer takes for granted: (about what, in words)."""
    fit, run = findings.fit, findings.fit.run
    unit, noise = shown_unit(fit.unit), fit.observed.noise
    geometry = run.specimen.geometry
    rows = [
        (
            "load",
            "creep is proportional to the load, and the effects of loads put on one after another add up (Boltzmann)",
        ),
        (
            "gauge",
            f"one reading is good to {unit.number(noise.stated, noise.stated)} {unit.name} (one standard deviation; "
            f"repeatability {run.gauge.repeatability_source}, with the rounding); drift "
            f"{unit.number(noise.drift, noise.drift)} {unit.name} per root of a day ({noise.drift_source}); the readings "
            "may say otherwise",
        ),
        ("test", run.specimen.describe()),
    ]
    if geometry.relative_sd:
        rows.append(("sizes", f"their tolerances come to {percent(round(geometry.relative_sd, 4))} of the modulus"))
    if run.load_sd:
        rows.append(("load", f"its tolerance comes to {percent(round(run.load_sd, 4))} of the modulus"))
    rows += [("before the readings", text) for text in findings.forecast.assumptions]
    share = prior_share(fit)
    if share is not None:
        rows.append(("prior of the exponent", f"the readings leave {percent(round(share, 2))} of its variance"))
    rows.append(("what the intervals were set on", SET_ON))
    return rows


def how_to_reproduce(fit: Fit) -> list[tuple[str, str]]:
    """Versions, level and seed."""
    import scipy

    return [
        ("creepfit", program_version()),
        ("numpy", np.__version__),
        ("scipy", scipy.__version__),
        ("level of the intervals", percent(fit.level)),
        ("seed of the draws", str(fit.seed)),
    ]


def run_file(run: Run) -> str:
    """The run as it was read: its tables as TOML, its readings beneath."""
    if not run.source:
        return ""
    content = json.loads(run.source)
    lines = [_toml(content.get("tables", {}))]
    rows = content.get("readings")
    if rows:
        lines += ["", "# readings: time (s, or as a date), what the gauge showed, place in the file"]
        lines += [_reading(row) for row in rows]
    return "\n".join(lines)


def _reading(row: list[Any]) -> str:
    values = row[1] if isinstance(row[1], list) else [row[1]]
    warm = "" if len(row) < 4 or row[3] is None else f"  {_number(row[3])} degC"
    shown = " ".join(map(_number, values))
    return f"#   {_number(row[0]):>12}  {shown}{warm}  {row[4] if len(row) > 4 else ''}".rstrip()


def _number(value: Any) -> str:
    """Eight digits of a number; a date as it is."""
    return f"{value:.8g}" if isinstance(value, float | int) else str(value)


def _toml(tables: dict[str, Any]) -> str:
    """Keys first, then tables, then lists of tables, as a person would write them."""
    return tomlkit.dumps(dict(sorted(tables.items(), key=lambda item: _rank(item[1])))).rstrip()


def _rank(value: Any) -> int:
    if isinstance(value, dict):
        return 1
    return 2 if isinstance(value, list) and value and all(isinstance(v, dict) for v in value) else 0
