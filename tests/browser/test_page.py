"""The report page in a real browser: quiet, right, wide and narrow, light and dark, on paper, and without barriers."""

from __future__ import annotations

import base64
import json
import re
import subprocess
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from creepfit.answers.part.sag import sag
from creepfit.answers.specimen.forecast import forecast
from creepfit.inference.fitting import Fit, fit
from creepfit.records.files import read_run
from creepfit.records.part_files import read_part
from creepfit.report.page.findings import find
from creepfit.report.page.html import RunPage, page, section
from creepfit.report.page.together import chapters

NODE = Path(__file__).parent / "node_modules"
DEMO = Path(__file__).parents[2] / "demo"

pytestmark = pytest.mark.browser


@pytest.fixture(scope="module")
def strip() -> Fit:
    return fit(read_run(DEMO / "petg-strip.toml"))


@pytest.fixture(scope="module")
def file(strip: Fit, tmp_path_factory: pytest.TempPathFactory) -> Path:
    path = tmp_path_factory.mktemp("page") / "report.html"
    path.write_text(page([section(find(strip), None, 1)]), encoding="utf-8")
    return path


@pytest.fixture(scope="module")
def first(strip: Fit) -> RunPage:
    """A run with limits on the specimen and on a part."""
    sagged = sag(read_part(DEMO / "bracket.toml"), strip, ["30 d", "1 year"])
    return section(find(strip, limit="3 mm"), sagged, 1)


@pytest.fixture(scope="module")
def with_part(first: RunPage, tmp_path_factory: pytest.TempPathFactory) -> Path:
    path = tmp_path_factory.mktemp("part") / "report.html"
    path.write_text(page([first]), encoding="utf-8")
    return path


