"""A shelf of results: one row for each saved result in a folder.

Every run is fitted by the version at hand, so that a table never mixes numbers of different versions; where those saved
were others, a note says so. What this version has fitted once, for a shelf or in a batch, is not fitted again
(`shelf_memory`).
"""

from __future__ import annotations

import os
from collections.abc import Callable, Sequence
from dataclasses import asdict, dataclass, replace
from typing import Any

from creepfit.answers.heading import heading_without_fit
from creepfit.answers.materials.shelf_memory import recalled, remember
from creepfit.answers.materials.shelf_row import Placed, ShelfRow, placed, placed_of
from creepfit.asked import asked_level
from creepfit.inference.fitting import DEFAULT_LEVEL, fit
from creepfit.inference.mixture import DEFAULT_SEED
from creepfit.inference.saved import Saved
from creepfit.inference.sources import Source, sources_of
from creepfit.inference.spreading import check_jobs, failure_line, spread
from creepfit.shown import Tabled
from creepfit.units import HOUR, show_time


@dataclass(frozen=True, repr=False)
class Shelf(Tabled):
    """All results; `notes` say what was saved twice or by a version with other numbers, `failed` what cannot be used."""

    rows: tuple[ShelfRow, ...]
    notes: tuple[str, ...]
    failed: tuple[str, ...]
    level: float
    seed: int | None

    @property
    def headline(self) -> str:
        return f"{len(self.rows)} results, {len(self.failed)} that cannot be used, level {self.level:g}"

    def _rows(self) -> list[dict[str, Any]]:
        """One row a result."""
        flat = []
        for row in self.rows:
            entry = row.to_dict()
            for creep in entry.pop("creep"):
                entry[f"creep {show_time(creep['time_h'] * HOUR)}".replace(" ", "_")] = creep
            flat.append(entry)
        return flat

    def to_dict(self) -> dict[str, Any]:
        """What --json prints."""
        return {
            **heading_without_fit([row.label for row in self.rows], self.level, self.seed),
            "results": [row.to_dict() for row in self.rows],
            "notes": list(self.notes),
            "failed": list(self.failed),
        }


def shelf(
    paths: Sequence[str | os.PathLike[str]],
    jobs: int = -1,
    level: float | None = None,
    seed: int | None = None,
    *,
    failed: Callable[[str], None] | None = None,
    step: Callable[[], None] | None = None,
) -> Shelf:
    """Put saved results side by side, one row each.

    Parameters
    ----------
    paths : sequence of paths
        Folders of saved results; also single results, run files and workbooks.
    jobs : int
        Processes to work with; -1 for one a core.
    level : float, optional
        Probability of all intervals, 0.9 if not given, whatever the results were saved with.
    seed : int, optional
        Seed of the draws; that of each result if not given.
    failed : callable, optional
        Called with each line about a file that cannot be used.
    step : callable, optional
        Called after each result.

    Raises
    ------
    InputError
        A folder without saved results, a number of jobs or a level that is none.
    """
    return shelf_of(sources_of(paths, "results"), jobs, level, seed, failed=failed, step=step)


def shelf_of(
    sources: Sequence[Source],
    jobs: int = -1,
    level: float | None = None,
    seed: int | None = None,
    *,
    failed: Callable[[str], None] | None = None,
    step: Callable[[], None] | None = None,
) -> Shelf:
    """As `shelf`, of results that are listed already."""
    check_jobs(jobs)
    level = asked_level(DEFAULT_LEVEL if level is None else level)
    keys, remembered = recalled(sources, level, seed)
    rows_by_place: dict[int, Placed | str] = {}
    for i, key in enumerate(keys):
        known = None if key is None or key not in remembered else placed_of(remembered[key])
        if known is not None:
            rows_by_place[i] = known
            if step is not None:
                step()
    tasks = [(i, source, level, seed) for i, source in enumerate(sources) if i not in rows_by_place]
    for task, made in spread(_place, tasks, 1 if len(tasks) <= 1 else jobs):
        i, source, *_ = task
        rows_by_place[i], key = made, keys[i]
        if isinstance(made, str):
            if failed is not None:
                failed(made)
        elif key is not None:
            remember(source.path, key, asdict(made))
        if step is not None:
            step()
    return _shelf([(source, rows_by_place[i]) for i, source in enumerate(sources)], level, seed)


def _shelf(each: Sequence[tuple[Source, Placed | str]], level: float, seed: int | None) -> Shelf:
    """The shelf of rows in their order, or of what is wrong with those that have none."""
    rows, failures, notes = [], [], []
    seen: dict[str, str] = {}
    for source, made in each:
        if isinstance(made, str):
            failures.append(made)
            continue
        first = seen.setdefault(made.fingerprint, source.name)
        if first != source.name:
            notes.append(f"{source.name}: the same run as in {first}, which is listed once")
            continue
        rows.append(replace(made.row, file=source.name))
        notes += [f"{source.name}: {note}" for note in made.notes]
    return Shelf(tuple(rows), tuple(notes), tuple(failures), level, seed)


def _place(task: tuple[int, Source, float, int | None]) -> Placed | str:
    _, source, level, seed = task
    try:
        read = source.read()
        notes: tuple[str, ...] = ()
        if isinstance(read, Saved):
            fitted = read.fit(seed=seed)
            lines = read.differences(fitted) if seed in (None, read.seed) else ()
            notes = tuple(line.removeprefix(f"{read.file}: ") for line in lines)
            fitted = fitted.at_level(level)
        else:
            fitted = fit(read, level=level, seed=DEFAULT_SEED if seed is None else seed)
        made = placed(fitted)
        return replace(made, notes=(*notes, *made.notes))
    except Exception as error:  # of ours or not: one result must not cost the others their rows
        return failure_line(source.name, error)
