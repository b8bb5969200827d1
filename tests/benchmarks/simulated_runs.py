"""Simulated five-day runs of many truths (`truths.py`): whether intervals hold, and how reliable what is said of limits is.

    python tests/benchmarks/simulated_runs.py table --runs 200 --keep FILE
    python tests/benchmarks/simulated_runs.py fine --runs 10 --keep FILE
    python tests/benchmarks/simulated_runs.py halved --runs 20 --keep FILE
    python tests/benchmarks/simulated_runs.py thinned --runs 50 --keep FILE
    python tests/benchmarks/simulated_runs.py nudged --runs 50 --keep FILE
    python tests/benchmarks/simulated_runs.py unseen --runs 10 --keep FILE
    python tests/benchmarks/simulated_runs.py stops --runs 4 --keep FILE
    python tests/benchmarks/simulated_runs.py alarms --runs 40 --keep FILE

Every run that is finished is written to FILE, a line each, so that what was stopped goes on, and `--runs 0` prints what is
there. A file is of one version of creepfit. Seeds are fixed.
"""

from __future__ import annotations

import argparse
import json
from collections.abc import Callable, Sequence
from dataclasses import replace
from pathlib import Path

import joblib
import numpy as np
from numpy.typing import NDArray
from truths import AT_ONCE, CASES, CREEP, DAY, FINE, MINUTE, YEAR, Case, flow, names, questions

from creepfit.answers.doubts.collected import check_run
from creepfit.answers.doubts.flow import flow_doubts, unseen_flow
from creepfit.answers.specimen.creep_stop import creep_stop
from creepfit.inference.columns import Observations
from creepfit.inference.fitting import fit
from creepfit.inference.freest_curve import FreestCurve
from creepfit.inference.mixture import Draws, mixture
from creepfit.inference.priors import priors_for
from creepfit.inference.promises import counted
from creepfit.inference.unknown_steps import steps_seen, with_unknown_steps
from creepfit.mechanics.loading import LoadHistory

Array = NDArray[np.float64]

DRAWS = 2000

SLACK = 1e-4
"""A tenth of a micrometre: what one retardation time leaves after 30 d is 1e-11 mm, and a draw of 1e-9 mm is no miss."""

ENDS = (0.05, 0.25, 0.5, 0.75, 0.95)
LIMITS = np.geomspace(0.8, 4.0, 25)
"""Limits of the reliability curve, over the deformation at five days."""

THINNED = (
    "n 0.1",
    "n 0.2",
    "n 0.3",
    "n 0.2 + flow 0.156",
    "n 0.2 + flow 0.1 %/d",
    "Zener 10 h",
    "Burgers 20 h, flow 0.2",
    "n 0.2, caliper of 0.05 mm",
    "n 0.2, first reading 1 d, few",
)

NUDGED = ("n 0.1", "n 0.2", "n 0.3", "n 0.2, never unloaded", "n 0.3, never unloaded", "n 0.2 + flow 0.156")

FINEST = 0.0005

MOST_ABOVE, MOST_HIGH = 0.15, 1.25
"""What was aimed at: runs whose truth lies above the upper end, and a plain power's upper end over it at a year."""

HELD = LoadHistory.held(1.0)

STOPPED = ("no", "gauge only", "material", "cannot be told")

ALARMS = ("goes back", "no-creep-seen", "jump", "outlier", "plateau", "copied-reading")
"""Doubts of which a run whose load and gauge stayed as they were is to raise none: codes, and readings that go back."""

GAUGES: dict[str, dict[str, float]] = {
    "0.01 mm": {},
    "0.01 mm, which walks 0.01 mm per root day": {"walk": 0.01},
    "caliper of 0.05 mm": {"sd": 0.05, "rounded": 0.05},
    "of 0.1 mm": {"sd": 0.1, "rounded": 0.1},
}
"""Gauges of which a run's creep is 64, 64, 6 and 3 standard deviations."""


