"""Cautions about a part that is held bent and the force it keeps."""

from __future__ import annotations

from creepfit.answers.doubts.catalogue.entry import GENERAL, Entry
from creepfit.answers.doubts.catalogue.forecast import FLOW_SHOWN_BY, UNSEEN
from creepfit.answers.doubts.catalogue.readings import LATER_UNDER_LOAD

NOT_A_STRENGTH_CHECK = Entry(
    "not-a-strength-check",
    "No check of strength or rupture was made: a part that is held bent can crack long before its force is gone, "
    "soonest at notches, across layers and where grease, solvents or cleaners reach it.",
    "a part held bent, or more so, for as long as it matters that it holds",
    rank=GENERAL,
)

STRESS_NOT_TESTED = Entry(
    "stress-not-tested",
    "OUTSIDE THE TEST: when first bent the part reaches {stress} MPa, the specimen only {tested} MPa. Plastics mostly "
    "give more at a higher stress, so the force is rather overstated.",
    "a run of the specimen under {stress} MPa",
    rank=190,
)

STRAIN = Entry(
    "strain",
    "The outer fibre is held at {strain:%} % strain, beyond {limit:g} %, {design:the usual design strain of tough "
    "plastics|up to which most are linear} (common practice): the force is then overstated, and crazes or cracks may "
    "start.",
    "runs of the specimen at two stresses, the higher one that of the part",
    rank=380,
)

FAR_BEYOND_TEST = Entry(
    "far-beyond-test",
    "{asked:time} is {beyond:2} times the test ({test:time}), {guess:more than the hundredfold that any extrapolation "
    "is good for: take it as a guess|beyond the preferred tenfold: models that agree in the test part there}.",
    LATER_UNDER_LOAD,
    rank=320,
)

UNSEEN_FLOW = Entry(
    "unseen-flow",
    f"{UNSEEN} up to {{share:%2}} % to the deflection of the specimen by {{horizon:time}} (probability {{probability:.2g}} "
    "of less, if the material flows), and take about {lost:%2} % off the force that is said here: it is rather overstated. "
    "Little of it is in the interval.",
    FLOW_SHOWN_BY,
    rank=315,
)

CIRCUMSTANCES_UNSAID = Entry(
    "circumstances-unsaid",
    "The temperature is not stated for both specimen and part: a warmer part loses more force than is said here.",
)

LOADS_LEFT_OUT = Entry(
    "loads-left-out",
    "The loads of the part file are left out: the force is that of the deflection alone.",
)

RIGID_COUNTERPART = Entry(
    "rigid-counterpart",
    "What holds the part is taken as rigid. A counterpart, washer or spring that gives way elastically keeps more of "
    "the force; one of plastic creeps itself and keeps less.",
    "series_compliance in [held], in mm/N",
    at_desk="what gives way with it, in mm/N, as its series compliance",
)

RECOVERY_NOT_READ = Entry(
    "recovery-not-read",
    "The specimen was not read after unloading: what stays for good is unknown, so what is left after letting go is "
    "rather understated.",
    "readings 1 min, 1 h and 1 d after unloading the specimen, and as long as it was loaded",
)
