"""Cautions about several runs of a material or of several: pools, known runs, comparisons, stresses, temperatures."""

from __future__ import annotations

from creepfit.answers.doubts.catalogue.entry import Entry

POOL_MISFIT = Entry(
    "pool-misfit",
    "{run} does not fit with the others (chi-square {chi_square} for {free} readings, probability {probability:.2g}): "
    "it pulls the average and widens the scatter.",
    "a second look at that run's sizes, loads and gauge; or a fit without it",
)

SAME_READINGS = Entry(
    "same-readings",
    "{one} and {other} hold the same {count} readings digit for digit, at the same times: is one a copy of the other? It "
    "counts as one more run, and makes the answer surer than it is.",
    "the notes made at the bench; name the run once",
    rank=50,
)

SAME_NAME = Entry(
    "same-name",
    "{files} all name the specimen {bar}, so they count as one bar that was tested {count} times: a copied file keeps the "
    "name of the first. How far bars differ is not told from them.",
    'where they are several bars, a name for each: specimen = "..." in [run]',
    rank=120,
    at_desk="where they are several bars, a name for each, as specimen on the page of the run",
)

POOL_DIFFERS = Entry(
    "pool-differs",
    "Pooled although they differ: {difference}. What that does is taken for scatter between specimens.",
    "runs that are alike in it",
)

POOL_SHAPE = Entry(
    "pool-shape",
    "Of the runs' lengths: {text}.",
    "a long run read early too",
)

KNOWN_CONTRADICTS = Entry(
    "known-contradicts",
    "{name} contradicts these readings: had both crept alike, readings as far off as these would have a probability of "
    "{probability:.1g}. {counts:It counts by {belongs:%2} %, and the rest of the answer is without it|It has no weight in "
    "the answer}.",
    "a second look at loads, sizes, temperature and zero of both runs",
)

KNOWN_OVERRIDES = Entry(
    "known-overrides",
    "{names} {several:override|overrides} what this specimen's own {length:time} say: {end:time} after loading it would be "
    "at {median} with {several:them|it}, and by its own readings alone at {own} ({level:%2} %). Either something goes on "
    "that its own readings do not show yet, or the known {several:runs are|run is} of another print or plastic. Until that "
    "is settled take both for possible.",
    "is it the same spool, print and conditioning; a further reading, ten times as late as the last, tells which",
    rank=115,
)

KNOWN_MISLEADS = Entry(
    "known-misleads",
    "Knowing {names}, a forecast from the first {until:time} of this run would have held {inside} of {readings} later "
    "readings; by these readings alone it would have held {alone}. {several:They count|It counts} all the same: see what "
    "the answer is without.",
    "the answer without the known runs, and a second look at loads, sizes, temperature and zero of all",
)

KNOWN_DIFFERS = Entry(
    "known-differs",
    "{name} was made in other conditions: {differences}. It counts all the same, with a wider allowance for going on "
    "differently.",
    "a long run in the conditions of this one",
)

KNOWN_NAMED_ALIKE = Entry(
    "known-named-alike",
    "{name} has the specimen's name of the new run. It is taken for another bar of the material, as a copied file keeps "
    "its name, and a bar that is loaded again creeps like another one.",
    "a name of its own for each specimen (specimen in [run])",
    at_desk="a name of its own for each specimen",
)

STRESS_DIFFERS = Entry(
    "stress-differs",
    "The runs were tested at different stress ({shown}) and are compared per stress. Plastics creep more than in "
    "proportion at higher stress, which makes the one tested higher look worse than it is.",
    "runs of both at one stress",
)

SHAPE_DIFFERS = Entry(
    "shape-differs",
    "The specimens differ in shape or load, so they are compared per stress; errors in their sizes are in the intervals "
    "as far as tolerances were given.",
    "specimens of one size under one load",
)

TEMPERATURE_DIFFERS = Entry(
    "temperature-differs",
    "Tested at different temperatures, {low:g} to {high:g} degC: the warmer one creeps more for that alone.",
    "runs at one temperature",
)

