"""A day at the bench, without a browser: what is written, what is doubted before it is, and what is never lost."""

from __future__ import annotations

import io
import json
import os
import re
import time
from datetime import datetime, timedelta
from pathlib import Path

import pytest

from creepfit.answers.doubts.catalogue.readings import JUMP
from creepfit.answers.interval import Caution
from creepfit.desk.answers import listed_times
from creepfit.desk.app import create_app
from creepfit.desk.guard import Keys
from creepfit.records.files import read_run
from creepfit.report.page.html import environment

from .conftest import Browser

pytestmark = pytest.mark.few_draws

HERE = Path(__file__).parent
SMALL, ROWS = ((HERE / name).read_text(encoding="utf-8") for name in ("small.toml", "small.csv"))


def done(answer: object) -> str:
    """The key of a change that was made."""
    location = answer.headers["Location"]  # type: ignore[attr-defined]
    return re.search(r"done=([\w-]+)", location)[1]  # type: ignore[index]


def test_cards_say_how_far_a_run_is(browser: Browser) -> None:
    page = browser.get("/").text
    assert "PP bar 1" in page
    assert "0.019 mm in 22 h 20 min" in page
    assert "read 2 d after loading" in page
    assert "due since" in page or "due Wed 5 Mar" in page


def test_a_reading_goes_into_the_runs_own_file_and_can_be_taken_back(browser: Browser, folder: Path) -> None:
    answer = browser.post("/today", run="small.toml", value="0,158 mm", at="2 d", what="reading")
    assert answer.status_code == 302
    assert (folder / "small.csv").read_text(encoding="utf-8") == f"{ROWS}48,0.158\n"
    assert (folder / "small.csv.bak").read_text(encoding="utf-8") == ROWS
    assert "Take it back" in browser.get(answer.headers["Location"]).text
    again = browser.post("/undo", key=done(answer), run="small.toml")
    assert (folder / "small.csv").read_text(encoding="utf-8") == ROWS
    browser.post("/undo", key=done(again), run="small.toml")
    assert (folder / "small.csv").read_text(encoding="utf-8") == f"{ROWS}48,0.158\n"
    assert (folder / "small.toml").read_text(encoding="utf-8") == SMALL


def restarted(folder: Path) -> Browser:
    """Another browser at a desk that was started anew on the folder."""
    keys = Keys()
    return Browser(create_app(folder, keys, 5000).test_client(), keys)


def test_the_last_change_can_be_taken_back_after_a_restart(browser: Browser, folder: Path) -> None:
    browser.post("/today", run="small.toml", value="0.158 mm", at="2 d", what="reading")
    browser.post("/today", run="small.toml", value="0.159 mm", at="3 d", what="unloaded")  # in both files
    later = restarted(folder)
    for shown in ("small.csv: + 72,0.159", "small.toml: + mass = &#34;0 kg&#34;"):
        page = later.get("/today?run=small.toml").text
        assert shown in page
    assert "48,0.158" not in page
    form = {name: later.hidden(page, name) for name in ("of", "back", "state")}
    assert later.post("/undo", **{**form, "state": "x"}).status_code == 400
    assert later.post("/undo", **form).status_code == 302
    assert (folder / "small.csv").read_text(encoding="utf-8") == f"{ROWS}48,0.158\n"
    assert (folder / "small.toml").read_text(encoding="utf-8") == SMALL
    again = restarted(folder)  # and what was taken back can be had again
    page = again.get("/today?run=small.toml").text
    assert again.post("/undo", **{name: again.hidden(page, name) for name in form}).status_code == 302
    assert (folder / "small.csv").read_text(encoding="utf-8") == f"{ROWS}48,0.158\n72,0.159\n"
    os.utime(folder / "small.csv", (2e9, 2e9))  # changed by others since: the backup is no last state
    os.utime(folder / "small.toml", (2e9, 2e9))
    assert "Last change" not in again.get("/today?run=small.toml").text


def test_a_mistyped_reading_is_doubted_before_it_is_saved(browser: Browser, folder: Path) -> None:
    live = json.loads(browser.post("/today/doubt", run="small.toml", value="1.58 mm", at="2 d").text)["html"]["doubt"]
    assert "far above the forecast" in live
    answer = browser.post("/today", run="small.toml", value="1.58 mm", at="2 d", what="reading")
    assert answer.status_code == 200
    assert "far above the forecast" in answer.text
    assert "It is right, save it" in answer.text
    assert (folder / "small.csv").read_text(encoding="utf-8") == ROWS
    seen = browser.hidden(answer.text, "seen")
    other = browser.post("/today", run="small.toml", value="1.68 mm", at="2 d", what="reading", seen=seen)
    assert other.status_code == 200  # what was seen was another reading's doubt
    kept = browser.post("/today", run="small.toml", value="1.58 mm", at="2 d", what="reading", seen=seen)
    assert kept.status_code == 302
    assert (folder / "small.csv").read_text(encoding="utf-8") == f"{ROWS}48,1.58\n"


