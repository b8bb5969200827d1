"""Cautions about a part under load: its stress, strain, time and surroundings, its shape and how it is mounted."""

from __future__ import annotations

from creepfit.answers.doubts.catalogue.entry import GENERAL, Entry
from creepfit.answers.doubts.catalogue.readings import LATER_UNDER_LOAD

NOT_A_STRENGTH_CHECK = Entry(
    "not-a-strength-check",
    "No check of strength or rupture was made: a part can break long before it sags this far. Printed bars have broken "
    "within hours at a third of their short-term strength.",
    "a part under its load, or more, watched for as long as it matters that it holds",
    rank=GENERAL,
)

_BENDS_NOTHING = (
    "{label} bends nothing: {along:it pulls or pushes along the part|it stands on what holds the part}. Was {along:a "
    "direction of -90 degrees, which is downward,|another place} meant?"
)

BENDS_NOTHING = Entry(
    "bends-nothing",
    _BENDS_NOTHING,
    "the direction and the place of the load",
    rank=70,
)

ONE_BENDS_NOTHING = Entry(
    "one-load-bends-nothing",
    f"{_BENDS_NOTHING} The sag is that of the other loads.",
    "the direction and the place of the load",
    rank=74,
)

LIFTS = Entry(
    "load-lifts",
    "THE LOADS LIFT: together they move the part up where its sag is asked for. Was a direction of -90 degrees meant, "
    "which is downward? Nothing is promised of a limit until that is settled.",
    "the direction of each load",
    rank=75,
)

MOSTLY_MOUNTING = Entry(
    "mostly-mounting",
    "{share:%2} % of the sag by {when:time} comes from what does not creep ({what}) and not from the plastic. "
    "{root:Was the rotation meant in rad/(N m) and typed in rad/(N mm), which is a thousand times as much|Was a stiffness "
    "meant in N/mm and typed in N/m, which is a thousandth of it, or a modulus in GPa typed in MPa}?",
    "how far the part moves when it is pressed by hand right where it is held",
    rank=72,
)

LIMIT_BEYOND_PART = Entry(
    "limit-beyond-the-size",
    "The limit of {limit} mm is more than the whole part's length of {length} mm: was it meant in another unit?",
    "how far the part may sag, with its unit",
    rank=42,
)

STRESS_NOT_TESTED = Entry(
    "stress-not-tested",
    "OUTSIDE THE TEST: the part reaches {part} MPa ({where}), the specimen only {high} MPa. That compliance is the same "
    "at the higher stress is unproven; plastics mostly give more, so the sag is rather understated.",
    "a run of the specimen under at least {needed}",
    rank=190,
)

STRESS_WELL_BELOW_TEST = Entry(
    "stress-well-below-test",
    "The part reaches {part} MPa ({where}), less than a third of the lowest stress tested, {low} MPa: if the compliance "
    "grows with the stress, the sag is rather overstated.",
    "a run of the specimen at a stress near the part's",
)

STRAIN = Entry(
    "strain",
    "The outer fibre in {segment} may reach {strain:%} % strain by {when:time} (upper end), beyond {limit:g} %, "
    "{design:the usual design strain of tough plastics|up to which plastics are mostly linear} (common practice; less "
    "across layers and for brittle plastics): {borne:the specimen bore as much, but|the sag is then understated, and} "
    "crazes or cracks may start.",
    "runs of the specimen at two stresses, the higher one that of the part",
    rank=380,
)

FAR_BEYOND_TEST = Entry(
    "far-beyond-test",
    "{asked:time} is {beyond:2} times the test ({test:time}), {guess:more than the hundredfold that any extrapolation "
    "is good for: take it as a guess, of unknown direction|beyond the preferred tenfold: the interval is wide because "
    "models that agree in the test part there}.",
    LATER_UNDER_LOAD,
    rank=320,
)

HUMIDITY = Entry(
    "humidity",
    "The part is kept at {part:.0f} % relative humidity, the specimen at {specimen:.0f} %: {wetter:moisture "
    "softens|dryness stiffens} polyamides most, so the sag is {wetter:under|over}stated.",
    "a run of a specimen kept as the part will be",
    rank=GENERAL,
)

