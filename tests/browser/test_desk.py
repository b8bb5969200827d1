"""The desk in a real browser: a run's whole week, by keyboard alone, on a narrow window, and without barriers."""

from __future__ import annotations

import shutil
import threading
import tomllib
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import datetime, timedelta
from pathlib import Path
from typing import Any

import pytest

from creepfit.desk.serving import Server
from creepfit.records.files import read_run

AXE = Path(__file__).parent / "node_modules" / "axe-core" / "axe.min.js"
DEMO = Path(__file__).parents[2] / "demo"
WAIT = 100.0

pytestmark = pytest.mark.browser


@dataclass
class Desk:
    """A desk that runs, and a browser that was let in."""

    driver: Any
    base: str
    folder: Path

    def open(self, path: str) -> None:
        self.driver.get(self.base + path)

    def find(self, css: str) -> Any:
        return self.driver.find_element("css selector", css)

    def until(self, test: Any) -> Any:
        from selenium.common.exceptions import (
            JavascriptException,
            NoSuchElementException,
            StaleElementReferenceException,
        )
        from selenium.webdriver.support.ui import WebDriverWait

        # while another page comes
        passing = (NoSuchElementException, StaleElementReferenceException, JavascriptException)
        return WebDriverWait(self.driver, WAIT, 0.1, ignored_exceptions=passing).until(lambda _: test())

    def text(self, css: str = "main") -> str:
        """What is shown, as the browser tells it: its driver looks at every element of the page, which takes far longer."""
        seen = "{opacityProperty: true, visibilityProperty: true}"
        script = f"const node = arguments[0]; return node.checkVisibility({seen}) ? node.innerText : ''"
        found: str = self.driver.execute_script(script, self.find(css))
        return found.replace("\u00a0", " ")

    def press(self, css: str) -> None:
        """Click a button that leads to another page, and wait for that."""
        main = self.find("main")
        self.driver.execute_script("arguments[0].scrollIntoView({block: 'center'})", self.find(css))
        self.find(css).click()
        self.gone(main)

    def gone(self, node: Any) -> None:
        from selenium.common.exceptions import StaleElementReferenceException

        def is_gone() -> bool:
            try:
                node.is_enabled()
            except StaleElementReferenceException:
                return True
            return False

        self.until(is_gone)

    def type(self, name: str, text: str) -> None:
        """Fill in a field, in one go as from the clipboard."""
        self.driver.execute_script("arguments[0].select()", self.find(f'[name="{name}"]'))
        self.driver.execute_cdp_cmd("Input.insertText", {"text": text})

    def read(self, run: str, value: str, at: datetime, button: str = "reading") -> None:
        """Fill in a reading at once, of which the page's script hears nothing, and press a button."""
        self.open(f"/today?run={run}")
        for name, text in {"at": f"{at:%Y-%m-%d %H:%M}", "value": value}.items():
            field = self.find(f'[name="{name}"]')
            self.driver.execute_script("arguments[0].value = arguments[1]", field, text)
        self.press(f'button[value="{button}"]')

    def paste(self, run: str, rows: list[tuple[datetime, str]]) -> None:
        """Take over rows as a spreadsheet copies them."""
        self.open(f"/today?run={run}")
        self.type("rows", "\n".join(f"{at:%Y-%m-%d %H:%M}\t{value}" for at, value in rows))
        self.press('form[action="/today/rows"] button')


@pytest.fixture(scope="module")
def desk(driver: Any, tmp_path_factory: pytest.TempPathFactory) -> Iterator[Desk]:
    """A desk in a thread of its own: of a process of its own `tests/desk/test_serving.py` takes care."""
    folder = tmp_path_factory.mktemp("bench")
    server = Server(folder, 0, said=lambda _: None)
    running = threading.Thread(target=server.run, args=(False,))
    running.start()
    try:
        driver.set_window_size(1300, 1000)
        driver.set_script_timeout(3.0 * WAIT)
        driver.get(server.address)
        yield Desk(driver, server.address.partition("/enter")[0], folder)
    finally:
        server.stop()
        running.join(60)


SIZES = {"specimen.length": "60 mm", "specimen.width": "12 mm", "specimen.thickness": "4,00 +- 0,03 mm"}


