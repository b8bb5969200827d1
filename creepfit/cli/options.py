"""What all commands share: options, kinds of argument, errors to exit codes, progress.

Only click and creepfit's errors and units are imported here, so that `creepfit --help` answers at once.
"""

from __future__ import annotations

import functools
import gc
import os
import sys
import traceback
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any, TypeVar

import click

from creepfit.cli.interrupts import noticed_interrupts
from creepfit.cli.output import message
from creepfit.errors import CreepfitError, InputError
from creepfit.limits import check_smallest

if TYPE_CHECKING:
    from rich.progress import Progress

Command = TypeVar("Command", bound=Callable[..., Any])
FAULT = 1
KNOWN_HELP = "A longer run of the same material to learn from; repeatable. The answer stays that of the RUN's specimen."
ANYWAY_HELP = "Take runs together although temperature, conditioning or print data differ."
STOPPED = 130
"""What a shell gives a program that Ctrl-C ended: 128 and the number of the signal."""

_DEBUG = "creepfit.debug"


class Commands(click.Group):
    """The group of commands; the one place where an exception becomes a line on stderr and an exit code."""

    def list_commands(self, ctx: click.Context) -> list[str]:
        """Return the commands in the order of a day's work, not of the alphabet."""
        return list(self.commands)

    def invoke(self, ctx: click.Context) -> Any:
        """Run a command. Exit code 0: done; 2: what the user gave; 1: a fault of ours; 130: stopped by Ctrl-C."""
        with noticed_interrupts() as interrupts:
            try:
                return super().invoke(ctx)
            except KeyboardInterrupt:
                raise _stopped() from None
            except click.UsageError as error:
                raise _with_hint(error) from None
            except (click.ClickException, click.Abort, click.exceptions.Exit, BrokenPipeError):
                raise
            except Exception as error:
                if interrupts:
                    raise _stopped() from None
                if debugging():
                    traceback.print_exc()
                else:
                    message(error_line(_as_typed(error, self.commands.get(ctx.invoked_subcommand or ""))))
                raise click.exceptions.Exit(exit_code(error)) from None


def _stopped() -> click.exceptions.Exit:
    message("creepfit: stopped")
    return click.exceptions.Exit(STOPPED)


def _as_typed(error: Exception, command: click.Command | None) -> Exception:
    """The error with an option in place of the name that the same has in Python: "--limit" for "limit"."""
    if command is None or not isinstance(error, InputError) or error.file is not None:
        return error
    options = [opt for p in command.params if isinstance(p, click.Option) for opt in p.opts if opt.startswith("--")]
    typed = {opt.removeprefix("--").replace("-", "_"): opt for opt in options}.get(error.key or "")
    if typed is None:
        return error
    return type(error)(error.problem, key=typed, found=error.found, expected=error.expected)


def _with_hint(error: click.UsageError) -> click.UsageError:
    """The error; of several files behind an option that takes one at a time, with how they are named."""
    options = [] if error.ctx is None else [p for p in error.ctx.command.params if isinstance(p, click.Option)]
    if "unexpected extra argument" in error.message and any("--material" in p.opts for p in options):
        return click.UsageError(f"{error.message}; several runs of a material: --material RUN --material RUN", error.ctx)
    return error


def exit_code(error: Exception) -> int:
    """Return 2 for what the user gave, 1 for a fault of ours."""
    return error.exit_code if isinstance(error, CreepfitError) else FAULT


def error_line(error: Exception) -> str:
    """Return an exception as one line; one that was not raised on purpose is owned up to."""
    text = " ".join(str(error).split())
    if isinstance(error, CreepfitError):
        return f"creepfit: {text}"
    return (
        f"creepfit: a fault of ours, not of your files ({type(error).__name__}: {text or 'no more is known'}); "
        "run it again with --debug and send us what it prints"
    )


class QuantityParam(click.ParamType[float]):
    """An option such as "30 d" or "2 mm", kept in the internal unit."""

    def __init__(self, kind: str, low: str = "") -> None:
        self.name, self.kind, self.low = kind, kind, low

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> float:
        """Return the quantity; a mistake is an InputError that names the option."""
        from creepfit.units import example_of, quantity

        if isinstance(value, float):
            return value
        name = option_name(param)
        size = quantity(value, self.kind, key=name)  # type: ignore[arg-type]
        if (self.low == "above zero" and size <= 0.0) or (self.low == "not below zero" and size < 0.0):
            raise InputError(key=name, found=value, expected=f"{example_of(self.kind)}, {self.low}")  # type: ignore[arg-type]
        if self.low:
            try:
                check_smallest(size, self.kind, value, example_of(self.kind))  # type: ignore[arg-type]
            except InputError as error:
                raise error.within(key=name) from None
        return size