def measured(
    keep: Path, score: Callable[[str, int], list[float]], over: Sequence[str], runs: int, jobs: int
) -> dict[str, Array]:
    """Scores of runs by truth, shape (runs, numbers): those in the file, and those not yet in it, all truths in turn."""
    known: dict[tuple[str, int], list[float]] = {}
    if keep.exists():
        for line in keep.read_text().splitlines():
            what, name, seed, *numbers = json.loads(line)
            if what == score.__name__:
                known[name, seed] = numbers
    for seed in range(runs):
        left = [name for name in over if (name, seed) not in known]
        found = joblib.Parallel(jobs)(joblib.delayed(score)(name, seed) for name in left)
        with keep.open("a") as out:
            for name, numbers in zip(left, found, strict=True):
                out.write(json.dumps([score.__name__, name, seed, *numbers]) + "\n")
                known[name, seed] = numbers
    return {name: np.array([v for (n, _), v in sorted(known.items()) if n == name]) for name in over}


def of_draws(draws: Draws, history: LoadHistory, times: Array) -> tuple[Array, list[Array]]:
    """Ends and median, shape (5, T), and the draws at the last time, with and without ageing where there is any, plain and
    as a promise counts them.

    Ageing never lowers the upper end.
    """
    held = draws.deformation(history, times)
    found, promise = np.quantile(held, ENDS, axis=0), counted(draws)
    aged = [g.rows for g in draws.groups if g.member.rate is not None]
    if not aged:
        return found, [held[:, -1], held[promise, -1]]
    rows = np.setdiff1d(np.arange(draws.count), np.concatenate(aged))
    found[-1] = np.maximum(found[-1], np.quantile(held[rows], ENDS[-1], axis=0))
    return found, [held[r, -1] for r in (slice(None), promise, rows, promise[np.isin(promise, rows)])]


def score_run(name: str, seed: int) -> list[float]:
    """Ends at 30 d and a year over the truth (5, 2), what a promise for a year counts with; for each limit the probability
    said of a year, and if it was kept.

    Deformation is in proportion to load, so the load said to keep a limit with probability 0.95 breaks it just where the
    truth lies above the 95th percentile of what a promise counts.
    """
    return _score(CASES[name], seed)


def _score(case: Case, seed: int) -> list[float]:
    truth = case.truth.response(*questions(case))
    observed = case.observed(np.random.default_rng(seed))
    if case.slip:  # a fit looks for steps in every run; in runs without one it finds next to none, and it takes long
        observed = with_unknown_steps(observed, steps_seen(FreestCurve(observed)))
    found, year = of_draws(mixture(observed, priors_for(None), case.age).draws(DRAWS, seed), *questions(case))
    limits = LIMITS * (AT_ONCE + CREEP)
    kept = np.min([(draws[:, None] <= limits).mean(axis=0) for draws in year], axis=0)
    end = max(float(np.quantile(draws, ENDS[-1])) for draws in year) / truth[-1]
    return np.concatenate([np.ravel(found / truth), [end], kept, truth[-1] <= limits]).round(5).tolist()


def score_fine(name: str, seed: int) -> list[float]:
    """Ends at 30 d and a year over the truth, read with a gauge of 0.0005 mm."""
    case = FINE[name] if name in FINE else CASES[name].changed(sd=FINEST, rounded=FINEST)
    return _score(case, seed)[:10]


def fine(keep: Path, runs: int, jobs: int, only: Sequence[str]) -> None:
    """What goes by in silence where a fine gauge leaves few models: its own truths, and all others."""
    print("truth | runs | truth above the upper end at 30 d, 1 year | below the lower | upper end over truth at 1 year")
    over = [name for name in (*FINE, *(n for n in CASES if n not in FINE)) if not only or any(w in name for w in only)]
    for name, score in measured(keep, score_fine, over, runs, jobs).items():
        q = score.reshape(-1, 5, 2)
        slack = SLACK / CASES["n 0.2"].truth.response(*questions(CASES["n 0.2"]))
        above, below = q[:, 4] < 1.0 - slack, q[:, 0] > 1.0 + slack
        counts = [", ".join(f"{100.0 * v:.0f}" for v in c.mean(axis=0)) for c in (above, below)]
        print(f"{name} | {len(q)} | {' | '.join(counts)} | {np.median(q[:, 4, 1]):.2f}")


def score_halved(name: str, seed: int) -> list[float]:
    """Ends at 30 d and a year over the truth, with the repeatability stated as it is and as half of it."""
    case = CASES[name]
    return [*_score(case, seed)[:10], *_score(case.changed(stated=0.5 * case.stated), seed)[:10]]


