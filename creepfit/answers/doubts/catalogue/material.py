"""Cautions about a specimen's material, sizes, loads and surroundings."""

from __future__ import annotations

from creepfit.answers.doubts.catalogue.entry import Entry

MODULUS_OUT_OF_RANGE = Entry(
    "modulus-out-of-range",
    "The modulus at {time:time} comes out as {seen} MPa; for {whose} {low} to {high} MPa is usual (from memory). "
    "{slips} {read:The deflection read is right all the same, but stress|Stress}, modulus and any part computed from them "
    "are not{read:| right until that is settled}.",
    "weigh the load, and measure width, thickness and span again",
    rank=150,
)

MODULUS_OF_NO_PLASTIC = Entry(
    "modulus-of-no-plastic",
    "The modulus at {time:time} comes out as {seen} MPa, {above:{times:2} times the most|a {times:2}th of the least} that "
    "is usual for {whose} ({low} to {high} MPa, from memory). {slips} {read:The deflection under this load was read right "
    "all the same, but stress|Stress}, modulus, other loads, and parts and materials compared by them are not answered "
    "until that is settled.",
    "weigh the load, and measure width, thickness and span again",
    rank=45,
)

SHORT_SPAN = Entry(
    "short-span",
    "{cantilever:Twice the length|The span} over thickness is {slenderness}, below 16{sheared:; shear is {shear:%2} % "
    "of the deflection and counted|}, but indentation at supports and clamp is not, and makes the modulus come out low.",
    "a span of at least 16 times the thickness",
)

LARGE_DEFLECTION = Entry(
    "large-deflection",
    "The deflection of {deflection} is {share:%2} % of {cantilever:twice the length|the span}; above 10 % the formulas "
    "for small deflections no longer hold.{known: The stress is {factor:5} times the one shown (factor of ASTM D790; "
    "not applied, and no change to the fit).|}",
    "a smaller load or a shorter, thicker specimen",
    rank=260,
)

LARGE_ROTATION_NO_REST = Entry(
    "large-rotation-specimen",
    "At a reading of {reading} the specimen as drawn has no shape in which it could rest under its load: its sizes, "
    "direction or load are not what was typed.",
    "the sizes of its segments, measured again",
)

LARGE_ROTATION_SPECIMEN = Entry(
    "large-rotation-specimen",
    "At a reading of {reading} the specimen as drawn turns by up to {turn:2} degrees, so its lever arms change: it "
    "reads about {change:.0f} % {more:more|less} than by the shape as drawn, and every compliance here is too "
    "{more:large|small} by that. It is not corrected.",
    "a smaller load, or a stiffer specimen",
)


def _strain_above(limit: str, meaning: str) -> Entry:
    return Entry(
        f"strain-above-{limit}",
        f"The largest strain reached {{least:at least |}}{{strain}}: {meaning}. A part under a lower stress sags less than "
        "computed from it, one under a higher stress more.",
        "a second specimen at half the load: the compliances have to agree",
    )


STRAIN_ABOVE_HALF_PERCENT = _strain_above(
    "half-percent", "above 0.5 % creep of rigid plastics begins to grow faster than the load (common practice)"
)

STRAIN_ABOVE_1_PERCENT = _strain_above(
    "1-percent", "above 1 % creep is no longer proportional to the load, so this curve does not hold for other loads"
)

STRAIN_ABOVE_5_PERCENT = _strain_above(
    "5-percent", "above 5 % the formulas of ASTM D790 are no longer valid and creep is far from proportional"
)

TEMPERATURE_SWING = Entry(
    "temperature-swing",
    "The readings were taken at temperatures {spread:2} K apart. If it drifted that way from first to last, a forecast "
    "of a year moves by {low:2} to {high:2} % (activation energies of 100 to 200 kJ/mol, from memory) and leaves no "
    "trace in the residuals.",
    "read at the same temperature each time, or note it with each reading",
    rank=390,
)