class MomentParam(click.ParamType[float | str]):
    """A time such as "30 d" in s, or a date as it was typed."""

    name = "time"

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> float | str:
        """Return it; a mistake in a time is an InputError that names the option."""
        from creepfit.records.moments import looks_like_date

        if isinstance(value, str) and looks_like_date(value):
            return value
        return QuantityParam("time", "above zero").convert(value, param, ctx)


class LevelParam(click.ParamType[float]):
    """A probability: 0.9 or 90 %."""

    name = "probability"

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> float:
        """Return it as a fraction."""
        from creepfit.asked import asked_level

        return asked_level(value, option_name(param))


class ScatterParam(click.ParamType[float]):
    """What specimen and part differ by: 0.08 or 8 %."""

    name = "scatter"

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> float:
        """Return it as a fraction."""
        from creepfit.asked import asked_fraction

        return asked_fraction(value, option_name(param))


def part_options(command: Callable[..., None]) -> Callable[..., None]:
    """Add the part, what it is made of, the times asked about and the scatter, for commands that answer for a part."""
    material = "What the part is made of, as tested; repeatable: several runs are pooled, and so are those of a folder."
    for option in (
        click.option("--scatter", type=ScatterParam(), metavar="PERCENT", help='From specimen to part, such as "8 %".'),
        time_option("--at", 'When, such as "1 year"; repeatable.', multiple=True, required=True),
        click.option("--material", metavar="RUN", required=True, multiple=True, type=click.Path(), help=material),
        click.argument("part", type=click.Path()),
    ):
        command = option(command)
    return command


def option_name(param: click.Parameter | None) -> str:
    """Return how the user wrote an option: "--at"."""
    return param.opts[0] if param is not None and param.opts else "option"


def collect_rarely() -> None:
    """Look for garbage less often: what is imported stays, and going through it costs a twentieth of a command's time."""
    gc.set_threshold(50_000, 20, 20)


def one_thread() -> None:
    """Sums in one thread, unless the environment says otherwise: matrices are so small that several wait for one another.

    numpy asks the environment when it is first imported, so commands import it after this.
    """
    os.environ.setdefault("OMP_NUM_THREADS", "1")


def debugging() -> bool:
    """Whether --debug was given, in front of the command or behind it."""
    context = click.get_current_context(silent=True)
    return context is not None and bool(context.meta.get(_DEBUG))


def _remember_debug(ctx: click.Context, _: click.Parameter, value: bool) -> None:
    if value:
        ctx.meta[_DEBUG] = True


debug_option = click.option(
    "--debug",
    is_flag=True,
    expose_value=False,
    is_eager=True,
    callback=_remember_debug,
    help="On an error show the whole traceback.",
)
json_option = click.option("--json", "as_json", is_flag=True, help="Print JSON instead of text.")
level_option = click.option("--level", type=LevelParam(), help="Probability of the intervals; 0.9 if not given.")
seed_option = click.option("--seed", type=click.IntRange(min=0), help="Seed of the random draws; fixed if not given.")
force_option = click.option("--force", is_flag=True, help="Replace a file that is already there.")
save_option = click.option(
    "--save",
    "save_to",
    type=click.Path(),
    metavar="FILE",
    help="Also save the run as read, the options and a summary; such a file can stand wherever a RUN does. "
    "A folder takes one file for each run.",
)
figure_option = click.option("--figure", metavar="FILE", type=click.Path(), help="Also draw it there: .svg or .png.")
broke_option = click.option(
    "--broke",
    metavar="RUN",
    multiple=True,
    type=click.Path(),
    help="Bars of the material that broke or did not, as files or folders; repeatable: a line of life against stress.",
)
runs_argument = click.argument("runs", metavar="RUN...", nargs=-1, required=True, type=click.Path())
run_argument = click.argument("run", metavar="RUN", type=click.Path())


@dataclass(frozen=True)
class Common:
    """What every command that answers from a fit can be given."""

    as_json: bool
    level: float | None
    seed: int | None
    save_to: str | None
    force: bool
    known: tuple[str, ...] = ()
    anyway: bool = False


