"""The command `draw`: a part or a specimen as it was described, before anything is computed."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import click

from creepfit.cli.options import debug_option, force_option
from creepfit.cli.output import message
from creepfit.cli.runs import read_source, run_of

if TYPE_CHECKING:
    from creepfit.records.part import Part
    from creepfit.records.run import Run


@click.command()
@click.argument("what", metavar="PART|RUN", type=click.Path())
@click.option("-o", "--output", metavar="FILE.svg", required=True, type=click.Path(), help="The drawing: .svg or .png.")
@force_option
@debug_option
def draw(what: str, output: str, force: bool) -> None:
    """Draw a PART or the specimen of a RUN to scale.

    With wall, screws, rests, loads, sizes and where it is read: a wrong direction or a support that is not what was meant
    is seen at once.
    """
    from creepfit.records.outputs import check_writable

    check_writable(output, force)
    drawings = _described(what)
    from creepfit.report.figures.described import described_figure
    from creepfit.report.figures.saving import picture_kind, save_drawing

    picture_kind(output)
    save_drawing(described_figure(drawings), output, force)
    message(f"wrote {output}")


def _described(path: str) -> Part | Run:
    """The part or the run of a file: what has a specimen or readings is a run."""
    from creepfit.records.file_content import read_toml
    from creepfit.records.part_files import build_part

    if Path(path).suffix.casefold() == ".toml":
        data = read_toml(Path(path), path)
        if not {"run", "specimen", "readings"} & data.keys():
            return build_part(data, path)
    return run_of(read_source(path))
