"""Runs of a logger: millions of readings averaged evenly in log time, read by columns with the messages of rows."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from creepfit.answers.doubts.collected import check_run
from creepfit.answers.specimen.forecast import forecast
from creepfit.errors import InputError
from creepfit.inference.fitting import fit
from creepfit.inference.saved import load_saved, save_fit
from creepfit.records import averaged, logged
from creepfit.records.files import read_run
from creepfit.records.thinning import COARSEST, MOST, WANTED, thinned

DAY = 86400.0
ROWS = 11_500  # just long enough to be read by columns
FEW = 2_300  # enough for what is read by columns to be read by rows too
HEAD = """\
format = 1
[run]
material = "PETG"
[specimen]
test = "cantilever"
length = "60 mm"
width = "12 mm"
thickness = "4 mm"
[gauge]
resolution = "0.001 mm"
repeatability = "0.002 mm"
[[load]]
at = "0 s"
mass = "0.2 kg"
[[load]]
at = "5 d"
mass = "0 kg"
"""


def creep(times: np.ndarray) -> np.ndarray:
    def loaded(t: np.ndarray) -> np.ndarray:
        return np.where(t > 0.0, 1.0 + 0.5 * (np.maximum(t, 0.0) / (5 * DAY)) ** 0.2, 0.0)

    return 5.0 + loaded(times) - loaded(times - 5 * DAY)


def readings(count: int, seed: int = 3, noise: float = 0.002) -> tuple[np.ndarray, np.ndarray]:
    times = np.linspace(-600.0, 5.5 * DAY, count).round(2)
    return times, (creep(times) + noise * np.random.default_rng(seed).standard_normal(count)).round(3)


def written(folder: Path, rows: list[str], head: str = "time [s],reading [mm],temperature [degC]", more: str = "") -> Path:
    (folder / "log.csv").write_text("\n".join([head, *rows]) + "\n", encoding="utf-8")
    path = folder / "run.toml"
    path.write_text(HEAD + more + '[readings]\nfile = "log.csv"\n', encoding="utf-8")
    return path


def as_rows(times: np.ndarray, values: np.ndarray) -> list[str]:
    return [f"{t:.2f},{v:.3f},23.4" for t, v in zip(times, values, strict=True)]


@pytest.fixture(scope="module")
def long(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return written(tmp_path_factory.mktemp("log"), as_rows(*readings(ROWS)))


@pytest.fixture
def log(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """Fewer rows, which are read by columns all the same until a test changes `LONG` again."""
    monkeypatch.setattr(logged, "LONG", 10_000)
    return written(tmp_path, as_rows(*readings(FEW)))


class TestThinning:
    def test_few_enough_and_even_in_log_time(self, long: Path) -> None:
        run = read_run(long)
        assert run.logger is not None
        assert (run.logger.rows, run.logger.made, run.logger.apart) == (ROWS, len(run.readings), 0)
        assert len(run.readings) <= WANTED
        under_load = [r.time for r in run.readings if 3600.0 < r.time < 5 * DAY]
        assert np.ptp(np.diff(np.log(under_load))[:-1]) < 0.1

    def test_nothing_is_averaged_across_a_load_change_or_an_event(self) -> None:
        times, values = readings(20_000)
        edges = [0.0, 5 * DAY, 2 * DAY + 1234.5]
        result = thinned(times, values, None, edges)
        for part in result.bins:
            inside = [edge for edge in edges if times[part.first] <= edge < times[part.last]]
            assert not inside

    def test_no_bin_is_longer_in_log_time_than_the_coarsest(self) -> None:
        """Where the load changed just before a reading, that one and the next, 50 times as late, were one."""
        times = 80.0 + 4000.0 * np.arange(-5, 600)
        bins = thinned(times, creep(times), None, [0.0, 1_200_000.0]).bins
        assert [b.time for b in bins if 0.0 < b.time < 9000.0] == [80.0, 4080.0, 8080.0]
        for b in bins[1:]:
            since = abs(times[b.first] - (1_200_000.0 if times[b.first] > 1_200_000.0 else 0.0))
            assert b.count == 1 or (times[b.last] - times[b.first]) / since < 10.0 ** (1.0 / COARSEST) - 1.0

    def test_means_and_weights_of_readings_that_err_alone(self) -> None:
        times, values = readings(50_000)
        late = [b for b in thinned(times, values, None, [0.0, 5 * DAY]).bins if b.count > 500]
        assert len(late) > 20
        worth = np.array([b.worth / b.count for b in late])
        assert 0.4 < np.median(worth) <= 1.0
        errors = np.array([b.value - creep(np.array([b.time]))[0] for b in late])
        expected = np.array([0.002 / np.sqrt(b.worth) for b in late])
        assert np.sqrt(np.mean((errors / expected) ** 2)) < 2.0
        assert np.median([b.spread or 0.0 for b in late]) == pytest.approx(0.002, rel=0.1)

    def test_neighbours_that_err_together_weigh_less(self) -> None:
        times, _ = readings(50_000)
        rng, slow = np.random.default_rng(5), np.zeros(50_000)
        for i in range(1, slow.size):  # correlated over some fifty readings
            slow[i] = 0.98 * slow[i - 1] + 0.002 * np.sqrt(1 - 0.98**2) * rng.standard_normal()
        late = [b for b in thinned(times, creep(times) + slow, None, [0.0, 5 * DAY]).bins if b.count > 1500]
        # an autoregressive error of 0.98 has 1.98/0.02 = 99 readings for each independent one
        assert 30.0 < np.median([b.count / b.worth for b in late]) < 200.0
        errors = [abs(b.value - creep(np.array([b.time]))[0]) * np.sqrt(b.worth) / 0.002 for b in late]
        assert np.sqrt(np.mean(np.square(errors))) < 2.0

    def test_what_is_read_while_the_load_settles_is_left_out_and_told_of(self, tmp_path: Path) -> None:
        """A minute after each change, of a short stretch a thousandth; here one reading in 5 s, half a day of recovery."""
        times = np.arange(-600.0, 5.5 * DAY, 5.0)
        run = read_run(written(tmp_path, as_rows(times, creep(times))))
        assert run.logger is not None
        assert min(r.time for r in run.readings if r.time > 0.0) >= 60.0
        assert min(r.time for r in run.readings if r.time > 5 * DAY) >= 5 * DAY + 43.2
        assert run.logger.settling >= 11 + 8  # a bin that begins sooner goes whole
        said = next(c for c in check_run(run) if c.code == "averaged").text
        assert said.endswith(
            f" {run.logger.settling} within a minute after a load change are not used, as no load is on at once."
        )
        short = thinned(times[:2000], creep(times[:2000]), None, [0.0, 100.0, 200.0])
        assert short.settling < 3
        begun = thinned(np.linspace(-10.0, 50.0, 3000), np.zeros(3000), None, [0.0, 5 * DAY])  # unloading is still to come
        assert 0 < begun.settling < 10

    def test_the_scatter_within_bins_holds_the_noise_up(self, long: Path) -> None:
        """Means follow a smooth curve better than a drift that is allowed for would let them, and one scale has both."""
        found = fit(read_run(long), models=["findley"])
        assert found.observed.noise.least == pytest.approx(0.002, rel=0.03)
        assert found.draws.noise.min() >= found.observed.noise.least
        assert np.median(found.draws.noise) == pytest.approx(0.002, rel=0.05)

    def test_the_noise_is_that_of_every_reading(self, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
        """By means alone it came to 3 % less, and as flow has a twentieth of the weight the end of a year moved with it."""
        times, values = readings(700, seed=1)
        by_means = fit(read_run(written(tmp_path, as_rows(times, values))), models=["findley"]).draws.noise
        monkeypatch.setattr(averaged, "MOST", 700)
        by_all = fit(read_run(tmp_path / "run.toml"), models=["findley"]).draws.noise
        assert by_means.mean() == pytest.approx(by_all.mean(), rel=0.01)
        assert by_means.std() == pytest.approx(by_all.std(), rel=0.25)

    def test_what_is_off_for_hours_is_not_held_down_by_the_scatter_within_bins(self, tmp_path: Path) -> None:
        times, values = readings(20_000)
        hours = np.arange(0.0, 6 * DAY, 3600.0)
        slow = np.interp(times, hours, 0.002 * np.random.default_rng(2).standard_normal(hours.size))
        found = fit(read_run(written(tmp_path, as_rows(times, values + slow))), models=["findley"])
        assert found.observed.noise.within == (pytest.approx(0.002, rel=0.1), 1000.0)
        assert found.draws.noise.min() > 1.1 * found.observed.noise.within[0]

    def test_a_mean_of_a_drift_strays_less_than_the_drift_itself(self, tmp_path: Path) -> None:
        """Half the mean distance of two readings of a bin, which for many is a sixth of its length."""
        times = np.linspace(0.0, 60.0, 7)
        one = thinned(np.append(np.linspace(-60.0, 0.0, 3), 3000.0 + times), np.arange(10.0), None, [0.0]).bins[-1]
        t = 3000.0 + times[-one.count :]
        assert one.count > 1
        assert one.over / 6.0 == pytest.approx(one.time - np.minimum(t[:, None], t[None, :]).mean())

    def test_readings_that_stand_apart_are_left_out_and_told_of(self, tmp_path: Path) -> None:
        times, values = readings(20_000)
        values[[7000, 12_000]] += [0.2, -3.0]
        run = read_run(written(tmp_path, as_rows(times, values)))
        assert run.logger is not None
        assert (run.logger.apart, run.logger.first) == (2, "row 7002")
        for r in run.readings:
            assert r.value == pytest.approx(creep(np.array([r.time]))[0], abs=0.01)
        said = next(c for c in check_run(run) if c.code == "averaged")
        assert said.text.startswith("20 000 readings were averaged into")
        assert said.text.endswith("Left out: 2 that stand far from the others around, the first in row 7002.")

    def test_repeats_at_one_time_weigh_as_many_readings(self) -> None:
        """Means of four readings scatter half as far, and a bin of them is worth four times as many."""
        times, _ = readings(20_000)
        rng = np.random.default_rng(4)
        values = creep(times) + 0.001 * rng.standard_normal(times.size)
        edges, four = [0.0, 5 * DAY], np.full(times.size, 4.0)
        alone, together = thinned(times, values, None, edges).bins, thinned(times, values, None, edges, four).bins
        full = [(a, b) for a, b in zip(alone, together, strict=True) if a.worth > 20]
        assert [b.worth / a.worth for a, b in full] == pytest.approx([4.0] * len(full), rel=0.05)
        assert np.median([b.spread or 0.0 for _, b in full]) == pytest.approx(0.002, rel=0.1)

    def test_rows_behind_a_later_one_are_put_in_order_and_asked_about(self, tmp_path: Path) -> None:
        times, values = readings(20_000)
        rows = as_rows(times, values)
        rows[5000], rows[5010] = rows[5010], rows[5000]
        run = read_run(written(tmp_path, rows))
        assert run.logger is not None
        assert (run.logger.early, run.logger.first_early) == (10, "row 5003")
        said = next(c for c in check_run(run) if c.code == "out-of-order")
        assert said.text.startswith("10 readings stand behind a later one, the first in row 5003")
        in_order = read_run(written(tmp_path, as_rows(times, values)))
        assert "out-of-order" not in [c.code for c in check_run(in_order)]

    def test_so_many_load_changes_that_not_every_stretch_can_be_kept(self) -> None:
        times = np.linspace(0.0, 5 * DAY, 50_000)
        result = thinned(times, creep(times), None, np.arange(0.0, 5 * DAY, 300.0).tolist())
        assert len(result.bins) == WANTED
        assert COARSEST > 0

    def test_up_to_so_many_each_is_taken_as_it_is(self, tmp_path: Path) -> None:
        run = read_run(written(tmp_path, as_rows(*readings(MOST))))
        assert run.logger is None
        assert len(run.readings) == MOST

    def test_agrees_with_the_fit_of_every_reading_to_a_tenth_of_the_interval(
        self, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
    ) -> None:
        path = written(tmp_path, as_rows(*readings(500)))
        few = forecast(fit(read_run(path), models=["findley"]), ["6 d", "30 d", "1 year"]).to_dict()["forecast"]
        monkeypatch.setattr(averaged, "MOST", 10_000)
        whole = read_run(path)
        assert len(whole.readings) == 500
        every = forecast(fit(whole, models=["findley"]), ["6 d", "30 d", "1 year"]).to_dict()["forecast"]
        for a, b in zip(few, every, strict=True):
            for end in ("low", "median", "high"):
                assert abs(a[end] - b[end]) < 0.1 * (b["high"] - b["low"])

    def test_saved_and_read_back_it_is_the_same(self, long: Path, tmp_path: Path) -> None:
        found = fit(read_run(long), models=["findley"])
        save_fit(found, tmp_path / "saved.json")
        again = load_saved(tmp_path / "saved.json")
        assert again.run.logger == found.run.logger
        assert [(r.time, r.value, r.repeats, r.spread, r.over) for r in again.run.readings] == [
            (r.time, r.value, r.repeats, r.spread, r.over) for r in found.run.readings
        ]


class TestColumns:
    def test_a_long_file_is_read_by_columns(self, long: Path) -> None:
        table = logged.logged_csv((long.parent / "log.csv").read_bytes(), "log.csv")
        assert table is not None
        assert table.values.size == ROWS

    def test_the_columns_are_those_of_the_rows(self, log: Path, monkeypatch: pytest.MonkeyPatch) -> None:
        by_columns = read_run(log)
        table = logged.logged_csv((log.parent / "log.csv").read_bytes(), "log.csv")
        assert table is not None  # else both would be read by rows, and be alike
        assert table.values.size == FEW
        monkeypatch.setattr(logged, "LONG", 1 << 40)
        by_rows = read_run(log)
        assert [r.where for r in by_columns.readings] == [r.where for r in by_rows.readings]
        assert by_columns.logger == by_rows.logger
        for a, b in zip(by_columns.readings, by_rows.readings, strict=True):
            assert (a.time, a.value, a.repeats, a.temperature) == pytest.approx((b.time, b.value, b.repeats, b.temperature))

    def test_date_times_semicolons_and_decimal_commas(
        self, log: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
    ) -> None:
        times, values = readings(FEW)
        begin = np.datetime64("2031-05-04T16:30:00", "ms")
        stamps = [str(begin + np.timedelta64(round(1000 * t), "ms")).replace("T", " ") for t in times]
        rows = [f"{when};{v:.3f}".replace(".", ",") for when, v in zip(stamps, values, strict=True)]
        rows = [row.replace(",", ".", 1) for row in rows]  # the point within the date-time stays one
        path = written(log.parent, rows, "when;reading [mm]")
        text = (
            path.read_text(encoding="utf-8").replace('"0 s"', '"2031-05-04 16:30"').replace('"5 d"', '"2031-05-09 16:30"')
        )
        path.write_text(text, encoding="utf-8")
        by_columns = read_run(path)
        assert by_columns.logger is not None
        assert by_columns.logger.rows == FEW
        monkeypatch.setattr(logged, "LONG", 1 << 40)
        by_rows = read_run(path)
        for a, b in zip(by_columns.readings, by_rows.readings, strict=True):
            assert (a.time, a.value) == pytest.approx((b.time, b.value), abs=1e-5)

    @pytest.mark.parametrize(
        ("row", "text"),
        [
            (1800, "400.00,o.123,23.4"),
            (1801, "400.00,nan,23.4"),
            (1000, "inf,1.0,23.4"),
            (1000, ",1.0,23.4"),
            (1000, "1e300,1.0,23.4"),
            (FEW - 1, "1.0,1e30,23.4"),
            (2_269, "1.0,1.0,23.4,7"),
            (2_269, "1.0,1.0,-400"),
            (777, '1.0,"1.0,23.4'),
        ],
    )
    def test_a_mistake_far_down_is_told_of_in_the_words_of_rows(
        self, log: Path, tmp_path: Path, row: int, text: str, monkeypatch: pytest.MonkeyPatch
    ) -> None:
        rows = (log.parent / "log.csv").read_text(encoding="utf-8").splitlines()[1:]
        rows[row - 2] = text
        path = written(tmp_path, rows)
        with pytest.raises(InputError) as by_columns:
            read_run(path)
        monkeypatch.setattr(logged, "LONG", 1 << 40)
        with pytest.raises(InputError) as by_rows:
            read_run(path)
        assert str(by_columns.value) == str(by_rows.value)

    @pytest.mark.parametrize("by_columns", [True, False])
    def test_date_times_that_run_backwards_are_told_of_by_their_row(
        self, by_columns: bool, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
    ) -> None:
        monkeypatch.setattr(logged, "LONG", 0 if by_columns else 1 << 40)
        stamps = np.datetime64("2031-05-04T16:00") + np.arange(450) * np.timedelta64(10, "m")
        stamps[300] = stamps[299] - np.timedelta64(1, "h")  # a clock was put back
        rows = [f"{str(when).replace('T', ' ')},{1.0 + 0.001 * i:.3f}" for i, when in enumerate(stamps)]
        path = written(tmp_path, rows, "when,reading [mm]")
        dated = (
            path.read_text(encoding="utf-8").replace('"0 s"', '"2031-05-04 16:30"').replace('"5 d"', '"2031-05-09 16:30"')
        )
        path.write_text(dated, encoding="utf-8")
        with pytest.raises(InputError, match=r"row 302: date-times run backwards; found .2031-05-06 16:50"):
            read_run(path)

    def test_a_mistake_in_the_loads_of_a_long_table_is_told_of_as_in_a_short_one(self, tmp_path: Path) -> None:
        path = written(tmp_path, as_rows(*readings(MOST + 50)))
        path.write_text(path.read_text(encoding="utf-8").replace('"0.2 kg"', '"0.2 ells"'), encoding="utf-8")
        with pytest.raises(InputError, match=r"load 1, mass: .*0\.2 ells"):
            read_run(path)

    def test_rows_still_to_come_are_passed_over(self, long: Path, tmp_path: Path) -> None:
        rows = (long.parent / "log.csv").read_text(encoding="utf-8").splitlines()[1:]
        run = read_run(written(tmp_path, [*rows, "", "500000,,23.4", ",,"]))
        assert run.logger is not None
        assert run.logger.rows == ROWS


def test_hundreds_of_load_changes_of_a_run_are_fitted_in_one_pass_to_the_same_numbers(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    from creepfit.mechanics import long_history

    loads = "".join(f'[[load]]\nat = "{i} h"\nmass = "{0.1 + 0.1 * (i % 2)} kg"\n' for i in range(60))
    times = ["-1 min", "1 min", "30 min", "3.5 h", "10.5 h", "30.5 h", "59.5 h"]
    values = [f"{v:.3f} mm" for v in (5.0, 5.5, 5.52, 6.1, 5.59, 6.2, 6.25)]
    lists = f"[readings]\ntime = {times}\nreading = {values}\n".replace("'", '"')
    path = tmp_path / "run.toml"
    path.write_text(HEAD[: HEAD.index("[[load]]")] + loads + lists, encoding="utf-8")
    run = read_run(path)
    direct = fit(run)
    monkeypatch.setattr(long_history, "DIRECT_LIMIT", 10)
    passed = fit(run)
    for name, model in direct.models.items():
        assert passed.models[name].residual_sum == pytest.approx(model.residual_sum, rel=1e-3), name
    late = np.array([100.0 * 3600.0])
    a, b = (np.quantile(f.draws.deformation(run.history, late), [0.05, 0.5, 0.95]) for f in (direct, passed))
    assert b == pytest.approx(a, rel=2e-3)
