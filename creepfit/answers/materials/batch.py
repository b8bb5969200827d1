"""`fit_all`: hundreds of runs fitted on all cores, or on a cluster, into a folder of saved results.

Runs are read and results written by the process that was called, so that workers need no access to its files and a
result is there as soon as it is known: a batch that was stopped goes on where it stopped. With each result goes its row of
a shelf, for which the fit is at hand only here (`shelf_memory`).
"""

from __future__ import annotations

import json
import os
from collections.abc import Callable, Iterator, Sequence
from dataclasses import asdict, dataclass
from itertools import islice
from pathlib import Path
from typing import Any

from creepfit.answers.materials.shelf_memory import key_of, remember
from creepfit.answers.materials.shelf_row import placed
from creepfit.asked import asked_level
from creepfit.errors import InputError
from creepfit.inference.mixture import DEFAULT_SEED
from creepfit.inference.priors import Priors, priors_for
from creepfit.inference.run_fit import DEFAULT_LEVEL, Begun, begin, fit_run
from creepfit.inference.saved import Saved, identity, is_saved, saved_text
from creepfit.inference.sources import Source, sources_of
from creepfit.inference.spreading import check_jobs, failure_line, spread
from creepfit.models.registry import MODELS
from creepfit.records.outputs import made_folder, write_text
from creepfit.records.run import Run
from creepfit.shown import Shown

MOST_AT_ONCE = 16
"""Runs that a worker fits side by side, of a large batch; more would hardly be faster, and progress would come in jumps."""

ROUNDS = 4
"""Turns of each worker in a small batch, so that the last ones end at about the same time."""


@dataclass(frozen=True)
class Task:
    """One run with the options of its fit, and where its saved result goes; all that a worker is sent."""

    name: str
    run: Run
    models: tuple[str, ...]
    level: float
    seed: int
    priors: Priors
    file: str


@dataclass(frozen=True, repr=False)
class Batch(Shown):
    """What became of the runs.

    `saved` and `kept` are files: written now, and there already with the same run and options. `failed` are lines that
    say which run could not be fitted and why.
    """

    saved: tuple[str, ...]
    kept: tuple[str, ...]
    failed: tuple[str, ...]

    @property
    def headline(self) -> str:
        return f"{len(self.saved)} fitted, {len(self.kept)} there already, {len(self.failed)} failed"

    @property
    def files(self) -> tuple[str, ...]:
        """All results, in alphabetical order."""
        return tuple(sorted((*self.saved, *self.kept)))


def fit_all(
    paths: Sequence[str | os.PathLike[str]],
    out_folder: str | os.PathLike[str],
    jobs: int = -1,
    cluster: str | None = None,
    force: bool = False,
    *,
    level: float | None = None,
    seed: int | None = None,
    failed: Callable[[str], None] | None = None,
    step: Callable[[], None] | None = None,
) -> Batch:
    """Fit every run and save each result.

    Parameters
    ----------
    paths : sequence of paths
        Run files, workbooks, saved results, and folders of run files and workbooks.
    out_folder : path
        Where results go, one file a run; made if it is not there.
    jobs : int
        Processes to work with; -1 for one a core, 1 for none but this.
    cluster : str, optional
        Address of a Dask scheduler, such as "tcp://10.0.0.5:8786", to work there instead (extra `creepfit[cluster]`).
        An address "tls://..." goes by Dask's own settings `distributed.comm.tls.ca-file`, `.client.cert` and `.client.key`,
        in its configuration file or as DASK_DISTRIBUTED__COMM__TLS__CA_FILE and so on.
    force : bool
        Replace results of the same name that are of another run, other options or another version.
    level, seed : optional
        As for `fit`; by default those of a saved result, else the usual ones.
    failed : callable, optional
        Called with each line about a run that cannot be fitted, as soon as it is known.
    step : callable, optional
        Called after each run.

    Raises
    ------
    InputError
        A folder without runs, a place that cannot be written to, a number of jobs that is none, a scheduler that does
        not answer.
    FitError
        A worker that ended before its work was done.

    Notes
    -----
    Results whose run, options and version are the same are kept as they are. A result is the same to the last digit as
    that of `save_fit` after `fit`, whatever the number of jobs.
    """
    options = {"level": level, "seed": seed, "failed": failed, "step": step}
    return fit_sources(sources_of(paths), out_folder, jobs, cluster, force, **options)  # type: ignore[arg-type]


def fit_sources(
    sources: Sequence[Source],
    out_folder: str | os.PathLike[str],
    jobs: int = -1,
    cluster: str | None = None,
    force: bool = False,
    *,
    level: float | None = None,
    seed: int | None = None,
    failed: Callable[[str], None] | None = None,
    step: Callable[[], None] | None = None,
) -> Batch:
    """As `fit_all`, of runs that are listed already."""
    check_jobs(jobs)
    folder = made_folder(out_folder, "the name of a folder for results", parents=True)
    progress = _Progress(failed, step)
    tasks = _tasks(sources, folder, level, seed, force, progress)
    together = _in_turns(tasks, _at_once(len(sources), jobs))
    finished = spread(_fitted, together, jobs, cluster)
    for task, made in (pair for several, each in finished for pair in zip(several, each, strict=True)):
        if isinstance(made, str):
            progress.fail(made)
            continue
        write_text(task.file, made.text, force=True)  # whether it may be replaced was asked before the work was done
        if made.row is not None:
            remember(task.file, key_of(made.text.encode("utf-8"), DEFAULT_LEVEL, None), made.row)
        progress.save(task.file)
    return Batch(tuple(sorted(progress.saved)), tuple(sorted(progress.kept)), tuple(progress.failures))


