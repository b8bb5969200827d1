"""`fit_all`: hundreds of runs fitted on all cores, or on a cluster, into a folder of saved results.

Runs are read and results written by the process that was called, so that workers need no access to its files and a
result is there as soon as it is known: a batch that was stopped goes on where it stopped.
"""

from __future__ import annotations

import json
import os
import socket
from collections.abc import Callable, Iterable, Iterator, Sequence
from contextlib import ExitStack, contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Any
from urllib.parse import urlsplit

from creepfit.errors import CreepfitError, FitError, InputError
from creepfit.inference.fitting import DEFAULT_LEVEL, fit
from creepfit.inference.mixture import DEFAULT_SEED
from creepfit.inference.priors import Priors, priors_for
from creepfit.inference.saved import Saved, identity, is_saved, saved_text
from creepfit.inference.sources import Source, sources_of
from creepfit.models.registry import MODELS
from creepfit.records.outputs import made_folder, write_text
from creepfit.records.run import Run
from creepfit.shown import Shown

PATIENCE = 10
"""Seconds to wait for a scheduler to answer."""

OUR_FAULT = "a fault of ours"
"""Words in the line about a failure that is not the user's."""

NO_DASK = "a cluster needs dask, which is not installed"


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
    for task, (text, problem) in spread(_fitted, tasks, jobs, cluster):
        if text is None:
            progress.fail(problem)
            continue
        write_text(task.file, text, force=True)  # whether it may be replaced was asked before the work was done
        progress.save(task.file)
    return Batch(tuple(sorted(progress.saved)), tuple(sorted(progress.kept)), tuple(progress.failures))


def check_jobs(jobs: int) -> None:
    """Raise InputError for a number of processes that is none."""
    if jobs == 0 or jobs < -1:
        raise InputError(key="jobs", found=jobs, expected="a number of processes from 1 on, or -1 for one a core")


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


def _fitted(task: Task) -> tuple[str | None, str]:
    """The content of the saved result, or None and the line that says why there is none."""
    try:
        fitted = fit(task.run, models=task.models, priors=task.priors, level=task.level, seed=task.seed)
        return saved_text(fitted), ""
    except Exception as error:  # of ours or not: one run must not cost the others their answers
        return None, failure_line(task.name, error)


def failure_line(name: str, error: Exception) -> str:
    """One line about a run that failed, with its name."""
    text = " ".join(str(error).split())
    if not isinstance(error, CreepfitError):
        text = f"{OUR_FAULT} ({type(error).__name__}: {text or 'no more is known'})"
    return text if text.startswith(name) or (isinstance(error, InputError) and error.file) else f"{name}: {text}"


def spread(
    work: Callable[[Any], Any], tasks: Iterable[Any], jobs: int = -1, cluster: str | None = None
) -> Iterator[tuple[Any, Any]]:
    """Do some work for every task, on all cores or on a cluster; yield task and result as results arrive.

    Tasks are asked for as workers become free, so that thousands of them need no more memory than a few.

    Raises
    ------
    InputError
        A cluster without dask, or whose scheduler does not answer.
    FitError
        A worker that ended before its work was done.
    """
    if jobs == 1 and cluster is None:
        for task in tasks:
            yield task, work(task)
        return
    from joblib import Parallel, delayed
    from joblib.externals.loky.process_executor import TerminatedWorkerError

    with ExitStack() as stack:
        if cluster is not None:
            stack.enter_context(_on_cluster(cluster))
            jobs = -1
        parallel = Parallel(n_jobs=jobs, return_as="generator_unordered", pre_dispatch="3*n_jobs")
        try:
            yield from parallel(delayed(_with_task)(work, task) for task in tasks)
        except TerminatedWorkerError:
            raise FitError(
                "a worker process was ended from outside, perhaps for want of memory; what was done is saved: start the "
                "same command again to go on, with fewer --jobs"
            ) from None


def _with_task(work: Callable[[Any], Any], task: Any) -> tuple[Any, Any]:
    return task, work(task)


@contextmanager
def _on_cluster(address: str) -> Iterator[None]:
    """Joblib on a Dask cluster."""
    try:
        from distributed import Client
    except ImportError:
        raise InputError(NO_DASK, key="cluster", expected='pip install "creepfit[cluster]"') from None
    from joblib import parallel_config

    _knock(address)
    if address.startswith("tls://"):
        _certified(address)
    try:
        client = Client(address, timeout=PATIENCE, set_as_default=False)  # type: ignore[no-untyped-call]
    except OSError as error:
        raise InputError(f"no scheduler answers ({error})", key="cluster", found=address) from None
    with client, parallel_config(backend="dask", client=client, wait_for_workers_timeout=PATIENCE):
        yield


def _certified(address: str) -> None:
    """Refuse to go by TLS without certificates, of which Dask would say in a traceback."""
    from distributed.security import Security

    try:
        context = Security().get_connection_args("client")["ssl_context"]  # type: ignore[no-untyped-call]
        problem = "no certificates" if context is None else ""
    except OSError as error:  # no such file, or none that holds a certificate
        problem = f"certificates that cannot be read ({error})"
    if problem:
        expected = "Dask's settings distributed.comm.tls.ca-file, .client.cert and .client.key"
        raise InputError(problem, key="cluster", found=address, expected=expected)


def _knock(address: str) -> None:
    """Refuse an address at which nothing listens, before a client is made that would go on trying."""
    expected = 'the address of a running scheduler, such as "tcp://10.0.0.5:8786"'
    try:
        place = urlsplit(address if "://" in address else f"tcp://{address}")
        if place.hostname is None or place.port is None:
            raise InputError("no address", key="cluster", found=address, expected=expected)
        socket.create_connection((place.hostname, place.port), timeout=PATIENCE).close()
    except InputError:
        raise
    except (OSError, ValueError):
        raise InputError("no scheduler answers", key="cluster", found=address, expected=expected) from None