def halved(keep: Path, runs: int, jobs: int, only: Sequence[str]) -> None:
    """What it costs to state half of the repeatability, on the same readings."""
    print("truth | runs | 90 % holds at 30 d, 1 year | stated half | truth above | stated half | high over truth at 1 "
          "year | stated half")  # fmt: skip
    every = []
    for name, score in measured(keep, score_halved, names(only), runs, jobs).items():
        slack = SLACK / CASES[name].truth.response(*questions(CASES[name]))
        q = score.reshape(-1, 2, 5, 2)
        above, below = q[:, :, 4] < 1.0 - slack, q[:, :, 0] > 1.0 + slack
        every.append(np.stack([~(above | below), above], axis=1))  # (runs, holds or above, stated, times)
        counts = 100.0 * every[-1].mean(axis=0)
        high = np.median(q[:, :, 4, 1], axis=0)
        texts = [f"{a:.0f}, {b:.0f}" for row in counts for a, b in row]
        print(f"{name} | {len(q)} | " + " | ".join(texts) + f" | {high[0]:.2f} | {high[1]:.2f}")
    each = np.array([e.mean(axis=0) for e in every])  # truths count alike
    runs_apart = np.array([(1.0 * e[:, 0, 1] - e[:, 0, 0]).var(axis=0) / len(e) for e in every])
    error = 100.0 * np.sqrt(runs_apart.sum(axis=0)) / len(every)
    for k, when in enumerate(("30 d", "1 year")):
        (whole, half), (above, above_half) = 100.0 * each.mean(axis=0)[:, :, k]
        print(f"all, {when}: 90 % holds {whole:.1f}, stated half {half:.1f} (costs {whole - half:.1f} ± {error[k]:.1f}); "
              f"above {above:.1f}, {above_half:.1f}")  # fmt: skip


def table(keep: Path, runs: int, jobs: int, only: Sequence[str]) -> None:
    """One table of all truths, those kept apart marked, what misses its target, and what is said of limits over all."""
    print("| truth | | 90 % holds | 50 % holds | truth above the upper end | median, upper end over truth at 1 year | "
          "promise over truth at 1 year, broken |\n| --- | --- | --- | --- | --- | --- | --- |")  # fmt: skip
    broken: dict[str, float] = {}
    missed: list[str] = []
    scores = measured(keep, score_run, names(only), runs, jobs)
    for name, score in scores.items():
        case = CASES[name]
        q = score[:, :10].reshape(-1, 5, 2)
        slack = SLACK / case.truth.response(*questions(case))
        above, below = q[:, 4] < 1.0 - slack, q[:, 0] > 1.0 + slack
        half = (q[:, 1] <= 1.0 + slack) & (q[:, 3] >= 1.0 - slack)
        broken[name] = float((score[:, 10] < 1.0 - slack[1]).mean())
        columns = [", ".join(f"{100.0 * v:.0f}" for v in c.mean(axis=0)) for c in (~(above | below), half, above)]
        median, high, promise = np.median(q[:, 2, 1]), np.median(q[:, 4, 1]), np.median(score[:, 10])
        print(f"| {name} | {'apart' if case.apart else ''} | {' | '.join(columns)} | {median:.2f}, {high:.2f} | "
              f"{promise:.2f}, {100.0 * broken[name]:.0f} |")  # fmt: skip
        missed += _missed(name, above, q[:, 4, 1] if case.plain and case.truth.parts[0][1] is not np.log1p else None)
    print(f"{min(map(len, scores.values()))} runs a row at least; " + "; ".join(missed or ["no row misses its target"]))
    print(f"'with probability 0.95' for a year broken: {100 * np.mean(list(broken.values())):.1f} % of runs over all, "
          f"at most {100 * max(broken.values()):.0f} % ({max(broken, key=lambda n: broken[n])})")  # fmt: skip
    limits = np.concatenate([score[:, 11:].reshape(-1, 2, LIMITS.size) for score in scores.values()])
    p, kept = limits[:, 0].ravel(), limits[:, 1].ravel()
    for low in np.arange(0.0, 1.0, 0.1):
        here = (p >= low) & (p < low + 0.1 + (low > 0.85)) & (p > 0.0) & (p < 1.0)
        if here.sum() >= 30:
            print(f"said to be kept with {low:.1f} to {low + 0.1:.1f}: mean {p[here].mean():.2f}, "
                  f"was kept {kept[here].mean():.2f} ({here.sum()})")  # fmt: skip


