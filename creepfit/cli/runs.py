"""From what was named on the command line to runs and fits: run files, workbooks, saved results; and where fits go."""

from __future__ import annotations

import os
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import replace
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, Literal, TypeVar

import click

from creepfit.cli.options import Common, TemperatureOptions, debugging, error_line, exit_code, progress
from creepfit.cli.output import message
from creepfit.errors import CreepfitError, FitError, InputError

if TYPE_CHECKING:
    from creepfit.answers.temperature.dependence import TemperatureDependence
    from creepfit.inference.fitting import Fit
    from creepfit.inference.pooling import PooledFit
    from creepfit.inference.saved import Saved
    from creepfit.records.run import Run

    Source = tuple[str, Callable[[], Run | Saved]]

Result = TypeVar("Result")
Read = TypeVar("Read")


def sources_of(paths: Sequence[str], folders: Literal["runs", "results"] = "runs") -> list[Source]:
    """Return name and reader of every run named: in files, in sheets of workbooks, in folders."""
    from creepfit.inference.sources import sources_of as found_in

    return [(source.name, source.read) for source in found_in(paths, folders)]


def read_source(path: str) -> Run | Saved:
    """Read the one run that is named.

    Raises
    ------
    InputError
        Any mistake in it, or several runs.
    """
    listed = sources_of([path])
    if len(listed) > 1:
        names = "; ".join(f'"{name}"' for name, _ in listed)
        raise InputError("several runs where one is wanted", file=path, expected=f"one of them: {names}")
    return listed[0][1]()


def read_runs(paths: Sequence[str]) -> list[Run]:
    """Read every run named, without fitting any: for what broke."""
    return [run_of(read()) for _, read in sources_of(paths)]


def run_of(source: Run | Saved) -> Run:
    """Return the run of either."""
    from creepfit.inference.saved import Saved

    return source.run if isinstance(source, Saved) else source


def fit_of(source: Run | Saved, name: str, common: Common, several: bool = False) -> Fit:
    """Fit a run and save it where that was asked for.

    A saved result is fitted anew, and it is said where the numbers differ from those saved.
    """
    _check_save(name, common, several)
    result = _fitted(source, name, common, several)
    _save(result, name, common, several)
    return result


def _fitted(source: Run | Saved, name: str, common: Common, several: bool) -> Fit:
    from creepfit.inference.fitting import DEFAULT_LEVEL, fit
    from creepfit.inference.mixture import DEFAULT_SEED
    from creepfit.inference.saved import Saved

    try:
        if common.known:
            return _with_known(run_of(source), common, several)
        if not isinstance(source, Saved):
            return fit(
                source,
                level=DEFAULT_LEVEL if common.level is None else common.level,
                seed=DEFAULT_SEED if common.seed is None else common.seed,
            )
        again = source.fit(common.level, common.seed)
    except FitError as error:
        raise FitError(f"{name}: {error}") from None
    if common.seed in (None, source.seed) and common.level in (None, source.level):
        for text in source.differences(again):
            message(text)
    return again


def _with_known(run: Run, common: Common, several: bool) -> Fit:
    """Fit a run with the longer runs of its material that were named; among several runs each takes those of its own."""
    from creepfit.inference.fitting import DEFAULT_LEVEL, fit
    from creepfit.inference.mixture import DEFAULT_SEED

    if common.save_to is not None:
        raise InputError("a fit with known runs is not saved", key="--save", expected="to save the run alone")
    known = [run_of(read()) for _, read in sources_of(common.known)]
    if several:
        known = [other for other in known if other.material.casefold() == run.material.casefold()]
    return fit(
        run,
        known=known,
        anyway=common.anyway,
        level=DEFAULT_LEVEL if common.level is None else common.level,
        seed=DEFAULT_SEED if common.seed is None else common.seed,
    )


def one_fit(path: str, common: Common) -> Fit:
    """Read and fit the one run of a command."""
    return fit_of(read_source(path), path, common)