FORCE_WITHOUT_LEVER = Entry(
    "force-without-lever",
    "The rig has a lever of {lever}, which multiplies masses alone: a load given as a force is taken as what pulls at the "
    "specimen itself. If it is what hangs on the lever, every compliance here is {lever} times too large.",
    "mass in place of force for what hangs on the lever",
)

PLUNGER_ABOVE_LOAD = Entry(
    "plunger-above-load",
    "The gauge's plunger presses {falls:with|against} the load, {ratio:2} times as hard as it: {force} N where {load} "
    "pulls. The specimen creeps by the plunger more than by the load, so what is said of the load rests on the two forces "
    "alone{falls:|, and a bar may go on moving against its load}.",
    "a gauge that hardly presses, or a larger load; look up the force of the plunger",
    rank=130,
)

NO_MODEL_FITS_LOADS = Entry(
    "no-model-fits-loads",
    "No model follows the readings under all {loads} loads: they lie {scatter} about the best of them, {ratio:2} times "
    "the gauge's noise. Either a load is not what was typed, or the plastic does not give in proportion to stress; what "
    "is read as creep may be that.",
    "the weights weighed; creepfit stress on this run; a fresh bar at each load",
    rank=140,
    at_desk="the weights weighed; a fresh bar at each load",
)

BELOW_THE_ZERO = Entry(
    "below-the-zero",
    "After unloading every reading lies below the initial one, by {below} or more: no plastic comes back further than "
    "it was bent. The zero was probably read with the weight already on, or the gauge has moved since; then {quantity}, "
    "modulus, recovery and set are all wrong by it.",
    "the run again, with three readings before any weight is on",
    rank=130,
)

_WATER = (
    "wet it gives way up to twofold or more (printed ones lost up to 60 % of their modulus in 7 d under water: Banjo et "
    "al., Composites Part C 7 (2022) 100243)"
)

_AT_REST = (
    "weighing the bar from day to day, and a run begun once its weight has come to rest in the room where the part will be"
)

DRIED_BEFORE = Entry(
    "dried-before",
    f"The bar was dried ({{conditioning}}), and a polyamide takes up water from the room for days to weeks: {_WATER}. "
    "What it gave way by in the {length:time} of this test may be that as much as creep; no model here has it, so that a "
    "forecast can err to either side.",
    _AT_REST,
    rank=140,
)

MOISTURE_NOT_AT_REST = Entry(
    "takes-up-water",
    f"A polyamide takes up water from the room for days to weeks: {_WATER}. The humidity was noted, {{humidity:2}} %, but "
    "not whether the bar had come to rest with it: fresh from printer or mould it is dry. No model here has what water "
    "does.",
    f"conditioning of the specimen; {_AT_REST}",
    rank=165,
)

MOISTURE_UNKNOWN = Entry(
    "moisture-unknown",
    f"A polyamide takes up water from the room for days to weeks: {_WATER}. Neither humidity nor conditioning was noted: "
    "the answer holds for the moisture of the test, whatever it was, if that stayed as it was.",
    f"humidity of the room and conditioning of the specimen; {_AT_REST}",
    rank=165,
)

STRESS_NOT_TESTED = Entry(
    "stress-not-tested",
    "OUTSIDE THE TEST: the load asked about comes to {asked} {stress:MPa|N}, the specimen only bore {tested} "
    "{stress:MPa|N}. That the compliance is the same at the higher {stress:stress|load} is unproven; plastics mostly "
    "give more than in proportion, so the answer is rather too small.",
    "a run of the specimen under at least {needed}",
    rank=190,
)

STRESS_WELL_BELOW_TEST = Entry(
    "stress-well-below-test",
    "The load asked about comes to {asked} {stress:MPa|N}, less than a third of the lowest tested, {tested} "
    "{stress:MPa|N}: if the compliance grows with the stress, the answer is rather too large.",
    "a run of the specimen under about {needed}",
)