@pytest.fixture(scope="module")
def several(first: RunPage, strip: Fit, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Two runs with a part and what they say together."""
    path = tmp_path_factory.mktemp("several") / "report.html"
    other = fit(read_run(DEMO / "pla-strip.toml"))
    second = section(find(other), sag(read_part(DEMO / "bracket.toml"), other, ["1 year"]), 2)
    path.write_text(page([first, second], "", chapters([strip, other])), encoding="utf-8")
    return path


@pytest.fixture(scope="module")
def window(driver: Any) -> Any:
    """A wide one."""
    driver.set_window_size(1400, 1000)
    return driver


@pytest.fixture
def quiet(window: Any) -> Any:
    """A browser that has said nothing yet, whichever page it shows."""
    window.get_log("browser")
    return window


@pytest.fixture
def opened(quiet: Any, file: Path) -> Any:
    """The page as it is when it was loaded: again, where something was slid or typed since."""
    driver = quiet
    if driver.current_url != file.as_uri() or driver.execute_script("return document.body.dataset.touched"):
        driver.get(file.as_uri())
    return driver


def slide(browser: Any, name: str, position: int) -> None:
    browser.execute_script(
        "document.body.dataset.touched = 1;"
        "const s = document.getElementById('run1-' + arguments[0]); s.value = arguments[1];"
        "s.dispatchEvent(new Event('input', {bubbles: true}));",
        name,
        position,
    )


def data_of(browser: Any, name: str) -> dict[str, float]:
    found = browser.execute_script("return {...document.getElementById('run1-' + arguments[0]).dataset}", name)
    return {key: float("inf" if value == "Infinity" else value) for key, value in found.items()}


def test_it_loads_without_a_word_on_the_console_and_asks_for_nothing(quiet: Any, file: Path) -> None:
    quiet.get(file.as_uri())
    assert quiet.get_log("browser") == []
    asked = quiet.execute_script("return performance.getEntriesByType('resource').map(r => r.name)")
    assert [name for name in asked if not name.startswith("data:")] == []


def test_sliders_agree_with_python_within_a_per_cent(opened: Any, strip: Fit) -> None:
    for time, load in [(300, 400), (700, 200), (980, 300)]:
        before = data_of(opened, "size")
        slide(opened, "time", time)
        slide(opened, "load", load)
        shown = data_of(opened, "size")
        assert shown != before, time
        seconds, force = data_of(opened, "time-shown")["seconds"], data_of(opened, "load-shown")["load"]
        expected = forecast(strip, [seconds], load=force).rows[0].interval.to_dict()
        assert shown == pytest.approx(expected, rel=0.01), time


@pytest.mark.parametrize(("load", "share"), [(400, 1.05), (300, 0.75), (400, 0.9), (400, 0.5)])
def test_the_life_agrees_with_python_within_a_per_cent(opened: Any, strip: Fit, load: int, share: float) -> None:
    """A limit that the strip reaches between a day and a year, one it does not, and one it is beyond at once."""
    slide(opened, "load", load)
    force = data_of(opened, "load-shown")["load"]
    at_end = forecast(strip, [strip.run.test_length]).rows[0].interval.median
    most = opened.execute_script("return document.getElementById('run1-limit-shown').dataset.limit")
    position = round(share * at_end / float(most) * int(opened.find_element("id", "run1-limit").get_attribute("value")))
    slide(opened, "limit", position)
    limit = data_of(opened, "limit-shown")["limit"]
    answer = forecast(strip, ["1 year"], load=force, limit=limit).limit
    assert answer is not None
    assert answer.life is not None
    shown = data_of(opened, "life")
    for end in ("low", "median", "high"):
        expected = getattr(answer.life.forecast, end)
        assert shown[end] == pytest.approx(np.inf if expected is None else expected, rel=0.01), end
    kept = data_of(opened, "kept")["low"]
    assert kept == pytest.approx(np.inf if answer.life.low is None else answer.life.low, rel=0.01)
    if share == 1.05:
        assert opened.find_element("id", "run1-kept").text.endswith((" d", " h", " min", " s"))


def test_no_limit_is_invented_where_none_was_asked_about(opened: Any) -> None:
    assert opened.find_element("id", "run1-limit-shown").get_attribute("value") == "none set"
    assert opened.find_element("id", "run1-life").text == "set a limit"
    assert "limit" not in opened.find_element("id", "run1-plot").text
    slide(opened, "limit", 100)
    assert opened.find_element("id", "run1-limit-shown").get_attribute("value").endswith(" mm")
    assert data_of(opened, "life")["low"] >= 0.0
    assert opened.find_element("id", "run1-life").text != "set a limit"


def test_the_sag_of_a_part_agrees_with_python_within_a_per_cent(quiet: Any, several: Path, strip: Fit) -> None:
    quiet.get(several.as_uri())
    slide(quiet, "part-time", 900)
    most = json.loads(quiet.execute_script("return document.getElementById('run1-part-data').textContent"))["load"]["most"]
    part = read_part(DEMO / "bracket.toml")
    for share in (1.0, 0.6):
        slide(quiet, "part-load", round(400 * share / most))
        seconds, factor = data_of(quiet, "part-time-shown")["seconds"], data_of(quiet, "part-load-shown")["load"]
        assert factor == pytest.approx(share, rel=0.01)
        loads = tuple(replace(p, size=factor * p.size) for p in part.loads)
        expected = sag(replace(part, loads=loads), strip, [seconds]).rows[0].interval.to_dict()
        assert data_of(quiet, "part-size") == pytest.approx(expected, rel=0.01), share


def test_the_load_ends_at_the_tested_one(opened: Any, strip: Fit) -> None:
    slide(opened, "load", 400)
    assert data_of(opened, "load-shown")["load"] == pytest.approx(strip.run.peak_load, rel=1e-3)


def type_in(browser: Any, name: str, text: str) -> None:
    browser.execute_script(
        "document.body.dataset.touched = 1;"
        "const s = document.getElementById('run1-' + arguments[0] + '-shown'); s.value = arguments[1];"
        "s.dispatchEvent(new Event('change', {bubbles: true}));",
        name,
        text,
    )


def test_what_is_asked_can_be_typed(opened: Any, strip: Fit) -> None:
    type_in(opened, "time", "1 d 12 h")
    type_in(opened, "load", "0,3 kg")
    type_in(opened, "limit", "2 mm")
    assert data_of(opened, "time-shown")["seconds"] == pytest.approx(36.0 * 3600.0)
    assert data_of(opened, "load-shown")["load"] == pytest.approx(0.3 * 9.80665)
    expected = forecast(strip, ["36 h"], load="0.3 kg").rows[0].interval.to_dict()
    assert data_of(opened, "size") == pytest.approx(expected, rel=0.01)
    for name in ("time", "load", "limit"):
        words = opened.execute_script(f"return document.getElementById('run1-{name}').getAttribute('aria-valuetext')")
        assert words == opened.execute_script(f"return document.getElementById('run1-{name}-shown').value")
    assert words.endswith(" mm")


def test_what_cannot_be_answered_is_said(opened: Any) -> None:
    before = data_of(opened, "size")
    for name, text, said in [
        ("load", "0.9 kg", "at most 0.4 kg"), ("load", "3 mm", "a load in kg or N"), ("time", "soon", "no time: soon"),
        ("time", "90 years", "between 1 min and"), ("limit", "2 N", "a limit in mm"),
    ]:  # fmt: skip
        type_in(opened, name, text)
        assert said in opened.execute_script("return document.getElementById('run1-wrong').textContent")
        assert data_of(opened, "size") == before, text


def test_the_chart_is_never_cut(opened: Any) -> None:
    for limit in ("0.1 mm", "2.4 mm", "4 mm", "30 mm"):
        type_in(opened, "limit", limit)
        paths = opened.execute_script("return [...document.querySelectorAll('#run1-plot > path')].map(p => p.getBBox().y)")
        ends = opened.execute_script(
            "return [...document.querySelectorAll('#run1-plot > path')].map(p => p.getBBox().y + p.getBBox().height)"
        )
        assert min(paths) >= 14.0, limit
        assert max(ends) <= 164.5, limit


def test_no_label_is_cut_on_a_phone(opened: Any, several: Path) -> None:
    for page_file in (None, several):
        if page_file is not None:
            opened.get(page_file.as_uri())
        opened.execute_cdp_cmd(
            "Emulation.setDeviceMetricsOverride", {"width": 390, "height": 900, "deviceScaleFactor": 1, "mobile": False}
        )
        try:
            cut = opened.execute_script(
                "return [...document.querySelectorAll('svg.plot text')].filter(t => { const b = t.getBoundingClientRect(),"
                " s = t.ownerSVGElement.getBoundingClientRect(); return b.width > 0 && (b.left < Math.max(s.left, 0) - 1 ||"
                " b.right > Math.min(s.right, 390) + 1); }).map(t => t.textContent)"
            )
            small = opened.execute_script(
                "return [...document.querySelectorAll('svg.plot text')].filter(t => t.getBoundingClientRect().width > 0)"
                ".map(t => t.getBoundingClientRect().height)"
            )
        finally:
            opened.execute_cdp_cmd("Emulation.clearDeviceMetricsOverride", {})
        assert cut == []
        assert min(small) > 7.0


def test_landmarks_are_few_and_stops_of_the_tab_key_too(opened: Any) -> None:
    marks = opened.execute_script(
        "return [...document.querySelectorAll('[role=region], section[aria-label], section[aria-labelledby]')].length"
    )
    assert marks == 0
    stops = opened.execute_script(
        "return [...document.querySelectorAll('[tabindex=\"0\"], input, a, summary')].filter(n => n.offsetParent).length"
    )
    assert stops <= 16


@pytest.mark.parametrize("width", [360, 1400])
@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_it_fits_the_window_and_can_be_read(opened: Any, width: int, scheme: str) -> None:
    opened.execute_cdp_cmd("Emulation.setEmulatedMedia", {"features": [{"name": "prefers-color-scheme", "value": scheme}]})
    opened.execute_cdp_cmd(
        "Emulation.setDeviceMetricsOverride",
        {"width": width, "height": 900, "deviceScaleFactor": 1, "mobile": False},
    )
    try:
        assert opened.execute_script("return document.documentElement.scrollWidth") <= width
        ink, paper = (
            opened.execute_script(f"return getComputedStyle(document.body).{name}") for name in ("color", "backgroundColor")
        )
        assert contrast(ink, paper) > 7.0
        darker = luminance(paper) < 0.2
        assert darker == (scheme == "dark")
    finally:
        opened.execute_cdp_cmd("Emulation.clearDeviceMetricsOverride", {})
        opened.execute_cdp_cmd("Emulation.setEmulatedMedia", {"features": []})


def luminance(colour: str) -> float:
    """Relative luminance of "rgb(r, g, b)" (WCAG 2, definition of relative luminance)."""
    parts = np.array([float(v) for v in colour[colour.index("(") + 1 : -1].split(",")[:3]]) / 255.0
    linear = np.where(parts <= 0.04045, parts / 12.92, ((parts + 0.055) / 1.055) ** 2.4)
    return float(linear @ np.array([0.2126, 0.7152, 0.0722]))


def contrast(one: str, other: str) -> float:
    a, b = sorted((luminance(one), luminance(other)))
    return (b + 0.05) / (a + 0.05)


@pytest.mark.parametrize(("name", "width", "height"), [("A4", 8.27, 11.69), ("letter", 8.5, 11.0)])
def test_it_prints_with_figures_whole(opened: Any, name: str, width: float, height: float) -> None:
    printed = opened.execute_cdp_cmd("Page.printToPDF", {"paperWidth": width, "paperHeight": height})
    pdf = base64.b64decode(printed["data"])
    assert pdf.startswith(b"%PDF")
    pages = len(re.findall(rb"/Type /Page\b", pdf))
    assert 2 <= pages <= 5, name  # of a run; there were nine
    opened.execute_cdp_cmd("Emulation.setEmulatedMedia", {"media": "print"})
    try:
        uncut = opened.execute_script(
            "return [...document.querySelectorAll('figure')].map(f => getComputedStyle(f).breakInside)"
        )
        tallest = opened.execute_script(
            "return Math.max(...[...document.querySelectorAll('figure')].map(f => f.getBoundingClientRect().height))"
        )
    finally:
        opened.execute_cdp_cmd("Emulation.setEmulatedMedia", {"media": ""})
    assert set(uncut) <= {"avoid", "avoid-page"}
    assert tallest < 96.0 * (height - 1.0)


@pytest.mark.parametrize(("name", "width", "height"), [("A4", 8.27, 11.69), ("letter", 8.5, 11.0)])
def test_a_run_with_a_part_prints_on_five_pages_with_no_table_cut(
    quiet: Any, with_part: Path, name: str, width: float, height: float
) -> None:
    quiet.get(with_part.as_uri())
    printed = quiet.execute_cdp_cmd("Page.printToPDF", {"paperWidth": width, "paperHeight": height})
    assert 2 <= len(re.findall(rb"/Type /Page\b", base64.b64decode(printed["data"]))) <= 5, name  # there were seven
    inside = {"width": round(96.0 * (width - 0.8)), "height": 1000, "deviceScaleFactor": 1, "mobile": False}
    quiet.execute_cdp_cmd("Emulation.setEmulatedMedia", {"media": "print"})
    quiet.execute_cdp_cmd("Emulation.setDeviceMetricsOverride", inside)
    try:
        cut = quiet.execute_script(
            "return [...document.querySelectorAll('.scroll')].filter(s => s.scrollWidth > s.clientWidth + 1)"
            ".map(s => s.getAttribute('aria-label'))"
        )
    finally:
        quiet.execute_cdp_cmd("Emulation.clearDeviceMetricsOverride", {})
        quiet.execute_cdp_cmd("Emulation.setEmulatedMedia", {"media": ""})
    assert cut == []


def test_two_runs_and_a_part_fit_a_narrow_window_in_silence(quiet: Any, several: Path) -> None:
    quiet.execute_cdp_cmd(
        "Emulation.setDeviceMetricsOverride", {"width": 360, "height": 900, "deviceScaleFactor": 1, "mobile": False}
    )
    try:
        quiet.get(several.as_uri())
        assert quiet.execute_script("return document.documentElement.scrollWidth") <= 360
        assert quiet.get_log("browser") == []
        shown = quiet.execute_script("return document.querySelectorAll('.whatif:not([hidden])').length")
        assert shown == 4  # of each run, and of the part by each
    finally:
        quiet.execute_cdp_cmd("Emulation.clearDeviceMetricsOverride", {})


def test_without_scripts_it_is_complete(driver: Any, file: Path) -> None:
    driver.execute_cdp_cmd("Emulation.setScriptExecutionDisabled", {"value": True})
    try:
        driver.get(file.as_uri())
        body = driver.find_element("tag name", "body").text
        assert "After 1 year under 0.4 kg (3.92 N) the deflection will be" in body
        assert "What if?" not in body
    finally:
        driver.execute_cdp_cmd("Emulation.setScriptExecutionDisabled", {"value": False})
        driver.get("about:blank")


@pytest.mark.skipif(not (NODE / "axe-core" / "axe.min.js").exists(), reason="axe-core is not installed")
@pytest.mark.parametrize("which", ["file", "several"])
def test_no_serious_barrier(quiet: Any, which: str, request: pytest.FixtureRequest) -> None:
    quiet.get(request.getfixturevalue(which).as_uri())
    quiet.execute_script((NODE / "axe-core" / "axe.min.js").read_text(encoding="utf-8"))
    found = quiet.execute_async_script("const done = arguments[0]; axe.run(document).then(r => done(r.violations))")
    serious = [(v["id"], v["nodes"][0]["html"][:120]) for v in found if v["impact"] in ("serious", "critical")]
    assert serious == []


@pytest.mark.skipif(not (NODE / ".bin" / "html-validate").exists(), reason="html-validate is not installed")
def test_it_is_valid_html(file: Path, several: Path, tmp_path: Path) -> None:
    rules = {"extends": ["html-validate:standard"], "root": True}
    config = tmp_path / "rules.json"
    config.write_text(json.dumps(rules), encoding="utf-8")
    done = subprocess.run(
        [str(NODE / ".bin" / "html-validate"), "--config", str(config), "--formatter", "text", str(file), str(several)],
        capture_output=True,
        text=True,
        check=False,
    )
    assert done.returncode == 0, done.stdout[:3000]