def _missed(name: str, above: NDArray[np.bool_], plain: Array | None) -> list[str]:
    """What of a row is beyond its target, and by how many standard errors; upper ends over the truth of a `plain` power."""
    lines = []
    for share, when in zip(above.mean(axis=0), ("30 d", "a year"), strict=True):
        if share > MOST_ABOVE:
            error = np.sqrt(share * (1.0 - share) / len(above))
            lines.append(f"{name}: {100.0 * share:.0f} % above at {when}, {(share - MOST_ABOVE) / error:.1f} se over")
    if plain is not None and np.median(plain) > MOST_HIGH:
        again = np.random.default_rng(0).integers(0, plain.size, (500, plain.size))
        error = np.median(plain[again], axis=1).std()
        lines.append(f"{name}: upper end {np.median(plain):.3f}, {(np.median(plain) - MOST_HIGH) / error:.1f} se over")
    return lines


def score_thinned(name: str, seed: int) -> list[float]:
    """Upper end of a year without what was read after the unloading, over that with it."""
    case = CASES[name]
    whole = case.observed(np.random.default_rng(seed))
    loaded = whole.times <= case.days * DAY
    noise = replace(whole.noise, correlation=whole.noise.correlation[np.ix_(loaded, loaded)])
    less = replace(whole, times=whole.times[loaded], values=whole.values[loaded], zeros=whole.zeros[loaded],
                   history=HELD, noise=noise, has_recovery=False)  # fmt: skip
    return [_upper(less, seed) / _upper(whole, seed)]


def _upper(observed: Observations, seed: int) -> float:
    draws = mixture(observed, priors_for(None)).draws(DRAWS, seed)
    return float(of_draws(draws, HELD, np.array([YEAR]))[0][-1, 0])


def thinned(keep: Path, runs: int, jobs: int) -> None:
    """Less data never gives a surer answer."""
    print("truth | upper end lower without recovery readings | ratio without/with: median, 95th percentile")
    for name, score in measured(keep, score_thinned, THINNED, runs, jobs).items():
        ratio = score[:, 0]
        print(f"{name} | {100 * np.mean(ratio < 1.0):.0f} % of {ratio.size} | "
              f"{np.median(ratio):.2f}, {np.quantile(ratio, 0.95):.2f}")  # fmt: skip


def score_nudged(name: str, seed: int) -> list[float]:
    """Upper end of a year with the last reading under load a gauge's standard deviation higher, over that as read."""
    case = CASES[name]
    observed = case.observed(np.random.default_rng(seed))
    last = int(np.flatnonzero(observed.times <= case.days * DAY)[-1])
    moved = observed.values + case.sd * (np.arange(observed.times.size) == last)
    return [_upper(observed.with_values(moved), seed) / _upper(observed, seed)]


def nudged(keep: Path, runs: int, jobs: int) -> None:
    """How far the upper end goes with one reading: where flow's weight passes 5 % it went twice as far."""
    print("truth | upper end of a year with the last reading 1 sd higher over that without: median, 90th percentile, most")
    for name, score in measured(keep, score_nudged, NUDGED, runs, jobs).items():
        print(f"{name} | {score.shape[0]} runs: " + ", ".join(f"{q:.2f}" for q in np.quantile(score, (0.5, 0.9, 1.0))))


def score_unseen(name: str, seed: int) -> list[float]:
    """Whether a flow that could not be seen is spoken of for a year, and whether the truth's is at most of its size."""
    case = CASES[name]
    result = fit(case.run(np.random.default_rng(seed)), models=["power-family"], priors=priors_for(None))
    said = {doubt.code for doubt in flow_doubts(result, YEAR)}
    true = sum(share for share, function in case.truth.parts if function is flow) * CREEP * YEAR / (5 * DAY - MINUTE)
    return [float("unseen-flow" in said), float((unseen_flow(result, YEAR) or 0.0) >= true)]


def unseen(keep: Path, runs: int, jobs: int, only: Sequence[str]) -> None:
    """In how many runs of truths that flow the caution about unseen flow is raised, and with a size that holds it."""
    for name, score in measured(keep, score_unseen, names(only or ["flow"]), runs, jobs).items():
        print(f"{name} | raised {int(score[:, 0].sum())}, holds {int(score[:, 1].sum())} of {len(score)}")


