"""Cautions about what a fit, a forecast or a recovery rests on."""

from __future__ import annotations

from creepfit.answers.doubts.catalogue.entry import GENERAL, Entry
from creepfit.answers.doubts.catalogue.readings import LATER_UNDER_LOAD

FEW_READINGS = Entry(
    "few-readings",
    "Every model has as many parameters as there are readings: each passes through them whatever the noise, and no "
    "model can be preferred or ruled out by them.",
    "more readings, spread evenly in log time",
    rank=220,
)

SAID_BY = {"beyond-ten-times": "far-beyond-test"}
"""Doubts about a run that another, about a part by it, says too."""

BEYOND_TEN_TIMES = Entry(
    "beyond-ten-times",
    "{horizon:time} is {ratio:2} times the test of {length:time}. Beyond ten times, models that agree on the readings "
    "can differ threefold; the interval carries an allowance for that.{too_far: More than a hundred times is no "
    "forecast any more.|}",
    LATER_UNDER_LOAD,
    rank=330,
)

TRIAL_FAILED = Entry(
    "trial-failed",
    "Tried on this run itself the forecast failed: by its first {fitted_to:time} {inside} of the {readings} readings "
    "that followed fell in their {level:%2} % intervals, and it gave way by up to {most} more than foretold ({share:%2} % "
    "of the movement). Something goes on that no model here has. The interval at {horizon:time} was widened by as much for "
    "as many decades of time, and may still be too narrow.",
    "what it can be: water, warmth, a clamp that gives way; a run begun once that has come to rest, or a longer one",
    rank=105,
)

FLOW_EXTRAPOLATED = Entry(
    "flow-extrapolated",
    "A dashpot, which has a weight of {flow:%2} %, goes on in proportion to time: over {ratio:2} times the test that is "
    "a guess, and it makes the upper end high.",
    "readings {recovery:longer |}after unloading: what flowed does not come back",
    rank=370,
)

PRIOR_DOMINATES = Entry(
    "prior-dominates",
    "The readings hardly narrow the exponent of creep: {share:%2} % of its prior variance is left. The forecast is "
    "mostly what is assumed about plastics in general.",
    "{late:a reading at 1 min after loading, |}{no_recovery:readings after unloading, |}a longer test{all_done: or a "
    "finer gauge|}",
    rank=310,
)

AGE_UNKNOWN = Entry(
    "age-unknown",
    "The age of the specimen is not known, and glassy polymers stiffen with age. For a part a few days old a forecast "
    "without ageing over-predicts the creep of a year 1.3 to 1.6 times (own simulation), so it errs to the safe side; "
    "for one annealed later than the specimen was made it can err to the other.",
    "the time between printing (or annealing) and first loading: run.age",
)

TEMPERATURE_NOT_NOTED = Entry(
    "temperature-not-noted",
    "No temperature was noted: a drift of 3 K during the test moves the forecast of a year by several per cent and "
    "leaves no trace in the residuals.",
    "the temperature beside each reading",
)

NOT_A_STRENGTH_CHECK = Entry(
    "not-a-strength-check",
    "This is about sag, not strength: plastics under a lasting load can break (creep rupture) without warning, at a "
    "fraction of their short-term strength, and no forecast of deformation sees it coming.",
    rank=GENERAL,
)

OUTSIDE_THE_TEST = Entry(
    "outside-the-test",
    "It holds for the conditions of the test: warmer surroundings{noted: than {temperature} degC|}, moisture, sun or "
    "{oriented:layers other than {orientation}|another layer direction} make it sag more.",
    "a run in the place and direction of use, at its highest temperature",
    rank=GENERAL,
)

MOULDED_BARS = Entry(
    "moulded-bars",
    "Its allowances were set on moulded bars in a controlled climate; printed parts vary more from piece to piece.",
    "{tested:a second and a third specimen|{two:a third specimen|specimens printed as the part will be}}",
    rank=GENERAL,
)