def test_a_reading_in_the_future_is_said_to_be_one_before_it_is_saved(browser: Browser, folder: Path) -> None:
    began = datetime.now() - timedelta(days=2, hours=1)
    (folder / "small.toml").write_text(SMALL.replace("2031-03-03 08:00", f"{began:%Y-%m-%d %H:%M}"), encoding="utf-8")
    for at, ahead in (("2 d", False), ("3 d", True)):
        live = json.loads(browser.post("/today/doubt", run="small.toml", value="0.158 mm", at=at).text)["html"]["doubt"]
        assert "as forecast" in live
        assert ("That is in the future: " in live) == ahead


def test_what_comes_after_a_reading_is_what_its_card_says_once_it_is_saved(browser: Browser) -> None:
    form = {"run": "small.toml", "value": "0.158 mm", "at": "2 d"}
    live = json.loads(browser.post("/today/doubt", **form).text)["html"]["doubt"]
    before = re.search(r"After this reading, by the usual schedule: ([^<]+)<", live)
    assert before is not None
    browser.post("/today", what="reading", **form)
    card = re.search(r"By the usual schedule: ([^<]+)<", browser.get("/today?run=small.toml").text)
    assert card is not None
    assert before[1].replace("\u00a0", " ") == card[1]
    assert card[1].startswith("read 5 d after loading and take the load off")


def test_a_bar_that_was_read_long_enough_is_sent_to_its_answer_and_not_unloaded(browser: Browser) -> None:
    # before: "take the load off", where the same run's plan said to leave it on
    browser.post("/today", run="small.toml", what="reading", value="0.160 mm", at="5 d", seen="0.160 mm")
    card = re.search(r"By the usual schedule: ([^<]+)<", browser.get("/today?run=small.toml").text)
    assert card is not None
    assert card[1] == "read on as its answer says; recovery and permanent set show only once the load is off"


@pytest.mark.parametrize(
    ("text", "times"),
    [
        ("30 d, 1 year", ["30 d", "1 year"]),
        ("30 d,1 year", ["30 d", "1 year"]),
        ("1,5 years; 2 years,", ["1,5 years", "2 years"]),
        ("0,5 h,1,5 h", ["0,5 h", "1,5 h"]),
        (" ", []),
    ],
)
def test_a_comma_within_a_number_parts_no_times(text: str, times: list[str]) -> None:
    assert listed_times(text) == times


@pytest.mark.parametrize(
    ("form", "said"),
    [
        ({"value": "0.158 kg", "what": "reading"}, "is the unit of a mass"),
        ({"value": "", "what": "reading"}, "no reading was typed"),
        ({"value": "0.158 mm", "what": "reading", "at": "fünf"}, "expected a time"),
        ({"value": "", "what": "loaded"}, "which load?"),
        ({"value": "0.158 mm", "what": "loaded", "load": "2 mm"}, "load: &#34;mm&#34; is the unit of a length"),
        ({"value": "", "what": "nonsense"}, "a reading, loaded, unloaded or an event"),
    ],
)
def test_mistakes_are_said_and_nothing_is_written(browser: Browser, folder: Path, form: dict[str, str], said: str) -> None:
    answer = browser.post("/today", run="small.toml", **{"at": "2 d", **form})
    assert said in answer.text
    assert str(folder) not in answer.text
    assert (folder / "small.csv").read_text(encoding="utf-8") == ROWS


def test_what_happened_is_noted_beside_the_reading(browser: Browser, folder: Path) -> None:
    browser.post("/today", run="small.toml", value="0.158 mm", at="2 d", what="unloaded")
    run = read_run(folder / "small.toml")
    assert run.unloading == 2 * 86400.0
    assert run.readings[-1].value == 0.158
    assert "# a run with a remark that nobody may lose" in (folder / "small.toml").read_text(encoding="utf-8")
    browser.post("/today", run="small.toml", value="", at="3 d", what="slipped")
    assert [e.kind for e in read_run(folder / "small.toml").events] == ["slipped"]


def test_a_reading_is_corrected_or_left_out(browser: Browser, folder: Path) -> None:
    browser.post("/today/change", run="small.toml", place="6", what="correct", value="0.135 mm")
    assert (folder / "small.csv").read_text(encoding="utf-8") == ROWS.replace("24,0.153", "24,0.135")
    browser.post("/today/change", run="small.toml", place="4", what="leave out", why="gauge was touched")
    assert [r.skip for r in read_run(folder / "small.toml").skipped] == ["gauge was touched"]
    assert (
        "left out only for a reason"
        in browser.post("/today/change", run="small.toml", place="5", what="leave out", why="").text
    )