def score_stopped(name: str, seed: int) -> list[float]:
    """For either gauge what is still to come by a year, over 1 % of the deformation, and what is said (of `STOPPED`)."""
    numbers = []
    for case in (CASES[name], CASES[name].changed(days=10, sd=0.001, rounded=0.001)):
        ends = case.truth.response(HELD, np.array([case.days * DAY, YEAR]))
        run = case.run(np.random.default_rng(seed))
        said = creep_stop(fit(run, models=["power-family"], priors=priors_for(None))).stopped
        numbers += [float(np.diff(ends)[0] / ends[0]) / 0.01, float(STOPPED.index(said))]
    return numbers


def stops(keep: Path, runs: int, jobs: int, only: Sequence[str]) -> None:
    """How often creep is said to have stopped, of truths that go on and truths at rest, with a plain and a fine gauge."""
    print("truth, gauge | still to come by a year over 1 % of the deformation | said, in runs")
    said: dict[bool, list[str]] = {True: [], False: []}
    for name, score in measured(keep, score_stopped, names(only), runs, jobs).items():
        for k, gauge in enumerate(("0.01 mm", "0.001 mm, 10 d")):
            share, words = score[0, 2 * k], [STOPPED[int(w)] for w in score[:, 2 * k + 1]]
            said[share > 1.0] += words
            counts = ", ".join(f"{word} {words.count(word)}" for word in dict.fromkeys(words))
            print(f"{name}, {gauge} | {share:.2f} | {counts}", flush=True)
    for on, what in ((True, "go on"), (False, "are at rest")):
        if said[on]:
            share = 100.0 * said[on].count("material") / len(said[on])
            print(f"truths that {what}: 'material' in {share:.1f} % of {len(said[on])} runs")


def score_alarms(name: str, seed: int) -> list[float]:
    """For each of `GAUGES` whether each of `ALARMS` is raised."""
    numbers = []
    for changes in GAUGES.values():
        doubts = check_run(CASES[name].changed(**changes).run(np.random.default_rng(seed)))
        said = {"goes back" if "the readings go back" in d.text else d.code for d in doubts}
        numbers += [float(alarm in said) for alarm in ALARMS]
    return numbers


def alarms(keep: Path, runs: int, jobs: int, only: Sequence[str]) -> None:
    """How often `check` takes readings for slips in runs that have none: over all truths, and in the worst."""
    over = [name for name in names(only) if not CASES[name].slip]
    scores = measured(keep, score_alarms, over, runs, jobs)
    print("gauge | alarm | runs | % raised | % in the worst truth")
    for g, gauge in enumerate(GAUGES):
        for a, alarm in enumerate(ALARMS):
            share = {name: 100.0 * float(score[:, g * len(ALARMS) + a].mean()) for name, score in scores.items()}
            worst = max(share, key=lambda name: share[name])
            whole = sum(map(len, scores.values()))
            most = f"{share[worst]:.1f} ({worst})" if share[worst] else "0"
            print(f"{gauge} | {alarm} | {whole} | {np.mean(list(share.values())):.2f} | {most}")


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("what", choices=("table", "fine", "halved", "thinned", "nudged", "unseen", "stops", "alarms"))
    parser.add_argument("--runs", type=int, default=24)
    parser.add_argument("--jobs", type=int, default=2)
    parser.add_argument("--only", nargs="*", default=[], help="truths whose name holds one of these words")
    parser.add_argument("--keep", type=Path, default=Path("simulated_runs.jsonl"))
    given = parser.parse_args()
    if given.what == "table":
        table(given.keep, given.runs, given.jobs, given.only)
    elif given.what == "fine":
        fine(given.keep, given.runs, given.jobs, given.only)
    elif given.what == "halved":
        halved(given.keep, given.runs, given.jobs, given.only)
    elif given.what == "thinned":
        thinned(given.keep, given.runs, given.jobs)
    elif given.what == "nudged":
        nudged(given.keep, given.runs, given.jobs)
    elif given.what == "unseen":
        unseen(given.keep, given.runs, given.jobs, given.only)
    elif given.what == "alarms":
        alarms(given.keep, given.runs, given.jobs, given.only)
    else:
        stops(given.keep, given.runs, given.jobs, given.only)


if __name__ == "__main__":
    main()
