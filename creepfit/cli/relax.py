"""The command `relax`: how the force of a part that is held bent goes down."""

from __future__ import annotations

import click

from creepfit.cli.options import (
    Common,
    TemperatureOptions,
    answer_options,
    part_options,
    progress,
    time_option,
    warmth_options,
)
from creepfit.cli.output import show_answer
from creepfit.cli.runs import material_in_warmth


@click.command()
@part_options
@time_option("--release-at", "When it is let go: what bend is left then?")
@time_option("--after", "How long after letting go; repeatable.", multiple=True)
@warmth_options
@answer_options
def relax(
    part: str,
    material: tuple[str, ...],
    at: tuple[float, ...],
    scatter: float | None,
    release_at: float | None,
    after: tuple[float, ...],
    warmth: TemperatureOptions,
    common: Common,
) -> None:
    """Say how much force is left of a PART that is held bent.

    A clip, a snap-fit, a spring, a clamped joint: [held] in its file says by how much it is bent where its sag would be
    read. The force comes from a run on its material.
    """
    from creepfit.answers.part.relaxation import relax as answer
    from creepfit.records.part_files import read_part
    from creepfit.report.text.relaxation import relax_text

    with progress("working out the force", 1):
        read = read_part(part)
        fitted, dependence = material_in_warmth(material, warmth, common)
        result = answer(
            read,
            fitted,
            at,
            specimen_scatter=scatter,
            release_at=release_at,
            after_release=after or None,
            dependence=dependence,
        )
    show_answer(result, relax_text, common.as_json)