CONDITIONING_DIFFERS = Entry(
    "conditioning-differs",
    "Conditioned differently ({states}): moisture and age change creep as much as a change of material can.",
    "runs conditioned alike",
)

PRINT_DIFFERS = Entry(
    "print-differs",
    "Printed differently: {what}. The difference may be that and not the material's.",
    "specimens printed alike",
)

_SCATTER_ASSUMED = "8 % of scatter between specimens (common practice, no source) is in the intervals, not measured"

ONE_SPECIMEN_EACH = Entry(
    "one-specimen",
    f"Every material was tested on one specimen; {_SCATTER_ASSUMED}.",
    "three specimens of each, fitted together with --pool",
    at_desk="three specimens of each",
)

ONE_SPECIMEN = Entry(
    "one-specimen",
    f"Tested on one specimen of {{count:its|their}} material: {{alone}}; {_SCATTER_ASSUMED}"
    "{others:, as each run stands for itself|}.",
    "three specimens of each material, those of one fitted together with --pool",
    at_desk="three specimens of each material",
)

RUNS_BY_THEMSELVES = Entry(
    "one-specimen",
    f"Each of these runs stands for itself; {_SCATTER_ASSUMED}.",
    "the runs of one material fitted together with --pool",
    at_desk="three specimens of each material",
)

BEYOND_TEST = Entry(
    "beyond-test",
    "{latest:time} lies beyond the longest test {every:of each|of {short} of {fits}} ({first} was read for "
    "{length:time}): there the comparison is one of forecasts.",
    "a reading of each at {latest:time}",
)

_UNTOLD = (
    "The stresses compared are {apart:2} times apart: creep {wanted:%} % above proportion at {high} MPa in tension would "
    "change the ratio by {seen:%2} %, and its interval is +-{half:%2} %."
)

_FINER = (
    "{one_stress_each:one specimen at rising stresses, the highest at least {wide:g} times the lowest|{close:steps "
    "further apart, the highest stress at least {wide:g} times the lowest|{bent:a bar in tension, which shows all of the "
    "departure; else |}the mean of several readings at each time, or a finer gauge}}"
)

STRESSES_TOO_CLOSE_BY_A_LITTLE = Entry(
    "stresses-too-close",
    _UNTOLD,
    "{same_bar:on one and the same specimen, |}a stress of {needed:2} MPa, {times:2} times the lowest one: {wanted:%} "
    "% at {high} MPa in tension would then show",
)

STRESSES_TOO_CLOSE = Entry("stresses-too-close", _UNTOLD, _FINER)

READINGS_TOO_COARSE = Entry("readings-too-coarse", _UNTOLD, _FINER)

BENDING_HIDES_SOFTENING = Entry(
    "bending-hides-softening",
    "In bending the section hands stress from its outside inwards, so a ratio as tested shows only about {share:.0f} % "
    "of the departure from proportion that tension would show at this stress{law:; the law counts with that|}.",
    "a run in tension at the highest stress",
)

ONE_SPECIMEN_A_STRESS = Entry(
    "one-specimen-a-stress",
    "Each stress has one specimen, so a stiff bar cannot be told from a stiff stress: the intervals hold what bars "
    "usually differ by.",
    "a second specimen at the lowest and at the highest stress, or one specimen at rising stresses",
)

STIFFER_AT_HIGHER_STRESS = Entry(
    "stiffer-at-higher-stress",
    "The specimens are stiffer at the higher stress, which plastics are not: supports or clamp may settle under the "
    "first loads, the gauge's plunger may carry some, or a load is not what was typed.",
    "the first load put on and off a few times before the run begins; loads weighed",
)

SINH_STRESS_AT_END = Entry(
    "sinh-stress-at-end",
    "The sinh stress came out as low as it is looked for, a third of the highest stress tested: it may be lower, and "
    "creep at the highest stress steeper than shown.",
    "a further stress between the two highest",
)