class _Progress:
    """Collects what became of the runs and tells those who want to know."""

    def __init__(self, failed: Callable[[str], None] | None, step: Callable[[], None] | None) -> None:
        self._failed, self._step = failed, step
        self.saved: list[str] = []
        self.kept: list[str] = []
        self.failures: list[str] = []

    def save(self, file: str) -> None:
        self.saved.append(file)
        self._moved()

    def keep(self, file: str) -> None:
        self.kept.append(file)
        self._moved()

    def fail(self, line: str) -> None:
        self.failures.append(line)
        if self._failed is not None:
            self._failed(line)
        self._moved()

    def _moved(self) -> None:
        if self._step is not None:
            self._step()


def _tasks(
    sources: Sequence[Source],
    folder: Path,
    level: float | None,
    seed: int | None,
    force: bool,
    progress: _Progress,
) -> Iterator[Task]:
    """Read the runs one after another, as workers ask for them, and leave out what is done or cannot be done."""
    targets = _targets(sources, folder)
    taken: dict[str, str] = {}
    for source, target in zip(sources, targets, strict=True):
        try:
            other = taken.setdefault(str(target), source.name)
            if other != source.name:
                raise InputError(f"its result would replace that of {other}", file=source.name, expected="another name")
            task = _task(source, str(target), level, seed)
            if _is_done(task):
                progress.keep(task.file)
                continue
            if target.exists() and not force:
                problem = "holds a result of another run, other options or another version"
                raise InputError(problem, file=str(target), expected="another folder, or --force to replace it")
        except Exception as error:
            progress.fail(failure_line(source.name, error))
            continue
        yield task


def _targets(sources: Sequence[Source], folder: Path) -> list[Path]:
    """A file for each run by the name of its own; where names meet, with that of its folder in front."""
    stems = [source.stem for source in sources]
    homes: dict[str, set[str]] = {}
    for source, stem in zip(sources, stems, strict=True):
        homes.setdefault(stem, set()).add(source.name)
    names = []
    for source, stem in zip(sources, stems, strict=True):
        home = Path(source.path).resolve().parent.name
        names.append(f"{home}-{stem}" if len(homes[stem]) > 1 and home else stem)
    return [folder / f"{name}.json" for name in names]


def _task(source: Source, file: str, level: float | None, seed: int | None) -> Task:
    read = source.read()
    if isinstance(read, Saved):
        own = read.run, read.models, read.level, read.seed, read.priors
    else:
        names = tuple(dict.fromkeys(m.name for m in MODELS))
        own = read, names, DEFAULT_LEVEL, DEFAULT_SEED, priors_for(read.kind, read.prior)
    run, models, old_level, old_seed, priors = own
    return Task(
        source.name,
        run,
        models,
        old_level if level is None else level,
        old_seed if seed is None else seed,
        priors,
        file,
    )


def _is_done(task: Task) -> bool:
    """Whether the result is there already, of the same run, options and version."""
    if not is_saved(task.file):
        return False
    try:
        content = json.loads(Path(task.file).read_text(encoding="utf-8-sig"))
    except (OSError, ValueError):
        return False
    wanted = json.loads(json.dumps(identity(task.run, task.models, task.level, task.seed, task.priors)))
    return isinstance(content, dict) and all(content.get(key) == value for key, value in wanted.items())


@dataclass(frozen=True)
class _Made:
    """What a worker sends back: the content of a saved result, and its row of a shelf, None where it has none."""

    text: str
    row: dict[str, Any] | None


def _at_once(runs: int, jobs: int) -> int:
    """How many runs a worker fits side by side: so many that it gains by it, and few enough to keep all workers busy."""
    workers = jobs if jobs > 0 else os.cpu_count() or 1
    return min(max(runs // (ROUNDS * workers), 1), MOST_AT_ONCE)


def _in_turns(tasks: Iterator[Task], most: int) -> Iterator[list[Task]]:
    """The tasks, so many at a time."""
    while several := list(islice(tasks, most)):
        yield several


def _fitted(tasks: Sequence[Task]) -> list[_Made | str]:
    """Saved results, or the lines that say why there is none: for each the same whatever it is done beside."""
    begun: list[Begun | None] = [None] * len(tasks)
    for models in dict.fromkeys(task.models for task in tasks):
        alike = [i for i, task in enumerate(tasks) if task.models == models]
        for i, known in zip(alike, begin([tasks[i].run for i in alike], models), strict=True):
            begun[i] = known
    return [_one(task, known) for task, known in zip(tasks, begun, strict=True)]


def _one(task: Task, begun: Begun | None) -> _Made | str:
    try:
        fitted = fit_run(task.run, task.models, task.priors, asked_level(task.level), task.seed, begun)
        text = saved_text(fitted)
    except Exception as error:  # of ours or not: one run must not cost the others their answers
        return failure_line(task.name, error)
    try:
        return _Made(text, asdict(placed(fitted.at_level(DEFAULT_LEVEL))))
    except Exception:  # the shelf itself says of it what is wrong
        return _Made(text, None)