def answer_options(command: Callable[..., None]) -> Callable[..., None]:
    """Add those options to a command, which gets them as one argument `common`; nearest to the function, please."""

    @functools.wraps(command)
    def wrapped(as_json: bool, level: float | None, seed: int | None, save_to: str | None, force: bool, **own: Any) -> None:
        command(common=Common(as_json, level, seed, save_to, force), **own)

    for option in (debug_option, force_option, save_option, seed_option, level_option, json_option):
        wrapped = option(wrapped)
    return wrapped


full_option = click.option(
    "--full", is_flag=True, help="Print all there is: tables, what intervals are made of, every doubt."
)


def pool_options(command: Callable[..., None]) -> Callable[..., None]:
    """Add --pool and --anyway, for commands that take several runs of one material as one."""
    anyway = click.option("--anyway", is_flag=True, help=ANYWAY_HELP)
    pool = click.option("--pool", is_flag=True, help="Fit the runs together, as specimens of one material.")
    return pool(anyway(command))


def warmth_options(command: Callable[..., None]) -> Callable[..., None]:
    """Add --temperature, --climate and --warm, for answers at another temperature than the test's: as `warmth`."""

    @functools.wraps(command)
    def wrapped(temperature: float | None, climate: str | None, warm: tuple[str, ...], **own: Any) -> None:
        if temperature is not None and climate is not None:
            raise InputError(key="--climate", found="also --temperature", expected="one of them")
        command(warmth=TemperatureOptions(temperature, climate, warm), **own)

    for option in (
        click.option(
            "--warm",
            type=click.Path(),
            metavar="RUN",
            multiple=True,
            help="A run of the same material at another temperature; repeatable. Without one what is usual is counted in.",
        ),
        click.option("--climate", type=click.Path(), metavar="FILE", help="A temperature that changes: a table [climate]."),
        click.option(
            "--temperature",
            type=QuantityParam("temperature"),
            metavar="TEMPERATURE",
            help='Not the temperature of the test but this one, such as "35 degC".',
        ),
    ):
        wrapped = option(wrapped)
    return wrapped


@dataclass(frozen=True)
class TemperatureOptions:
    """The temperature an answer is for, and runs at other temperatures than the test's."""

    temperature: float | None
    climate: str | None
    warm: tuple[str, ...]


def known_options(command: Callable[..., None]) -> Callable[..., None]:
    """Add --known and --anyway to a command without `pool_options`; to be named after `answer_options`."""
    anyway = click.option("--anyway", is_flag=True, help=ANYWAY_HELP)

    @functools.wraps(command)
    def wrapped(anyway: bool, common: Common, **own: Any) -> None:
        command(common=replace(common, anyway=anyway), **own)

    return known_option(anyway(wrapped))


def known_option(command: Callable[..., None]) -> Callable[..., None]:
    """Add --known to a command that has --anyway of its own; to be named after `answer_options`."""

    @functools.wraps(command)
    def wrapped(known: tuple[str, ...], common: Common, **own: Any) -> None:
        command(common=replace(common, known=known, anyway=own.get("anyway", False)), **own)

    return click.option("--known", multiple=True, type=click.Path(), metavar="RUN", help=KNOWN_HELP)(wrapped)


def time_option(name: str, text: str, **more: Any) -> Callable[[Command], Command]:
    """Return an option for a time such as "30 d", kept in s."""
    return click.option(name, type=QuantityParam("time", "above zero"), metavar="TIME", help=text, **more)


def moment_option(name: str, text: str, multiple: bool = True, **more: Any) -> Callable[[Command], Command]:
    """Return an option for times in s or dates as they were typed; repeatable unless that is not `multiple`."""
    return click.option(name, type=MomentParam(), metavar="TIME", multiple=multiple, help=text, **more)


@contextmanager
def progress(what: str, total: int) -> Iterator[Callable[[], None]]:
    """Show on stderr how far the work is, if that is a terminal and it takes over a second; yields a step."""
    if not sys.stderr.isatty():
        yield lambda: None
        return
    bar = _bar()
    task = bar.add_task(what, total=total if total > 1 else None)
    from threading import Timer

    start = Timer(1.0, bar.start)
    start.daemon = True
    start.start()
    try:
        yield lambda: bar.advance(task)
    finally:
        start.cancel()
        start.join()
        bar.stop()


def _bar() -> Progress:
    from rich.console import Console
    from rich.progress import BarColumn, MofNCompleteColumn, Progress, TextColumn, TimeElapsedColumn

    columns = (TextColumn("{task.description}"), BarColumn(), MofNCompleteColumn(), TimeElapsedColumn())
    return Progress(*columns, console=Console(stderr=True), transient=True)