def test_a_correction_meets_the_doubt_that_a_new_reading_meets(browser: Browser, folder: Path) -> None:
    answer = browser.post("/today/change", run="small.toml", place="6", what="correct", value="1.35 mm")
    assert answer.status_code == 200
    assert "far above the forecast" in answer.text
    assert "After this reading, by the usual schedule" not in answer.text
    assert "It is right, correct it" in answer.text
    assert (folder / "small.csv").read_text(encoding="utf-8") == ROWS
    seen = browser.hidden(answer.text, "seen")
    other = browser.post("/today/change", run="small.toml", place="6", what="correct", value="1.45 mm", seen=seen)
    assert other.status_code == 200  # what was seen was another correction's doubt
    kept = browser.post("/today/change", run="small.toml", place="6", what="correct", value="1.35 mm", seen=seen)
    assert kept.status_code == 302
    assert (folder / "small.csv").read_text(encoding="utf-8") == ROWS.replace("24,0.153", "24,1.35")


def test_what_settles_a_doubt_is_said_in_the_words_of_forms(folder: Path) -> None:
    shown = '{% from "sections.html" import doubted %}{{ doubted(caution) }}'
    page = create_app(folder, Keys(), 5000).jinja_env.from_string(shown)
    jump = JUMP(first=read_run(folder / "small.toml").used[-1], size="0.1 mm")
    assert "note it with its time beside today" in page.render(caution=jump)
    assert "[[event]]" not in page.render(caution=jump)
    assert "[[event]]" in environment().from_string(shown).render(caution=jump)  # a page, of files and commands
    assert "a reading now" in page.render(caution=Caution("new", "", "a reading now"))


def test_pasted_rows_are_taken_whole_or_not_at_all(browser: Browser, folder: Path) -> None:
    bad = browser.post("/today/rows", run="small.toml", rows="time\treading\n2 d\t0.158 mm\n3 d\t0.16 kg\n")
    assert "row 3, reading: &#34;kg&#34; is the unit of a mass" in bad.text
    assert "0.16 kg" in bad.text  # what was pasted is still there
    assert (folder / "small.csv").read_text(encoding="utf-8") == ROWS
    good = browser.post("/today/rows", run="small.toml", rows="time\treading\n2 d\t0,158 mm\n\n3 d\t0.161\n")
    assert good.status_code == 302
    assert (folder / "small.csv").read_text(encoding="utf-8") == f"{ROWS}48,0.158\n72,0.161\n"
    browser.post("/undo", key=done(good))
    assert (folder / "small.csv").read_text(encoding="utf-8") == ROWS


def test_two_browsers_lose_nothing(browser: Browser, other: Browser, folder: Path) -> None:
    browser.get("/today?run=small.toml")
    other.get("/today?run=small.toml")
    first = browser.post("/today", run="small.toml", value="0.158 mm", at="2 d", what="reading")
    second = other.post("/today", run="small.toml", value="0.161 mm", at="3 d", what="reading")
    assert (first.status_code, second.status_code) == (302, 302)
    assert (folder / "small.csv").read_text(encoding="utf-8") == f"{ROWS}48,0.158\n72,0.161\n"
    refused = browser.post("/undo", key=done(first))  # would take the other's reading with it
    assert refused.status_code == 400
    assert "changed again since" in refused.text
    assert (folder / "small.csv").read_text(encoding="utf-8") == f"{ROWS}48,0.158\n72,0.161\n"


def test_a_file_changed_outside_is_seen_and_never_overwritten(browser: Browser, folder: Path) -> None:
    opened = browser.hidden(browser.get("/file?name=small.csv").text, "opened")
    (folder / "small.csv").write_text(f"{ROWS}36,0.155\n", encoding="utf-8")
    assert "0.155 mm" in browser.get("/").text
    answer = browser.post("/file", name="small.csv", opened=opened, text=ROWS.replace("0.153", "0.154"))
    assert "changed meanwhile" in answer.text
    assert "36,0.155" in answer.text  # what stands there
    assert "0.154" in answer.text  # and what was typed
    assert (folder / "small.csv").read_text(encoding="utf-8") == f"{ROWS}36,0.155\n"
    opened = browser.hidden(browser.get("/file?name=small.csv").text, "opened")
    assert browser.post("/file", name="small.csv", opened=opened, text=ROWS).status_code == 302
    assert (folder / "small.csv").read_text(encoding="utf-8") == ROWS


