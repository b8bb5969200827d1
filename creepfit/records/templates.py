"""Commented files to start from. Their numbers are invented, of a size such a plastic would show, so they read back.

The run is a bar bent by 0.4 kg for five days and watched for two more: D(t) = 5.0e-4 + 3.5e-5 (t / 1 h)^0.25 per MPa,
superposed, with a set of 0.012 mm, scatter of 0.005 mm and the rounding of a dial gauge added.
"""

from __future__ import annotations

from datetime import datetime

START = "2031-05-04 16:30"
"""Where no other is asked for: an invented one, as all else."""

RUN_TEMPLATE = """\
# A creep run: one specimen, one load history, its readings. Replace the invented numbers by your own.
# Quantities are a number and a unit in quotes: "1.6 kg", "5 d", "0.01 mm". A decimal comma is understood.
format = 1

[run]
material = "PETG"
specimen = "P-03"
start = "2031-05-04 16:30"      # your own date-time of the first load: from it "5 d" counts, and creepfit add goes by it
temperature = "23 degC"         # this and all below it in [run] is optional
# glass_transition = "78 degC"  # from the data sheet; nothing is forecast close to it
humidity = "50 %"
age = "2 d"                     # since printing or annealing, when the load was put on
conditioning = "in the room, no drying"
# kind = "glassy"               # or semicrystalline, fibre-filled; known from the name of common materials
# note = "window side of the room"

[print]                         # optional: orientation, walls, infill, layer, annealed, dried, colour, batch
orientation = "flat"
infill = "100 %"

[specimen]                      # tension, compression: length, and width and thickness or diameter
test = "cantilever"             # three-point-bending: span, width, thickness; four-point-bending: and load_span
length = "60 mm"                # support to load; direct: no sizes, readings and loads are used as they are
width = "12 mm"                 # segments: drawn by [[segment]] tables, for hooks, C- and U-shapes
thickness = "4.00 +- 0.03 mm"   # a tolerance makes the interval honest
# read_at = "55 mm"             # where the gauge reads, if not at the load

[gauge]
resolution = "0.01 mm"
instrument = "dial gauge"       # states a usual repeatability; better give your own:
# repeatability = "0.008 mm"    # one standard deviation of repeated readings
falls = false                   # true where the reading falls as the specimen gives way
# force = "0.8 N"               # of the plunger
# range = "25 mm"               # the reading at which its travel ends
# drift = "0.002 mm/day^0.5"    # what it wanders on a specimen without load

# [rig]                         # optional
# compliance = "0.002 mm/N"     # of the frame
# lever = 5                     # force on the specimen over the weight hung on; multiplies masses, not forces
# preload = "0.05 kg"           # already on at the initial reading, such as a hanger

[[load]]                        # the total load from this time on: mass, force, or stress in a direct run
at = "0 s"
mass = "0.4 kg"                 # may have a tolerance, "0.4 kg +- 1 %", as sizes may
# over = "5 s"                  # put on in a ramp

[[load]]
at = "5 d"
mass = "0 kg"

# [[event]]                     # optional; rezeroed, new observer, bumped: a new zero from there
# at = "2 d"                    # slipped, stop reached, broke: the run ends there
# kind = "rezeroed"

[readings]                      # a reading before the load fixes the zero, those after unloading the permanent set
time = ["-1 min", "1 min", "10 min", "1 h", "6 h", "1 d", "2 d", "3 d", "4 d", "5 d",
        "5 d 1 min", "5 d 1 h", "6 d", "7 d"]
reading = ["12.40 mm", "14.67 mm", "14.71 mm", "14.77 mm", "14.86 mm", "14.95 mm", "15.03 mm", "15.08 mm", "15.11 mm",
           "15.14 mm", "12.87 mm", "12.77 mm", "12.61 mm", "12.56 mm"]
# after = ["5 s", "30 s", "60 s"]         # in place of time, where weights are put on in steps: times within each step,
# before = "12.40 mm"                     # the reading before the first load,
# reading = [["12.90 mm", "12.91 mm", "12.91 mm"], ["13.41 mm", "", "13.43 mm"]]   # and a list for each [[load]]
# skip = ["", "gauge was touched", ...]   # a reading with a reason here is left out and the reason kept in reports
# or in a file beside this one; creepfit add FILE "15.14 mm" writes a reading into either:
# file = "readings.csv"         # with the header: time [h],reading [mm]   or: when,reading [mm],temperature [degC]
# sheet = "P-03"                # where the file is a workbook (.xlsx)

# [prior]                       # optional: what you know of the material beforehand; the answer lists it
# n = 0.15                      # location of the exponent of creep in time, and with n_scale its scale
# flow_mean = 0.1               # share of creep that flows, expected before reading
# set_weight = 0.2              # probability that some set stays
"""

