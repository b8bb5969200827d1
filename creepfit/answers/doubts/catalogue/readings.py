"""Cautions about the readings themselves: slips of the bench, of the file, of the gauge, and gaps in the schedule."""

from __future__ import annotations

from creepfit.answers.doubts.catalogue.entry import Entry

LATER_UNDER_LOAD = (
    "{came_off:a next run that stays under load for {until:time} or longer|a reading under load at {until:time} or later}"
)

_AVERAGED = (
    "{rows} readings were averaged into {made}, evenly in the logarithm of the time since the last load change; each "
    "weighs as many as its scatter shows to be independent.{some: {early:One|{early}} within a minute after a load change "
    "{early:is|are} not used, as no load is on at once.|}"
)

AVERAGED = Entry("averaged", _AVERAGED)

AVERAGED_ALL_BUT_SOME = Entry(
    "averaged",
    f"{_AVERAGED} Left out: {{apart:one that stands|{{apart}} that stand}} far from the others around, the first in "
    "{first}.",
    "what happened at those moments: a knock, a door, a plug",
)

OUT_OF_ORDER = Entry(
    "out-of-order",
    "{count} {count:reading stands|readings stand} after a later one: {late:moment}. They were sorted by time; if a "
    "time or a day was mistyped, the curve bends at the wrong place and with it the exponent.",
    "compare the times with the notes made at the bench",
)

LOGGER_OUT_OF_ORDER = Entry(
    "out-of-order",
    "{count} {count:reading stands|readings stand} behind a later one, the first in {first}. They were sorted by time and "
    "averaged; if the logger's clock was set back, they are averaged with those of another moment.",
    "what the logger's clock was set to, and when",
)

SHORT_TIME_SPAN = Entry(
    "short-time-span",
    "The readings under load span {decades:.1f} decades of time ({first:time} to {last:time}); with fewer than 3 the "
    "models agree on the readings and part beyond them.",
    f"{{began_late:a reading 1 min after loading{{came_off:, in the next run|}}|{LATER_UNDER_LOAD}}}",
    rank=350,
)

NO_INITIAL_READING = Entry(
    "no-initial-reading",
    "No reading was taken before loading: only creep increments since the first reading under load are known, neither "
    "the total deformation, nor the creep modulus, nor a permanent set.",
    "a reading before the load goes on, best three",
    rank=230,
)

NO_RECOVERY_READING = Entry(
    "no-recovery-reading",
    "No reading after an unloading ({off:none was taken after the unloading|the specimen is still loaded}): flow and "
    "permanent set cannot be told from creep that recovers. Intervals leave both out, and flow of a size that these "
    "readings hide can multiply the sag of later times.",
    "{to_come:unload when nothing longer is to be read under load, and read at 1 min, 1 h and 1 d after it|a reading now, "
    "and one {test_length:time} after the unloading}",
    rank=400,
)

CREEP_NEAR_RESOLUTION = Entry(
    "creep-near-resolution",
    "All creep that was read under one load is {creep}, {times:2} times {by_step:the gauge's step|the standard "
    "deviation of the gauge's noise} ({finest}): below 10 times a forecast is mostly what is assumed about plastics in "
    "general.",
    "a finer gauge; {sized:{bent:a longer or thinner bar|a longer bar, or one that is bent}; |}more load as "
    "long as creep stays in proportion; {came_off:the next one |}longer under load",
)

OUTLIER = Entry(
    "outlier",
    "The reading at {at:moment} lies {off} {above:above|below} what any creep curve through the others allows. The best "
    "fits take it as read; forecasts leave open how far it is off, and are the wider for it.",
    "look it up in the notes: mistyped, or the set-up touched? Leave it out only with a reason",
    rank=210,
)

TEMPLATE = Entry(
    "template",
    "THIS IS THE TEMPLATE: its readings are the invented ones of a new run file, not those of a test.",
    "your own readings, sizes and load in place of the invented ones",
    rank=10,
)

LIMIT_IS_A_READING = Entry(
    "limit-is-a-reading",
    "The limit of {limit} is as large as what the gauge shows, but a limit is how far the specimen has moved: at "
    "{at:moment} the gauge showed {shown}, which is {moved}. Was {meant} meant?",
    "the {quantity} that is allowed, asked as the limit",
    rank=40,
)