def material_fit(paths: Sequence[str], common: Common) -> Fit:
    """Fit what a part is made of: one run as it is, several, or those of a folder, together."""
    if len(paths) > 1:
        return pooled_fit(paths, common, anyway=False)
    if not os.path.isdir(paths[0]):
        return one_fit(paths[0], common)
    named = sources_of(paths, "results")
    if len(named) == 1:
        return fit_of(named[0][1](), named[0][0], common)
    return pool_of([run_of(read()) for _, read in named], common, anyway=False)


def pooled_fit(paths: Sequence[str], common: Common, anyway: bool) -> PooledFit:
    """Fit all runs that are named as one material.

    Raises
    ------
    InputError
        Runs that cannot be pooled; a place to save to, which a pool has none of.
    """
    return pool_of([run_of(read()) for _, read in sources_of(paths)], common, anyway)


def pool_of(runs: Sequence[Run], common: Common, anyway: bool) -> PooledFit:
    """Fit runs as one material; see `pooled_fit`."""
    from creepfit.inference.fitting import DEFAULT_LEVEL
    from creepfit.inference.mixture import DEFAULT_SEED
    from creepfit.inference.pooling import fit_pooled

    if common.known:
        expected = "--known for one run after another, or all of them pooled"
        raise InputError("known runs beside a pool", key="--known", expected=expected)
    if common.save_to is not None:
        raise InputError("a pool is not saved", key="--save", expected="to save each run, and pool the saved ones")
    level = DEFAULT_LEVEL if common.level is None else common.level
    return fit_pooled(runs, anyway=anyway, level=level, seed=DEFAULT_SEED if common.seed is None else common.seed)


def each(
    sources: Sequence[tuple[str, Callable[[], Read]]], what: str, work: Callable[[str, Read], Result]
) -> tuple[list[Result], int]:
    """Do some work for every run named; one that cannot be used is named, and the rest is done.

    Returns
    -------
    list of results, and the exit code: that of the last failure, 0 where there was none.
    """
    answers, code = [], 0
    with progress(what, len(sources)) as step:
        for name, read in sources:
            try:
                answers.append(work(name, read()))
            except Exception as error:  # of ours or not: one run must not cost the others their answers
                if len(sources) == 1 or debugging():
                    raise
                message(error_line(error) if isinstance(error, CreepfitError) else f"{name}: {error_line(error)}")
                code = exit_code(error)
            step()
    return answers, code


@contextmanager
def with_those_left(code: int) -> Iterator[None]:
    """Answer from the runs that are left where some could not be used, without saying what is wrong only for that."""
    try:
        yield
    except CreepfitError:
        if code:
            raise click.exceptions.Exit(code) from None
        raise


def named_apart(sources: Sequence[Source]) -> list[Source]:
    """The sources of runs that name one bar with the names of their files, by which an answer tells them apart."""
    if len(sources) < 2:
        return list(sources)
    read: list[Run | Saved | None] = []
    for _, reader in sources:
        try:
            read.append(reader())
        except CreepfitError:  # said where its turn comes
            read.append(None)
    bars = [None if source is None else run_of(source).bar for source in read]
    stems = [Path(name.replace(", sheet ", "-")).stem for name, _ in sources]
    names = stems if len(set(stems)) == len(stems) else [name for name, _ in sources]
    return [
        (name, reader if source is None else partial(_apart, source, own if bars.count(bar) > 1 else ""))
        for (name, reader), source, bar, own in zip(sources, read, bars, names, strict=True)
    ]


def _apart(source: Run | Saved, name: str) -> Run | Saved:
    """A run with what tells it apart, as it is where that is ""."""
    if not name:
        return source
    from creepfit.inference.saved import Saved

    if isinstance(source, Saved):
        return replace(source, run=replace(source.run, apart=name))
    return replace(source, apart=name)


