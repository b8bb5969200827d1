"""Work spread over the cores of this machine, or over a cluster, and the line about what failed."""

from __future__ import annotations

import socket
from collections.abc import Callable, Iterable, Iterator
from contextlib import ExitStack, contextmanager
from typing import Any
from urllib.parse import urlsplit

from creepfit.errors import CreepfitError, FitError, InputError

PATIENCE = 10
"""Seconds to wait for a scheduler to answer."""

OUR_FAULT = "a fault of ours"
"""Words in the line about a failure that is not the user's."""

NO_DASK = "a cluster needs dask, which is not installed"


def check_jobs(jobs: int) -> None:
    """Raise InputError for a number of processes that is none."""
    if jobs == 0 or jobs < -1:
        raise InputError(key="jobs", found=jobs, expected="a number of processes from 1 on, or -1 for one a core")


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