LIMIT_BEYOND_SPECIMEN = Entry(
    "limit-beyond-the-size",
    "The limit of {limit} is more than the specimen's {name} of {length} mm: was it meant in another unit?",
    "the {quantity} that is allowed, with its unit",
    rank=42,
)

MISTYPED = Entry(
    "{code}",
    "The reading at {at:moment}, {typed}, lies {off} {above:above|below} what any creep curve through the others allows, "
    "and {meant} would fit. {question} All other doubts are said as if it had been {meant}; best fits take it as typed, "
    "and forecasts leave open how far it is off.",
    "look it up in the notes, and type it right; leave it out only with a reason",
    rank=60,
)

MISTYPED_BEYOND = Entry(
    "reading-beyond-the-specimen",
    "The reading at {at:moment}, {typed}, would be a deflection of {largest}, more than a bar of {span} mm {name} can "
    "have, and {meant} would fit. {question} No answer holds until that is settled.",
    "look it up in the notes, and type it right; leave it out only with a reason",
    rank=10,
)

ODD_TEMPERATURE = Entry(
    "odd-temperature",
    "The reading at {at:moment} says {odd} °C, and all others {alike:{low}|{low} to {high}} °C: was that the temperature "
    "of the bar? All other doubts are said as if it had been as warm as at the others; forecasts take it as typed.",
    "the notes made at the bench",
    rank=65,
)

OTHER_ZERO = Entry(
    "other-zero",
    "The gauge moved by {came} when the load went on and by {off} when it came off, and the initial reading is {zero} mm: "
    "about {fits} mm would fit. Is it in another unit, or with another zero, than the readings that follow? No answer "
    "holds until that is settled.",
    "the notes made at the bench; leave the initial reading out (skip), and only what creep added counts",
    rank=15,
    at_desk="the notes made at the bench; leave the initial reading out, and only what creep added counts",
)

COPIED_READING = Entry(
    "copied-reading",
    "The reading at {at:moment} repeats the one before it digit for digit, where the curve moved on by more than the "
    "gauge's noise. A copied reading makes creep seem to stop and start again.",
    "the note made at the bench; leave the reading out if there is none",
    rank=240,
)

JUMP = Entry(
    "jump",
    "From {first:moment} on all readings share a shift of {size} (the gauge or specimen slipped, or was bumped). The "
    "best fits take the shift for creep; forecasts and the permanent set leave its size open, as a step of its own, and "
    "are the wider for it.",
    'if it is known what happened, note it as an [[event]] (kind = "bumped", or "slipped" to end the run there)',
    rank=170,
    at_desk="if it is known what happened, note it with its time beside today's reading: bumped, or that it slipped, which "
    "ends the run there",
)

PLATEAU = Entry(
    "plateau",
    "From {first:moment} to {last:moment} the readings rest, flatter than any creep curve: the specimen may touch a "
    "stop, or the plunger stick. The forecast then comes out too small.",
    "tap the gauge and look for contact; press the specimen lightly: the reading has to follow and come back",
    rank=250,
)

NO_CREEP_SEEN = Entry(
    "no-creep-seen",
    "From {first:moment} to {last:moment} under one load the readings move by {moved}, where the one that creeps least of "
    "303 published plastics would have moved them by {least}: does the plunger stick, does the specimen touch a stop, or "
    "was one reading copied down? A forecast of such readings would promise a bar that hardly creeps.",
    "tap the gauge and look for contact; press the specimen lightly: the reading has to follow and come back",
    rank=150,
)

CREEP_BACKWARDS = Entry(
    "no-creep-seen",
    "From {first:moment} to {last:moment} under one load the readings go back by {moved}, where the one that creeps least "
    "of 303 published plastics would have gone on by {least}: no plastic goes back under a load that stays on. Did the "
    "zero, the clamp or the temperature move, or is part of the load carried by something else? A forecast of such "
    "readings would promise a bar that hardly creeps.",
    "read the gauge on something that does not creep; look for what touches the specimen; note the temperature with each "
    "reading",
    rank=150,
)