def test_the_whole_week_of_a_run(desk: Desk) -> None:
    first = (datetime.now() - timedelta(days=8)).replace(hour=8, minute=0, second=0, microsecond=0)
    desk.open("/")
    assert "No run is kept here yet" in desk.text()
    desk.press("a.button")
    desk.press('a[href*="cantilever"]')
    for name, text in {"run.material": "PETG", "run.specimen": "P-03", **SIZES}.items():
        desk.type(name, text)
    desk.type("specimen.width", "12")
    desk.until(lambda: "the unit is missing" in desk.text("#specimen-width-mistake"))
    desk.type("specimen.width", "12 mm")
    desk.until(lambda: desk.text("#specimen-width-mistake") == "")
    desk.until(lambda: 'thickness = "4,00 +- 0,03 mm"' in desk.text("#file-text"))
    desk.press("button.first")
    assert "Wrote petg-p-03.toml and petg-p-03.csv" in desk.text()

    desk.open("/today?run=petg-p-03.toml")
    desk.type("at", f"{first:%Y-%m-%d %H:%M}")
    desk.type("value", "12.40 mm")
    desk.type("load", "0.4 kg")
    desk.press('button[value="loaded"]')
    desk.paste("petg-p-03.toml", [(first + timedelta(minutes=1), "14.67 mm"), (first + timedelta(days=1), "14.95 mm")])
    # a slip that goes by, and is corrected afterwards
    desk.read("petg-p-03.toml", "14.98 mm", first + timedelta(days=2))
    desk.open("/today?run=petg-p-03.toml")
    desk.find("tbody tr summary").click()
    desk.find('tbody tr input[name="value"]').send_keys("15.03")
    desk.press('tbody tr button[value="correct"]')
    # two digits swapped: the doubt is there before anything is saved
    desk.open("/today?run=petg-p-03.toml")
    desk.type("at", f"{first + timedelta(days=3):%Y-%m-%d %H:%M}")
    desk.type("value", "51.08 mm")
    desk.until(lambda: "far above the forecast" in desk.text("#doubt"))
    desk.press('button[value="reading"]')
    assert "It is right, save it" in desk.text()
    assert "51.08" not in (desk.folder / "petg-p-03.csv").read_text(encoding="utf-8")
    desk.type("value", "15.08 mm")
    desk.press('button[value="reading"]')
    off = first + timedelta(days=5)
    desk.read("petg-p-03.toml", "15.14 mm", off, "unloaded")
    desk.paste("petg-p-03.toml", [(off + timedelta(minutes=1), "12.87 mm"), (off + timedelta(days=1), "12.61 mm")])

    run = read_run(desk.folder / "petg-p-03.toml")
    shown = [12.40, 14.67, 14.95, 15.03, 15.08, 15.14, 12.87, 12.61]
    assert [r.value for r in run.readings] == shown
    assert run.unloading == pytest.approx(5 * 86400.0)
    desk.until(lambda: "After 1 year" in desk.text(".answer"))
    desk.until(lambda: desk.find(".whatif").is_displayed())
    assert "permanent set" in desk.text()

    desk.open("/part?material=petg-p-03.toml")
    for name, text in {
        "part.name": "bracket", "segment 1, length": "120 mm", "segment 1, width": "14 mm", "load 1, mass": "0.6 kg",
        "limit.sag": "2 mm", "limit.life": "1 year",
    }.items():  # fmt: skip
        desk.type(name, text)
    desk.press('button[value="add brace"]')  # a row more, which is where the keyboard then is
    assert desk.driver.switch_to.active_element.get_attribute("name") == "brace 1, from"
    desk.driver.switch_to.active_element.send_keys("90 mm")
    desk.type("brace 1, to", "0 mm; -60 mm")
    desk.until(lambda: 'to = {x = "0 mm", y = "-60 mm"}' in desk.text("#file-text"))
    desk.press('button[value="remove brace 1"]')
    assert desk.driver.switch_to.active_element.get_attribute("value") == "add brace"
    desk.type("segment 1, thickness", "10 mm")  # the last size that is missing
    desk.until(lambda: desk.driver.find_elements("css selector", "#drawing svg"))
    desk.until(lambda: "will have sagged" in desk.text("#answer"))
    assert "kept for 1 year with probability" in desk.text("#answer")
    desk.press("button.first")
    part = tomllib.loads((desk.folder / "bracket.toml").read_text(encoding="utf-8"))
    assert part["limit"] == {"sag": "2 mm", "life": "1 year"}
    assert desk.driver.get_log("browser") == []


