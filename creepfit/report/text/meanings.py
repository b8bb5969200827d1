"""What each parameter means, in a sentence; a name without a model holds for all models that have it."""

from __future__ import annotations

PARAMETERS: dict[tuple[str, str], str] = {
    ("", "D0"): "Compliance at the moment of loading: how far it moves at once.",
    ("", "n"): "How fast creep slows down: a tenfold time multiplies the creep by 10 to the n.",
    ("", "m"): "Compliance that creep has added after 1 h.",
    ("", "set"): "Compliance of what stays after unloading.",
    ("", "E1"): "Stiffness at the moment of loading.",
    ("", "E2"): "Stiffness of what comes late: the smaller, the more it creeps.",
    ("", "tau"): "Time by which 63 % of the late part has come.",
    ("", "beta"): "How spread out in time the late part is: 1 for a single delay, less for many.",
    ("power-family", "creep at 1 h"): "Compliance that creep has added after 1 h.",
    ("power-family", "n"): "Above 0 creep grows as a power of time, at 0 with its logarithm, below 0 it levels off.",
    ("power", "m"): "Whole compliance after 1 h.",
    ("logarithmic", "per decade"): "Compliance that each tenfold time adds.",
    ("burgers", "eta1"): "Viscosity of what flows and never comes back: the larger, the less it flows.",
    ("burgers", "eta2"): "Viscosity that delays the late part; over E2 it is the time of delay.",
    ("kelvin-chain", "E0"): "Stiffness at the moment of loading.",
    ("kelvin-chain", "E1"): "Stiffness of the first late part.",
    ("kelvin-chain", "tau1"): "Time by which 63 % of the first late part has come.",
    ("kelvin-chain", "E2"): "Stiffness of the second late part.",
    ("kelvin-chain", "tau2"): "Time by which 63 % of the second late part has come.",
}