ACCELERATING = Entry(
    "accelerating",
    "From {first:moment} on the deformation grows faster than any creep curve that slows down ({size} more at "
    "{last:moment}). Do not extrapolate: it may be on the way to rupture, or the specimen slips.",
    "watch it closely from a safe distance; a new specimen at half the load",
    rank=160,
)

NOISE_ABOVE_GAUGE = Entry(
    "noise-above-gauge",
    "The readings scatter by {seen} about any creep curve, {ratio:2} times what the gauge is said to have ({stated}). "
    "Intervals were widened; the cause may be temperature, a loose clamp or a changing observer, and then errors are "
    "not independent.",
    "five readings in a row without touching anything, then five with the gauge put on anew",
    rank=300,
)

READINGS_CONTRADICT = Entry(
    "readings-contradict",
    "The readings contradict each other: no creep curve comes closer to them than {seen}, {ratio:2} times what the "
    "gauge is said to have ({stated}); the farthest off is the one at {worst:moment}. That is no noise: what is said of "
    "creep from them is not to be used.",
    "that reading in the notes made at the bench: mistyped, the gauge put on anew, the clamp, the load?",
    rank=110,
)

_AGAINST = (
    "At {at:moment} the deformation {rose:rose|fell} by {change} although the load {rose:fell|rose}. Either the gauge "
    "reads the other way round (gauge.falls), or a load or its time is wrong; nothing that follows can be trusted until "
    "that is settled."
)

_PRESS = "press the specimen by hand the way the load does and see which way the reading goes"

RISE_WHERE_LOAD_FELL = Entry("rise-where-load-fell", _AGAINST, f"{_PRESS}; check the load's times")

FALL_WHERE_LOAD_ROSE = Entry("fall-where-load-rose", _AGAINST, f"{_PRESS}; check the load's times")

GAUGE_RANGE_END = Entry(
    "gauge-range-end",
    "The gauge was at the end of its travel at {at_end:moment}: the specimen may have gone further than it shows, and "
    "the forecast comes out too small.",
    'set the gauge anew with travel to spare and note an [[event]] (kind = "rezeroed")',
    rank=180,
    at_desk="set the gauge anew with travel to spare, and note beside that day's reading that it was re-zeroed",
)

LARGER_THAN_SPECIMEN = Entry(
    "larger-than-specimen",
    "The deflection comes out as {largest}, more than a bar of {span} mm {name} can have: were readings in mm typed as "
    "inches or cm, or is the {name} wrong? No answer holds until that is settled.",
    "the unit of the readings and of the sizes, from the notes made at the bench",
    rank=10,
)

READS_THE_OTHER_WAY = Entry(
    "reads-the-other-way",
    "The reading goes {down:down|up} by {shown} when the load {went_on:went on|came off}{both:, and back when it comes "
    "off|}; the file says that it {down:rises|falls} as the specimen gives way. Is gauge.falls = {falls:false|true} "
    "meant?",
    _PRESS,
    rank=20,
)

ZERO_WITH_THE_WEIGHT_ON = Entry(
    "zero-with-the-weight-on",
    "The gauge moved by {came} when the load went on, and by {other} {hardly:when it came off|after it}. Was the "
    "initial reading taken with the weight already on? Then what came at once, the modulus and what stays are not known "
    "from it.",
    "the notes made at the bench; leave that reading out (skip), and only what creep added counts",
    rank=50,
    at_desk="the notes made at the bench; leave that reading out, and only what creep added counts",
)

LOAD_CAME_OFF = Entry(
    "load-came-off",
    "Between {before:moment} and {after:moment} the readings go back by {fell}, about what came when the load went on "
    "({came}), and no load is noted to have come off: did you take it off at {about:time}?{alone: Or is that one "
    "reading mistyped?|}",
    'note it: [[load]] with its time and mass = "0 kg", or creepfit add RUN --unloaded --at TIME',
    rank=60,
    at_desk="note beside today's reading, with its time, that the load came off",
)

EVENT_BY_ONE_READING = Entry(
    "event-by-one-reading",
    "The event at {at:time} ({kind}) moves the zero by {shift}, and only the reading at {alone:moment} says so. Was "
    "that reading mistyped? Then the event would hide it, and all that is read after it is shifted.",
    "compare that reading with the notes; where it is a slip, leave it out (skip) and take the event out",
    rank=120,
    at_desk="compare that reading with the notes; where it is a slip, leave it out and take the event out",
)