def fits_of_one_material(
    paths: Sequence[str], common: Common, anyway: bool, but: tuple[str, ...] = ()
) -> tuple[list[Fit], int]:
    """Fit every run named, to be held against one another; the exit code is that of `each`.

    Raises
    ------
    InputError
        A run that is named twice, or runs that differ in more than `but` where not `anyway`.
    """
    from creepfit.inference.pool_checks import check_distinct, check_poolable

    sources = sources_of(paths)

    def work(name: str, source: Run | Saved) -> Fit:
        return fit_of(source, name, common, len(sources) > 1)

    fits, code = each(sources, "fitting", work)
    check_distinct([fit.run for fit in fits])
    check_poolable([fit.run for fit in fits], anyway, but=but)
    return fits, code


def save_path(save: str, name: str, several: bool) -> Path:
    """Return the file a run is saved to: as given, or in the folder given, by the name of its own file.

    Raises
    ------
    InputError
        No name; several runs and no folder.
    """
    if not save:
        raise InputError("no name", key="--save", expected="the name of a file to write, or of a folder")
    target = Path(save)
    if os.path.isdir(save) or save.endswith(os.sep):
        file, _, sheet = name.partition(", sheet ")
        stem = Path(file).stem + (f"-{sheet}" if sheet else "")
        return target / "".join(c if c.isalnum() or c in "-_. " else "-" for c in f"{stem}.json")
    if several:
        raise InputError("several runs need a folder", key="--save", found=save, expected="a folder that exists")
    return target


def _check_save(name: str, common: Common, several: bool) -> None:
    """Refuse a place that cannot be written to before the work for it is done."""
    if common.save_to is None:
        return
    from creepfit.records.outputs import check_ending, check_writable

    path = save_path(common.save_to, name, several)
    check_writable(path, common.force)
    check_ending(path, ".json")


def _save(result: Fit, name: str, common: Common, several: bool) -> None:
    if common.save_to is None:
        return
    from creepfit.inference.saved import save_fit

    path = save_path(common.save_to, name, several)
    save_fit(result, path, common.force)
    message(f"saved {path}")


def dependence_of(fitted: Fit, warmth: TemperatureOptions, common: Common) -> TemperatureDependence | None:
    """Dependence on temperature by the run asked about and those of --warm; None without any."""
    if not warmth.warm:
        return None
    from creepfit.answers.temperature.dependence import temperature_dependence
    from creepfit.inference.pool_checks import check_distinct, check_poolable

    others = [fit_of(read(), name, replace(common, save_to=None)) for name, read in sources_of(warmth.warm)]
    runs = [f.run for f in (fitted, *others)]
    check_distinct(runs)
    check_poolable(runs, False, but=("temperature",))
    return temperature_dependence([fitted, *others])


def material_in_warmth(
    paths: Sequence[str], warmth: TemperatureOptions, common: Common
) -> tuple[Fit, TemperatureDependence | None]:
    """The fit of what a part is made of, and what the temperature of its own file is answered by.

    Where a temperature or a climate was asked for, the fit is in that already.
    """
    fitted = material_fit(paths, common)
    if warmth.temperature is None and warmth.climate is None:
        return fitted, dependence_of(fitted, warmth, common)
    return in_warmth(fitted, warmth, common), None


def in_warmth(fitted: Fit, warmth: TemperatureOptions, common: Common) -> Fit:
    """The fit at the temperature or in the climate that was asked for."""
    if warmth.temperature is None and warmth.climate is None:
        if warmth.warm:
            raise InputError(key="--warm", found="no --temperature", expected="--temperature or --climate, which it is for")
        return fitted
    from creepfit.answers.temperature.warming import at_temperature
    from creepfit.records.climate_table import read_climate

    dependence = dependence_of(fitted, warmth, common)
    if warmth.climate is not None:
        return at_temperature(fitted, read_climate(warmth.climate), dependence, key="climate", file=warmth.climate)
    assert warmth.temperature is not None
    return at_temperature(fitted, warmth.temperature, dependence, key="--temperature")
