"""How fast a desk of many runs is: the screen of all cards, first and again, one answer after a new reading, and the shelf
with an answer asked for while its rows are worked out.

On a machine that others share the time of the processor is the one to go by.

Usage: python tests/benchmarks/desk.py [RUNS]
"""

from __future__ import annotations

import re
import sys
import tempfile
import time
from pathlib import Path

from creepfit.desk.app import create_app
from creepfit.desk.guard import Keys

DEMO = Path(__file__).parents[2] / "demo"
LONGEST = 480.0
"""Seconds that the shelf is waited for."""

BASE = "http://127.0.0.1:5000"


def main(count: int) -> None:
    """Print the times."""
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        text, rows = ((DEMO / f"petg-strip.{suffix}").read_text(encoding="utf-8") for suffix in ("toml", "csv"))
        for k in range(count):
            own = text.replace('"petg-strip.csv"', f'"r{k}.csv"').replace('"strip 1"', f'"strip {k}"')
            (folder / f"r{k}.toml").write_text(own, encoding="utf-8")
            (folder / f"r{k}.csv").write_text(rows, encoding="utf-8")
        keys = Keys()
        client = create_app(folder, keys, 5000).test_client()
        client.get(f"/enter?token={keys.token}", base_url=BASE)

        def timed(what: str, address: str) -> str:
            start, work = time.perf_counter(), time.process_time()
            page = client.get(address, base_url=BASE)
            print(f"{what}: {time.perf_counter() - start:.2f} s, of the processor {time.process_time() - work:.2f} s")
            return page.text

        first = timed(f"cards of {count} runs, first", "/")
        timed("again", "/")
        assert first.count('class="card') >= count
        timed("the first answer", "/answer?run=r3.toml&wait=1")
        token = re.search(r'data-token="(\w+)"', first)
        assert token is not None
        start, work = time.perf_counter(), time.process_time()
        form = {"form_token": token[1], "run": "r3.toml", "value": "3.50 mm", "at": "8 d", "what": "reading"}
        client.post("/today", data=form, base_url=BASE)
        used = time.process_time() - work
        print(f"a reading judged and saved: {time.perf_counter() - start:.2f} s, of the processor {used:.2f} s")
        timed("the answer with it", "/answer?run=r3.toml&wait=1")
        timed("cards after it", "/")
        begun = time.perf_counter()
        timed("the shelf, first", "/shelf")
        time.sleep(3.0)  # its rows are being worked out, one after the other
        timed("another answer meanwhile", "/answer?run=r5.toml&wait=1")
        while "still to come" in client.get("/shelf/part", base_url=BASE).text and time.perf_counter() - begun < LONGEST:
            time.sleep(2.0)
        timed(f"the shelf, {time.perf_counter() - begun:.0f} s after it was asked for", "/shelf")


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 200)