EVENT_UNDONE = Entry(
    "event-by-one-reading",
    "What the event at {at:time} ({kind}) brought, {shift}, is gone again from {back:moment} on: only the reading at "
    "{alone:moment} speaks for it. Was that reading mistyped, and nothing moved?",
    "compare that reading with the notes; where it is a slip, leave it out (skip) and take the event out",
    rank=120,
    at_desk="compare that reading with the notes; where it is a slip, leave it out and take the event out",
)

COLUMNS_SWAPPED = Entry(
    "columns-swapped",
    "All times under load lie between {first:time} and {last:time}, and the readings are spread {spread:2} fold: are "
    "the columns of time and reading swapped? Nothing else that is said of this run holds until that is settled.",
    "look at the heads of the two columns",
    rank=30,
)

ABSURD_STRAIN = Entry(
    "absurd-strain",
    "The largest strain comes out as {strain}, far beyond what a rigid plastic bears: is the unit of the readings or of "
    "a size wrong, or are the columns of time and reading swapped?",
    "compare units and columns with the notes made at the bench",
    rank=40,
)

SAME_TIME_TWICE = Entry(
    "same-time-twice",
    "There are different readings at one time: {twice:moment}. If a time was mistyped, the curve bends at the wrong place.",
    "compare the times with the notes made at the bench",
)

ROW_TWICE = Entry(
    "row-twice",
    "The same reading stands twice at one time: {twice:moment}. If it was typed or pasted twice, it counts for more than "
    "it is worth.",
    "the notes made at the bench; delete what is there twice",
)

LOAD_TIME = Entry(
    "load-time",
    "Between {before:moment} and {after:moment} the readings shift by {size}, about what a load {put_on:put on|taken "
    "off} does; it is noted as {put_on:put on|taken off} at {at:time}, and {seen:the readings there move by {moved} "
    "only|no reading shows one there}. Was the load {put_on:put on|taken off} only between those two readings, or is a "
    "time mistyped? The deformation that came at once is taken for something else until that is settled; do not note it "
    "as an event, which would take that deformation out.",
    "the time at which the load was {put_on:put on|taken off}, from the notes made at the bench",
    rank=100,
)

COPIED_STREAK = Entry(
    "copied-reading",
    "The {count} readings from {first:moment} to {last:moment} are the same digit for digit, and the next one is {jump} "
    "away. Were they copied, or did the plunger stick and then let go? Either makes creep seem to stop and start again.",
    "the notes made at the bench; leave readings out that were not taken",
    rank=240,
)

LATE_FIRST_READING = Entry(
    "late-first-reading",
    "The first reading under load was taken {first:time} after loading. One at 1 min would have been expected to take off "
    "{share:.0f} % of the doubt about {horizon:time} (standard deviation of the logarithm).",
    "a reading 1 min after loading, in the next run{came_off:|; here readings at 1 min and 1 h after unloading make up "
    "for it}",
    rank=360,
)

NO_INITIAL_READING_TODAY = Entry(
    "no-initial-reading",
    "No reading was taken before the load went on: how far the specimen moved at once, its modulus and what stays bent "
    "cannot be known from this run.",
    "today it costs little: take the load off, wait as long as it hung, read the gauge, and begin again",
    rank=230,
)

LOADED_BEFORE_IT_SAYS = Entry(
    "loaded-before-it-says",
    "All readings so far are from before the load goes on by the file, and yet they move by {moved}: was the load put on "
    "earlier than the file says?",
    "the notes made at the bench: the time at which the load went on",
    rank=50,
)

MOVED_AGAINST_THE_LOAD = Entry(
    "moved-against-the-load",
    "The reading went {down:down|up} when the load went on, and the file says that it {falls:falls|rises}: does the "
    "gauge read the other way round (gauge.falls), or were the two readings swapped?",
    _PRESS,
)

FIRST_MOVEMENT_OUT_OF_RANGE = Entry(
    "modulus-out-of-range",
    "The first movement of {moved} comes to a modulus of {modulus} MPa; for {whose} {low} to {high} MPa is usual (from "
    "memory). {slips}",
    "weigh the load, and measure the specimen again, while it is easy",
    rank=150,
)
