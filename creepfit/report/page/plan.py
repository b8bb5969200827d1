"""The page of a planned test: timeline, a table to fill in, what to expect and why."""

from __future__ import annotations

from creepfit.answers.plan.load import load_words
from creepfit.answers.plan.proposal import PlannedTest
from creepfit.report.figures.plan import timeline_figure, widths_figure
from creepfit.report.page.drawn import figure_contents
from creepfit.report.page.html import asset, environment
from creepfit.report.text.plan import (
    BARS_NOTE,
    ELSEWHERE_NOTE,
    NOT_IN_IT,
    PROMISE_NOTE,
    bars_table,
    elsewhere_table,
    promise_heads,
    promise_rows,
    reading_rows,
)


def plan_page(plan: PlannedTest) -> str:
    """A self-contained page; it needs no script and no network."""
    return (
        environment()
        .get_template("plan.html")
        .render(
            title=f"{plan.label}: plan of a test",
            style=asset("report.css"),
            verdict=plan.verdict,
            for_the_part=plan.for_the_part,
            load=f"{load_words(plan.load, plan.unit, plan.unload_at)}; {plan.load.why}.",
            specimen=plan.begun.specimen.describe(),
            figures=figure_contents([timeline_figure(plan), widths_figure(plan)], "plan"),
            readings=reading_rows(plan),
            heads=promise_heads(plan),
            promises=promise_rows(plan),
            asked=plan.asked,
            promise_note=PROMISE_NOTE,
            tables=[
                ("With more bars of the material, typically", bars_table(plan), BARS_NOTE),
                ("For a bar elsewhere, typically", elsewhere_table(plan), ELSEWHERE_NOTE),
            ],
            rests_on=plan.rests_on,
            assumptions=plan.belief.assumptions,
            also=plan.also,
            not_in_it=NOT_IN_IT,
        )
    )