def test_a_file_changed_by_hand_is_seen_without_loading_anew(desk: Desk) -> None:
    for name in ("petg-hook.toml", "petg-strip.toml", "petg-strip.csv", "pla-strip.toml", "pla-strip.csv", "bracket.toml"):
        shutil.copy(DEMO / name, desk.folder / f"demo-{name}" if name == "bracket.toml" else desk.folder)
    desk.open("/answer?run=petg-strip.toml")
    desk.until(lambda: "12 readings" in desk.text() or "13 readings" in desk.text())
    before = desk.text(".keys")
    table = desk.folder / "petg-strip.csv"
    table.write_text(f"{table.read_text(encoding='utf-8')}192,3.50\n", encoding="utf-8")
    desk.until(lambda: "14 readings" in desk.text())
    assert before
    assert desk.find(".whatif").is_displayed()


def test_the_keyboard_alone_is_enough(desk: Desk) -> None:
    from selenium.common.exceptions import StaleElementReferenceException
    from selenium.webdriver import ActionChains, Keys

    def key(*keys: str) -> None:
        ActionChains(desk.driver).send_keys(*keys).perform()

    def to(words: str) -> None:
        """Go on by the tabulator until what has the focus is called so."""
        for _ in range(80):
            key(Keys.TAB)
            at = desk.driver.switch_to.active_element
            try:
                name, outline = at.accessible_name, at.value_of_css_property("outline-style")
            except StaleElementReferenceException:  # it went while something else came into the page
                continue
            assert outline != "none" or at.tag_name == "body", name
            if name.startswith(words):
                return
        raise AssertionError(f"{words} cannot be reached")

    desk.open("/")
    to("New run")
    key(Keys.ENTER)
    desk.until(lambda: "how is the specimen loaded" in desk.text())
    to("three-point bending")
    key(Keys.ENTER)
    desk.until(lambda: "A new run: three-point bending" in desk.text())
    for field, text in [
        ("material", "PP"),
        ("specimen", "K 1"),
        ("width", "10 mm"),
        ("thickness", "4 mm"),
        ("span", "64 mm"),
    ]:
        to(field)
        key(text)
    key(Keys.ENTER)
    desk.until(lambda: "Wrote pp-k-1.toml" in desk.text())
    key("1.00 mm", Keys.ENTER)  # the field of the reading has the focus
    desk.until(lambda: "Wrote 1.00 mm at" in desk.text())
    assert "1.00" in (desk.folder / "pp-k-1.csv").read_text(encoding="utf-8")


SCREENS = (
    "/", "/today?run=petg-strip.toml", "/answer?run=petg-strip.toml", "/new-run", "/new-run?test=four-point-bending",
    "/run-form?run=petg-strip.toml", "/run-form?run=petg-hook.toml", "/part?kind=crank",
    "/part?part=demo-bracket.toml&material=petg-strip.toml",
    "/beside?run=petg-strip.toml&run=pla-strip.toml", "/shelf", "/file?name=petg-strip.toml", "/more?run=pla-strip.toml",
    "/today?run=nothing.toml",
)  # fmt: skip


@pytest.mark.parametrize("screen", SCREENS)
def test_it_fits_a_narrow_window_and_has_no_barriers(desk: Desk, screen: str) -> None:
    desk.driver.get_log("browser")
    desk.driver.execute_cdp_cmd(
        "Emulation.setDeviceMetricsOverride", {"width": 390, "height": 844, "deviceScaleFactor": 1, "mobile": False}
    )
    try:
        desk.open(screen)
        desk.until(lambda: not desk.driver.find_elements("css selector", ".working"))
        assert desk.driver.execute_script("return document.documentElement.scrollWidth") <= 390
        nameless = desk.driver.execute_script(
            "return [...document.querySelectorAll('input:not([type=hidden]), select, textarea:not([hidden])')]"
            ".filter(n => !n.labels.length && !n.getAttribute('aria-label')).map(n => n.outerHTML)"
        )
        assert nameless == []
        assert desk.driver.execute_script("return document.querySelectorAll('h1').length") == 1
        said = [entry for entry in desk.driver.get_log("browser") if "400 (BAD REQUEST)" not in entry["message"]]
        assert said == []
        if AXE.exists():
            for scheme in ("light", "dark"):
                features = [{"name": "prefers-color-scheme", "value": scheme}]
                desk.driver.execute_cdp_cmd("Emulation.setEmulatedMedia", {"features": features})
                desk.driver.execute_script(AXE.read_text(encoding="utf-8"))
                found = desk.driver.execute_async_script(
                    "const done = arguments[0]; axe.run(document).then(r => done(r.violations))"
                )
                assert [(v["id"], v["nodes"][0]["html"][:160]) for v in found] == [], scheme
    finally:
        desk.driver.execute_cdp_cmd("Emulation.clearDeviceMetricsOverride", {})
        desk.driver.execute_cdp_cmd("Emulation.setEmulatedMedia", {"features": []})