def test_a_dropped_file_is_taken_but_never_in_place_of_another(browser: Browser, folder: Path) -> None:
    for name, content, code in [
        ("new.csv", b"time [h],reading [mm]\n0,1\n", 302),
        ("new.csv", b"time [h],reading [mm]\n0,2\n", 400),
        ("../up.csv", b"x", 302),
        ("tool.exe", b"x", 400),
    ]:
        assert browser.post("/drop", file=(io.BytesIO(content), name)).status_code == code
    assert (folder / "new.csv").read_bytes() == b"time [h],reading [mm]\n0,1\n"
    assert not (folder.parent / "up.csv").exists()


def test_the_answer_is_that_of_the_files(browser: Browser, folder: Path) -> None:
    page = browser.get("/answer?run=small.toml&limit=0.2 mm&wait=1").text
    assert "the deformation will be" in page
    assert "limit of 0.2\u00a0mm reached" in page
    part = browser.get("/answer/part?run=small.toml&limit=0.2 mm")
    assert part.headers["X-Current"] == "1"
    for row, said in (("-0.02,0.000", "too little to forecast from"), ("-0.02,nonsense", "row 2")):
        (folder / "small.csv").write_text(f"time [h],reading [mm]\n{row}\n", encoding="utf-8")
        os.utime(folder / "small.csv", (1.6e9, 1.6e9))  # long ago: nobody is still writing it
        assert said in browser.get("/answer?run=small.toml").text


def test_everything_can_be_taken_along(browser: Browser, folder: Path) -> None:
    assert b"<svg" in browser.get("/figure?run=small.toml&name=readings&kind=svg").data
    assert browser.get("/figure?run=small.toml&name=readings&kind=png").data.startswith(b"\x89PNG")
    assert browser.get("/figure?run=small.toml&name=nothing").status_code == 400
    assert browser.get("/table?run=small.toml&name=forecast").data.startswith(b"\xef\xbb\xbfafter")
    page = browser.get("/standalone?run=small.toml&part=bracket.toml")
    assert page.headers["Content-Disposition"] == "attachment; filename=pp-bar-1.html"
    assert page.text.startswith("<!DOCTYPE html>")
    assert "bracket, by PP bar 1" in page.text
    assert browser.get("/download?name=small.toml").data == SMALL.encode()
    assert "Download as" in browser.get("/more?run=small.toml&part=bracket.toml").text
    assert b"<svg" in browser.get("/part-drawing?part=bracket.toml&kind=svg").data
    assert browser.get("/part-drawing?part=bracket.toml&kind=png").data.startswith(b"\x89PNG")


def test_a_file_that_is_no_toml_is_said_on_every_screen(browser: Browser, folder: Path) -> None:
    (folder / "broken.toml").write_text("format = 1\n[run\n", encoding="utf-8")
    assert "not valid TOML" in browser.get("/").text
    assert "not valid TOML" in browser.get("/file?name=broken.toml").text
    for address in ("/today?run=", "/run-form?run=", "/part?part=", "/more?run="):
        answer = browser.get(f"{address}broken.toml")
        assert answer.status_code == 400, address
        assert "line 2: not valid TOML" in answer.text
        assert 'href="/file?name=broken.toml"' in answer.text  # where it can be mended
    assert "not valid TOML" in browser.get("/answer?run=broken.toml").text
    form = {"file": "broken.toml", "opened": "none", "specimen.test": "tension"}
    assert "not valid TOML any more" in browser.post("/new-run", button="save", **form).text
    assert (folder / "broken.toml").read_text(encoding="utf-8") == "format = 1\n[run\n"


def test_cards_say_what_ended_a_run_and_what_is_to_be_settled_first(browser: Browser, folder: Path) -> None:
    broke = SMALL.replace("bar 1", "bar 9") + '[[event]]\nat = "2 d"\nkind = "broke"\n'
    (folder / "broke.toml").write_text(broke, encoding="utf-8")
    page = browser.get("/").text
    assert "Broke 2 d after loading" in page
    assert re.search(r'href="/answer\?run=broke.toml">The answer', page)  # and no reading of today
    assert not re.search(r'href="/today\?run=broke.toml">Today', page)
    rows = (folder / "small.csv").read_text(encoding="utf-8")
    last = rows.splitlines()[-1].rpartition(",")[2]
    assert f"{last} mm at" in page  # to the gauge's own last digit


def test_the_shelf_is_for_reading(browser: Browser) -> None:
    # before: 28 columns of bare numbers, codes such as "no-recovery-reading", 235 s as 0.00272 d
    for _ in range(100):
        page = browser.get("/shelf").text
        if "still to come" not in page:
            break
        time.sleep(0.1)
    heads = re.findall(r'<th scope="col">([^<]+)</th>', page)
    assert len(heads) == 15
    assert "no recovery reading" in page
    assert "no-recovery-reading" not in page