HYPOTHETICAL_UNLOADING = Entry(
    "hypothetical-unloading",
    "The specimen is still loaded: recovery is worked out for an unloading at the last reading. Whatever flowed or set "
    "is taken from the models, so what is left may be more than shown.",
    "unload and read at 1 min, 1 h and 1 d after it",
)

ONE_INITIAL_READING = Entry(
    "one-initial-reading",
    "The zero rests on a single reading, and its error goes straight into the permanent set and every residual value.",
    "three readings before loading, with the gauge put on anew each time",
)

RECOVERY_NOT_READ = Entry(
    "recovery-not-read",
    "Nothing was read after the unloading: what is left is worked out from creep under load, without a set and with no "
    "more flow than the models take from it; it may be more than shown.",
    "a reading now, and at least as long after unloading as the load was on",
)

RECOVERY_FAR = Entry(
    "recovery-far",
    "{after:time} after unloading is {ratio:2} times as long as the test or its recovery was read ({known:time}): models "
    "that agree on the readings differ in what is left so late, and a slow flow or set shows only then. The interval "
    "counts gauge, parameters, choice of model and what no model has{recovery:, a set and flow as far as readings show "
    "one|, but no set}.{too_far: More than a hundred times is no forecast any more.|}",
    "a reading a tenth of that time after unloading, or later",
    rank=330,
)

SHORT_RECOVERY = Entry(
    "short-recovery",
    "Recovery was followed for {after:time} only, after {test_length:time} under load: what is left is still going, and "
    "the bounds of the permanent set are wide.",
    "a reading {test_length:time} after unloading: as long as the load was on",
)

UNSEEN = "A flow that this run could not have seen, in proportion to time and never given back, would add"

FLOW_SHOWN_BY = (
    "readings {recovery:for longer |}after unloading: what flowed does not come back; or one bar left hanging for months"
)

UNSEEN_FLOW = Entry(
    "unseen-flow",
    f"{UNSEEN} up to {{size}} by {{horizon:time}} (probability {{probability:.2g}} of less, if the material flows). "
    "Published tables of moulded bars show next to none, so little of it is in the interval.",
    FLOW_SHOWN_BY,
    rank=315,
)

UNSEEN_FLOW_IN_PART = Entry(
    "unseen-flow",
    f"{UNSEEN} up to {{size}} to the sag by {{horizon:time}}{{stay_on:|, if the loads stayed on}} (probability "
    f"{{probability:.2g}} of less, if the material flows). Tables of moulded bars show next to none, so little of it is in "
    "the interval, more in what keeps a limit.",
    FLOW_SHOWN_BY,
    rank=315,
)

_BROKE = "{named}{others:; and {more} more, at higher stresses|}.{seen: {what} sees {stress} MPa.|}"

_UNTIL_THEY_BREAK = "bars left under a stress near that one until they break, or for as long as it matters"

SPECIMEN_BROKE = Entry(
    "specimen-broke",
    "{broke}. What its readings say ends there: under that load, or a higher one, no forecast reaches beyond; under a "
    "smaller one plastics last longer, by how much one break does not tell.",
    "a fresh bar at half the load, and one left under it until it breaks",
    rank=65,
)

BROKE = Entry(
    "broke",
    f"{_BROKE} From three breaks at two stresses on a line of life against stress is drawn through them.",
    _UNTIL_THEY_BREAK,
    rank=70,
)

BROKE_ON_A_LINE = Entry(
    "broke",
    f"{_BROKE} A line of life against stress through {{broken}} breaks{{held: and {{unbroken}} that did not break|}} says "
    "that nine in ten bars last {low} at this stress (median {median}).{before: That is less than the {until:time} asked "
    "about: it may well BREAK before.|}{guess: Beyond ten times the longest test, {longest:time}, this is a guess with a "
    "number on it.|}",
    _UNTIL_THEY_BREAK,
    rank=70,
)