CIRCUMSTANCES_UNSAID = Entry(
    "circumstances-unsaid",
    "Not stated for both specimen and part: {unsaid}. A warmer, wetter or fresher part sags more than is said here.",
)

AGE = Entry(
    "age",
    "The part is {part:time} old when put up, the specimen was {specimen:time}: a {younger:younger|older} plastic "
    "creeps {younger:faster|slower}, so the sag is rather {younger:under|over}stated where ageing is more than the "
    "models take into account.",
    "a run of a specimen loaded {part:time} after it was made{younger:, or putting the part up {specimen:time} after it "
    "was made|}",
)

RECOVERY_NOT_READ = Entry(
    "recovery-not-read",
    "Loads come off the part, but the specimen was not read after unloading: what stays for good is unknown, so the sag "
    "after unloading is rather understated.",
    "readings 1 min, 1 h and 1 d after unloading the specimen, and as long as it was loaded",
)

NO_OWN_WEIGHT = Entry(
    "no-own-weight",
    "The part's own weight is not counted: its density is not stated.",
)

_STIFFER = "a stiffer part, less load, or something that holds it sideways"

_REACHED = (
    "{never:That is not reached within {horizon:time}.|{at_once:That is reached at once.|That is reached after {median} "
    "(lower end {low:time}).}}"
)

GIVES_WAY = Entry(
    "buckling",
    "THE PART GIVES WAY: by {when:time} there is no position in which it could rest under its loads; rely on no sag.",
    _STIFFER,
    rank=90,
)

BUCKLES = Entry(
    "buckling",
    "THE PART BUCKLES: by {when:time} it is loaded to {share:.0f} % (upper end) of what makes it buckle. "
    f"{_REACHED} From there on it leans over under the same load; the sag said here is that of the bent post, and a post "
    "less straight than drawn goes sooner.",
    _STIFFER,
    rank=90,
)

NEAR_BUCKLING = Entry(
    "near-buckling",
    "The part is compressed: by {when:time} it is loaded to {share:.0f} % (upper end) of what makes it buckle. "
    f"{_REACHED} What that adds is in the sag, but it grows faster and faster, and with every degree that the part leans.",
    "the part's own deflection under its load after some days, set beside the one said here",
    rank=270,
)

LARGE_ROTATION = Entry(
    "large-rotation",
    "The part turns by up to {turn:2} degrees, so its lever arms change. That is followed: the sag is {change:.0f} % "
    "{more:more|less} than by the shape as made. The moment of each time is taken for that of all times before{rough:; "
    "at such rotations that is rough|, which is a little too much where the moment grows and a little too little where "
    "it falls}.",
    "a test of the part itself",
    rank=290,
)

FRAME_TURNS = Entry(
    "frame-turns",
    "The part turns by up to {turn:2} degrees: its lever arms change, which is followed for arms but not for frames. "
    "The sag is off by some per cent, by more where it is compressed.",
    "a test of the part itself",
)

STOCKY = Entry(
    "stocky",
    "The part is only {slenderness} times as long as deep (below {limit:g}): shear and the places where it is held and "
    "loaded matter, of which a beam knows little; the sag is rather too small.",
    "a test of the part itself",
)

RIGID_MOUNTING = Entry(
    "rigid-mounting",
    "The mounting is taken as rigid: screws, plugs and the wall give way too, so the sag is understated by what they turn.",
    "the part's deflection at two points shortly after loading; then [root] rotation in the part file",
    at_desk="the part's deflection at two points shortly after loading; then how far its mounting turns",
)

ELASTIC_MOUNTING = Entry(
    "elastic-mounting",
    "The mounting turns with the moment but is taken not to creep; if it does, the sag is understated.",
)

OPPOSED_LOADS = Entry(
    "opposed-loads",
    "Some loads lift where others sag: while one of them is off the sag can be larger than with all of them on, and "
    "'always on' is then no upper bound.",
    "part files with one load each",
)

LIFTS_OFF = Entry(
    "lifts-off",
    "THE PART TIPS: at {at} mm it would have to be held down with {force} N, and a rest cannot pull. Lying loose it "
    "lifts off there, and none of what is said here holds.",
    "held_down = true in [part], if it is screwed or clipped there; else a weight on it, or rests further apart",
    rank=80,
    at_desk="that it is held down, if it is screwed or clipped there; else a weight on it, or rests further apart",
)