PART_TEMPLATE = """\
# A part whose sag is asked for. Replace the invented numbers by your own.
# Quantities are a number and a unit in quotes: "0.8 kg", "120 mm". A decimal comma is understood.
format = 1

[part]
name = "shelf bracket"
support = "cantilever"          # simply-supported: resting on its two ends; overhanging: on two points,
                                # supports = ["20 mm", "150 mm"]; a place may have a tolerance as sizes and loads may
# held_down = true              # where it is screwed or clipped to its rests and cannot lift off
age = "2 d"                     # this and all below it in [part] is optional: at loading, since printing or annealing
temperature = "23 degC"
density = "1.27 g/cm^3"         # adds the weight of the part itself
# poisson = 0.38                # only enters the share of shear
# shear_ratio = 2.8             # E/G, where it is known
# read_at = "100 mm"            # where the sag is asked for: the end if not given (the middle between two supports)
# read_direction = "0 deg"      # which way, as direction below; downward if not given
# between_faces = true          # instead: how far the two ends of a C-clip open (or read_at and opposite_at)
# tolerances = "independent"    # if not given, all sizes of one name (every width) are off together, as one print is

[print]                         # as in the run file; differences between specimen and part are pointed out
orientation = "flat"
infill = "100 %"

# [root]
# rotation = "0.001 rad/(N m)"  # how far the mounting turns under a moment; a [[clamp]] may have one too

# support = "screws"            # held by the [[screw]]s, [[rest]]s, [[clamp]]s and [[brace]]s below alone
# [[screw]]                     # a point that holds and lets turn; distances along the arm, below zero on the upright,
# at = "-15 mm"                 # which counts from the arm down
# [[screw]]
# at = "-50 mm"
# [[rest]]                      # holds up and down: a prop under a shelf; [[clamp]] also keeps from turning
# at = "120 mm"
# stiffness = "20 N/mm"         # where it is held by a spring: of a rest, screw or clamp
# [[brace]]                     # a strut; its section with keys as those of a segment
# from = "-55 mm"               # on the upright, or a point of the wall: { x = "0 mm", y = "-60 mm" } from the arm's root
# to = "90 mm"
# section = "rectangle"
# width = "14 mm"
# thickness = "6 mm"
# modulus = "200 GPa"           # where it does not creep, as a rod of steel; else of the part's own material
# joints = "rigid"              # or "pinned", the default, or both ends: ["rigid", "pinned"]

# [[upright]]                   # what carries the arm, from the wall on, with keys as below: an L-shaped bracket
# length = "60 mm"
# section = "rectangle"
# width = "14 mm"
# thickness = "10 mm"

[[segment]]                     # from the support outward; an arc has radius and angle instead of length
length = "120 mm"
section = "rectangle"           # width, thickness; round: diameter; tube: diameter, wall;
width = "14 mm"                 # I and T: width, height, flange, web
thickness = ["14 mm", "9 mm"]   # a pair is a taper from start to end; thickness is the size in the direction of sag
# turn = "-90 deg"              # a sharp corner before it, anticlockwise; radius and angle bend it smoothly
# out = "90 deg"                # turned about its own axis first: it then bends out of the plane, toward you (hooks)
# walls = "1.6 mm"              # printed shell around a core, both keys or neither
# core_stiffness = 0.08         # modulus of the core over that of the walls

[[load]]
mass = "0.6 kg"                 # or force; or per_length = "0.2 N/mm" with from and to
at = "end"                      # or "middle", or a distance
# over = "2 h"                  # put on in a ramp
# duty = { on = "8 h", off = "16 h" }                           # always on if neither is given
# duty = { on = "183 d", off = "182.25 d", starts = "90 d" }    # every summer, the first time 90 d after it was put up
# schedule = [["0 h", "0.6 kg"], ["30 d", "0 kg", "2 h"]]       # instead of mass; a third entry is a ramp

# [[load]]                      # a force in another direction: an angle above the horizontal, away from the wall
# force = "3 N"
# at = "60 mm"
# direction = "-45 deg"

# [[load]]                      # a moment; it turns the end of an arm that runs to the right down
# moment = "0.05 N m"
# at = "end"

# [[load]]                      # two opposite forces that spread the ends of a C-clip (or at and opposite_at)
# force = "2 N"
# at = "end"
# between_faces = true

[limit]                         # optional
sag = "2 mm"
life = "1 year"

# [elastic]                     # instead of [[segment]]: a part of any shape, by an elastic analysis made elsewhere
# deflection = "1.20 mm"        # where the sag is asked for, under the loads of this file at their largest
# modulus = "2000 MPa"          # that the analysis was made with
# largest_stress = "4.1 MPa"
# load = "0.6 kg in the middle of the front edge"
# read_at = "front edge, middle"
# poisson = 0.38

# [held]                        # a clip or a clamped joint: bent and held, see creepfit relax; no [[load]] is needed
# deflection = "1.5 mm"         # where the sag is read, at the end if not given
# series_compliance = "0.01 mm/N"                               # of a bolt, a washer, a counterpart

# [plate]                       # instead of [[segment]]: a panel that rests on two or four sides; its sag in the middle
# span = "200 mm"               # between the two sides it rests on in any case
# width = "300 mm"
# thickness = "4 mm"
# rests_on = "four sides"       # or "two sides"; a [[load]] is at = "middle" or at = "all over" (its whole mass or force)

# [coil]                        # instead of [[segment]]: a coil spring, loaded along its axis
# section = "round"             # of the wire; or rectangle with width (across the axis) and thickness
# diameter = "3 mm"
# coil_diameter = "20 mm"       # of the wire's centre line
# turns = 6
# [crank]                       # or a shaft out from the wall and an arm square to it, loaded square to both at its end
# shaft_length = "60 mm"
# arm_length = "40 mm"
# shaft = { section = "round", diameter = "8 mm" }
# arm = { section = "rectangle", width = "8 mm", thickness = "6 mm" }

# [allowance]                   # optional: what the interval is widened by, and factors on the compliance
# scatter = "8 %"               # from specimen to specimen, one standard deviation
# layer_direction = 1.15        # where the part is loaded across its layers and the specimen was not
# print_settings = 1.1
"""