RUNS_DIFFER = Entry(
    "runs-differ",
    "The runs also differ in something else: {difference}. What that does cannot be told from what stress does.",
    "runs that are alike in it",
)

ISOCHRONOUS_FORECAST = Entry(
    "isochronous-forecast",
    "{far} of {points} entries lie beyond ten times what their stress was held and read for (at most {longest:time}; "
    "entries from {first:time} on): there they are what models make of it, and at a higher stress creep may speed up "
    "later than any reading shows.",
    "a run at the highest stress, held and read for {tenth:time}",
)

ONE_BAR_A_TEMPERATURE = Entry(
    "one-bar-a-temperature",
    "At each of the {temperatures} temperatures there is one bar, so what bars differ by cannot be told from warmth; "
    "the intervals count with the usual scatter.",
    "a second bar at the lowest and at the highest temperature",
)

ONE_NAME_AT_SEVERAL_TEMPERATURES = Entry(
    "one-name-at-several-temperatures",
    "The runs at {degrees} are taken as one bar's, because {both:both|all} are named {bar}, so what bars differ by is not "
    "in the intervals: were they bars of their own, these would be several times as wide. Was it one bar?",
    'where they are several bars, a name for each: specimen = "..." in [run]; a copy keeps the name of the first',
    rank=120,
    at_desk="where they are several bars, a name for each, as specimen on the page of the run",
)

TWO_TEMPERATURES = Entry(
    "two-temperatures",
    "Two temperatures give one step of growth: whether it is the same per 10 K in between and beyond is assumed.",
    "a run at a temperature between the two, or where the part will be",
)

SHIFT_OPEN = Entry(
    "shift-open",
    "These curves do not tell a clock that runs faster from growth on plain time, so no time is bought by warmth: "
    "nothing is forecast further than the tests allow.",
    "a longer run at the lowest temperature, that overlaps with the warm one",
)

GLASS_TRANSITION_UNSAID = Entry(
    "glass-transition-unsaid",
    "No run says the glass transition of the material; across it nothing here holds.",
    "glass_transition in [run], from the data sheet",
    at_desk="the glass transition among a run's circumstances, from the data sheet",
)

WARMTH_ASSUMED = Entry(
    "warmth-assumed",
    "The test was made at {reference} °C, the answer is for {where}: what warmth does to this material was not tested. "
    "What is usual is counted in: 10 K more make a plastic give way 1.10 times as much, 0.98 to 1.30 times with 90 %.",
    "a run of a bar at {high} °C",
    rank=200,
)

NEAR_GLASS_TRANSITION = Entry(
    "near-glass-transition",
    "{hottest} °C is within {within:g} K of the glass transition of {transition} °C: a bar held there ages faster and "
    "may be annealed, so that it creeps less than a fresh one, and a little more warmth softens it at once.",
    "a run at the highest temperature of service on a bar that was kept as the part will be",
)

NOT_A_SERVICE_TEMPERATURE = Entry(
    "not-a-service-temperature",
    "This is the temperature of a short test under a small load. Under a lasting load a plastic gives way far below it: "
    "{below:g} K less is the most that is usual for long service, and only a creep test there says.",
    "a creep run at the temperature of service",
)

OVEN_RUN = Entry(
    "oven-run",
    "The temperature rises from {coldest:3} to {hottest:3} °C while the readings are taken: this is a bar in an oven that "
    "warms, which shows where it softens and not how it creeps. No forecast, creep modulus or set follows from it.",
    "creepfit soften on this run, for where it softens; a run at one temperature, for how it creeps",
    rank=5,
    at_desk="a run at one temperature, for how it creeps",
)

OVEN_TOO_FAST = Entry(
    "oven-too-fast",
    "The oven warmed by {rate:2} K/min: bar and thermometer lag behind by as much as what is looked for.",
    "a run at 2 K/min or slower",
)