TIGHT_BEND = Entry(
    "tight-bend",
    "A bend has a radius of only {radius} depths: on its inside the stress is {factor} times that of the straight bar "
    "used here (Winkler's theory of curved bars), {stress} MPa in {name}; cracks may start there.",
    "a test of the part itself, or a wider bend",
)

PLATE = Entry(
    "plate",
    "The part is {wide:2} times as wide as its span. Where the load acts at one point of the width and not all across, "
    "it is a plate and sags {factor} times as far there as said here (Timoshenko's plate on two supports, load in the "
    "middle of the width).",
    "[plate] in place of [[segment]] in the part file, which is answered as one; a load spread across the width",
    rank=280,
    at_desk="a new part that is a panel on two sides, which is answered as one; a load spread across the width",
)

STAYS_ELASTIC = Entry(
    "stays-elastic",
    "Springs and members with a modulus of their own are taken not to creep, and to be without force when the part is put "
    "up; one of plastic gives way further, and the sag is then understated.",
)

SCREWED_UPRIGHT = Entry(
    "screwed-upright",
    "Screws are taken as points that hold and let turn, and the upright between and beyond them as free of the wall. A "
    "wall that it is pressed against holds it too, so the sag is rather overstated; screws and plugs that give way make "
    "it larger.",
    "the part's deflection at two points shortly after loading",
)

REST_LIFTS = Entry(
    "rest-lifts",
    "The rest at {at} mm would have to pull the part down by {force} N: unless it is screwed there the part lifts off, "
    "and everything said here is of another part.",
    "[[screw]] in place of [[rest]] where it is screwed, or the part file without that rest",
    at_desk="a screw in place of the rest where it is screwed, or the part without that rest",
)

BRACE_MAY_BUCKLE = Entry(
    "brace-may-buckle",
    "{name} is pressed by {force} N, and would buckle at {critical} N by {when:time} (Euler, ends free to turn, upper "
    "end of the creep): its bow is not followed here, so the sag is understated and it may give way altogether.",
    "a thicker brace, or a test of the part itself",
)

TEXTBOOK_FORMULA = Entry(
    "textbook-formula",
    "The part is taken as {formula}, by its textbook formula: small deflections, ends and mountings that do not give "
    "way. It is twisted, of which the specimen shows nothing: torsion is taken to creep as tension and bending do, and "
    "printed layers can be several times weaker in it. Its stress is the equivalent in tension.",
    "the part's deflection under its load shortly after it is put up, and after a day",
)

PANEL_FORMULA = Entry(
    "panel-formula",
    "The part is taken as {formula}: a thin plate of even thickness and a Poisson's ratio of {poisson:g} that rests on "
    "straight sides, free to turn on them, with its corners held down. Loose corners lift, and it sags some per cent more; "
    "sides that hold it from turning make it sag less, and so does its skin from half its thickness of sag on. It is taken "
    "as solid: walls and infill are not counted.",
    "the part's deflection under its load shortly after it is put up, and after a day",
)

ANALYSIS_TAKEN_AS_GIVEN = Entry(
    "analysis-taken-as-given",
    "The shape was not looked at here: the sag is the deflection of an elastic analysis made elsewhere, with the "
    "modulus of {modulus} MPa replaced by the creep modulus of each time. That holds for one linear material, supports "
    "that do not give way, no contact that opens or closes, and small rotations.",
    "the part's deflection under its load shortly after it is put up",
)

ANALYSIS_UNSAID = Entry(
    "analysis-unsaid",
    "The analysis does not say {unsaid}: a deflection of another load or of another place gives another sag, and nothing "
    "here would show it.",
    "load and read_at in [elastic], in words",
    at_desk="load and place of the analysis, in words",
)

ANALYSIS_POISSON = Entry(
    "analysis-poisson",
    "The analysis has a Poisson's ratio of {poisson:g}; that of plastics is mostly {low:g} to {high:g}, and plates and "
    "thick places deflect by some per cent more or less with it.",
    "the analysis with a ratio of 0.38",
)