HISTORY_TEMPLATE = """\
# A load that changes, for forecast --history. Replace the invented numbers by your own.
# Quantities are a number and a unit in quotes: "0.3 kg", "30 d". A decimal comma is understood.
format = 1

[[load]]                        # the total load from this time on: mass, force, or stress for a run in stress and strain
at = "0 s"                      # times count from the first load
mass = "0.3 kg"
# over = "5 s"                  # put on in a ramp

[[load]]
at = "30 d"
mass = "0 kg"

# instead of all loads above a cycle that begins loaded and repeats without end:
# [duty]
# mass = "0.3 kg"               # or force, or stress
# on = "8 h"
# off = "16 h"
"""


def run_template(now: datetime | None = None) -> str:
    """Return a commented run file that reads back and fits, begun `now`: an added reading is then that old."""
    return RUN_TEMPLATE if now is None else RUN_TEMPLATE.replace(START, _start(now))


def _start(now: datetime) -> str:
    return f"{now:%Y-%m-%d %H:%M}"


def part_template() -> str:
    """Return a commented part file that reads back."""
    return PART_TEMPLATE


def history_template() -> str:
    """Return a commented load history that reads back."""
    return HISTORY_TEMPLATE


def template_rows(now: datetime | None = None) -> list[list[object]]:
    """Return the run of `run_template` as the rows of a workbook sheet, see `workbook`."""
    start = START if now is None else _start(now)
    return [
        ["creepfit run", 1, "Replace the invented numbers by your own; this column and empty rows are passed over."],
        ["run.material", "PETG"],
        ["run.specimen", "P-03"],
        ["run.start", start, "your own date-time of the first load; creepfit add goes by it"],
        ["run.temperature", "23 degC", "optional, as run.humidity, run.age, run.conditioning, run.note"],
        ["run.age", "2 d", "since printing or annealing, when the load was put on"],
        ["print.orientation", "flat", "optional, as print.walls, infill, layer, annealed, dried, colour, batch"],
        ["specimen.test", "cantilever", "or tension, compression, three-point-bending, four-point-bending, direct"],
        ["specimen.length", "60 mm", "support to load"],
        ["specimen.width", "12 mm"],
        ["specimen.thickness", "4.00 +- 0.03 mm", "a tolerance makes the interval honest"],
        ["gauge.resolution", "0.01 mm"],
        ["gauge.instrument", "dial gauge", "states a usual repeatability; gauge.repeatability gives your own"],
        ["gauge.falls", False, "TRUE where the reading falls as the specimen gives way"],
        ["rig.preload", None, "optional, as rig.compliance and rig.lever"],
        [],
        ["[load]", None, "the total load from each time on; mass, force or stress, and over for a ramp"],
        ["at", "mass"],
        ["0 s", "0.4 kg"],
        ["5 d", "0 kg"],
        [],
        ["[readings]", None, "to the end of the sheet; further columns: reading 2 [mm], temperature [degC], note"],
        ["time [h]", "reading [mm]"],
        *map(list[object], zip(_HOURS, _READINGS, strict=True)),
    ]


_HOURS = (-1 / 60, 1 / 60, 1 / 6, 1, 6, 24, 48, 72, 96, 120, 120 + 1 / 60, 121, 144, 168)
_READINGS = (12.40, 14.67, 14.71, 14.77, 14.86, 14.95, 15.03, 15.08, 15.11, 15.14, 12.87, 12.77, 12.61, 12.56)
