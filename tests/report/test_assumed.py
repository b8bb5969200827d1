"""The run file on the page is one that can be copied out and read."""

from __future__ import annotations

import json
import tomllib
from dataclasses import replace
from pathlib import Path

from creepfit.records.files import read_run
from creepfit.report.page.assumed import run_file


def test_it_reads_back_whatever_keys_and_texts_it_has(short: Path) -> None:
    run = read_run(short)
    source = json.loads(run.source)
    source["tables"]["print"] = {"nozzle [mm]": 0.4, "first = layer": 'a "glued" bed\\', "wände": True, "": [1, 2.5]}
    written = run_file(replace(run, source=json.dumps(source)))
    assert tomllib.loads(written) == source["tables"]
    assert "# readings: time" in written
