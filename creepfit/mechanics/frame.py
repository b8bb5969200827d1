"""Plane frames: a beam that is held at more places than one, braced, or closed upon itself.

With one linear material and supports that do not give way the forces in a frame do not change while it creeps: they are
those of the elastic frame, whatever its modulus, and every deflection is the elastic one times E D(t) (correspondence
principle). So a frame is one elastic solution. It is found by the force method: the chain of segments is taken as
clamped at its start alone, and what else holds it enters as unknown forces X (of holds, and at the far ends of braces)
that minimise the complementary energy

    1/2 X' F X + X' d   while   B X + b = 0,

F and d the unit-load integrals of the forces among themselves and with the load, B and b what must balance: the whole
where the start is not clamped, and the moment at a pinned foot of a brace (Castigliano's theorem of least work; Gere &
Timoshenko, Mechanics of Materials, on the force method). Tapers, arcs and shear are those of `Beam`.

What gives way without creeping (a spring, a mounting that turns, a brace of steel) adds to F as well, and makes the forces
depend on how far the material has crept: the elastic solution is then that at one `compliance`, and how it goes from one to
the next over time is worked out in `mechanics.sharing`.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np

from creepfit.errors import InputError
from creepfit.mechanics.beam import Beam, Influence, IntegrationPoints, SectionForces, StressPeak
from creepfit.mechanics.beam_axis import NODES, WEIGHTS
from creepfit.mechanics.beam_loads import Load, PointLoad, cross
from creepfit.mechanics.holds import SAME, Bar, Brace, Hold, Unknown, Wrench, directions, place_bar, unknown_forces, wrench
from creepfit.mechanics.loading import Array

TYPICAL = 1.0 / 2000.0
"""1/MPa, of a rigid plastic, where it is not said."""

LOOSE = 1e-9
"""Of the balance's singular values, the least over the greatest, below which a frame is not held."""


State = tuple[Array | None, Load | None]
"""Sizes of the unknown forces (none of them where None), and a load of unit size, if any."""


@dataclass(frozen=True)
class Frame(Beam):
    """A beam that is held at further places, braced, or closed.

    Parameters
    ----------
    clamped : bool
        Whether the start of the first member is clamped, as that of a cantilever.
    holds : tuple of Hold
    braces : tuple of Brace
    compliance : float
        1/MPa, at which what creeps and what does not share the load; of no account where all of it creeps.
    """

    clamped: bool = True
    holds: tuple[Hold, ...] = ()
    braces: tuple[Brace, ...] = ()
    compliance: float = TYPICAL

    def __post_init__(self) -> None:
        super().__post_init__()
        if self.support.kind != "cantilever":
            raise InputError(key="support", found=self.support.kind, expected="holds in its place")
        if self.root_compliance and not self.clamped:
            raise InputError(
                "a mounting that turns belongs to a beginning that is clamped",
                key="root_compliance",
                expected="rotation in the [[clamp]] that turns",
            )
        places = [self.axis.locate(hold.at, "hold") for hold in self.holds]
        length = self.axis.end - self.axis.start
        for i, at in enumerate(places):
            taken = [*places[:i], *([self.axis.start] if self.clamped else [])]
            if any(abs(at - other) <= SAME * length for other in taken):
                raise InputError("held there already", key="hold", found=f"{at:g} mm")
        _ = self._equations  # says where the frame is loose

    @property
    def member_count(self) -> int:
        return len(self.axis.segments) + len(self.braces)

    @property
    def gives(self) -> bool:
        """Whether something that holds it gives way without creeping, so that its forces change in time."""
        springs = any(any(hold.gives) for hold in self.holds)
        return springs or self.root_compliance > 0.0 or any(brace.modulus is not None for brace in self.braces)

    def at(self, compliance: float) -> Frame:
        """The frame as what creeps and what does not share the load at another compliance [1/MPa]."""
        return replace(self, compliance=compliance) if self.gives else self

    # --- what is unknown ------------------------------------------------------------------------------------------

    @cached_property
    def _bars(self) -> tuple[Bar, ...]:
        return tuple(place_bar(brace, self.axis, self._origin) for brace in self.braces)

    @property
    def _origin(self) -> Array:
        """Where the arm begins: what points of the wall count from."""
        return self.axis.position(np.array(0.0 if self.upright else self.axis.start))

    @cached_property
    def _unknowns(self) -> tuple[Unknown, ...]:
        return unknown_forces(self.holds, self._bars, self.axis)

    @cached_property
    def flexibilities(self) -> tuple[Array, Array]:
        """Of the unknown forces among themselves: of what creeps, mm MPa/N, and of what does not, mm/N; (n, n) each."""
        count = len(self._unknowns)
        nodes = self._nodes([])
        columns = [self._unknown_forces(u, nodes.distance) for u in self._unknowns]
        creeping, elastic = np.zeros((2, count, count))
        for i in range(count):
            for j in range(i + 1):
                one, other = (_one(count, i), None), (_one(count, j), None)
                value = float(np.sum(self._integrals(nodes, columns[i], columns[j])))
                value += float(np.sum(self._creeping_bars(one, other)))
                creeping[i, j] = creeping[j, i] = value
                elastic[i, j] = elastic[j, i] = self._elastic_work(one, other)
        return creeping, elastic

    @cached_property
    def balance(self) -> Array:
        """What a unit of each unknown adds to everything that must balance, shape (rows, n)."""
        return np.array([self._balance_of(u) for u in self._unknowns]).reshape(len(self._unknowns), self._balances).T

    @cached_property
    def _equations(self) -> tuple[Array, float]:
        """The matrix of the saddle point, F and B and zeros, and the factor on B that makes them of one size."""
        count, balance = len(self._unknowns), self.balance
        creeping, elastic = self.flexibilities
        flexibility = creeping + elastic / self.compliance
        scale = 1.0
        if balance.shape[0]:
            singular = np.linalg.svd(balance, compute_uv=False)
            if count < balance.shape[0] or singular[-1] <= LOOSE * singular[0]:
                raise InputError(
                    "the part can move: what holds it does not hold it in every direction",
                    key="hold",
                    expected="a clamp, two screws, or a screw and a rest that is not straight above or below it",
                )
            scale = float(np.trace(flexibility)) / count / singular[0]
        rows = balance.shape[0]
        whole = np.block([[flexibility, scale * balance.T], [scale * balance, np.zeros((rows, rows))]])
        return whole, scale

    @property
    def _balances(self) -> int:
        return 3 * (not self.clamped) + sum(bar.joints[0] == "pinned" for bar in self._bars)

    def _balance_of(self, unknown: Unknown) -> list[float]:
        """What a unit of an unknown adds to everything that must balance."""
        length = self.axis.end - self.axis.start
        start = self.axis.position(np.array(self.axis.start))
        rows = []
        if not self.clamped:
            force = np.sum([w.force for w in unknown.wrenches], axis=0)
            moment = sum(w.about_origin - float(cross(start, np.array(w.force))) for w in unknown.wrenches)
            rows += [float(force[0]), float(force[1]), moment / length]
        for number, bar in enumerate(self._bars):
            if bar.joints[0] == "pinned":
                own = unknown.bar == number
                moment = float(cross(bar.tip - bar.root, unknown.force)) + unknown.moment
                rows.append(moment / length if own else 0.0)
        return rows

    def unbalanced(self, load: Load) -> list[float]:
        """What a load adds to everything that must balance."""
        length = self.axis.end - self.axis.start
        start = self.axis.position(np.array(self.axis.start))
        sums = []
        if not self.clamped:
            force, moment = load.beyond(self.axis, np.array([self.axis.start - 1.0]))
            total, about = force[:, 0], float(moment[0])
            for extra in self._weights_on_axis(load):
                total = total + np.array(extra.force)
                about += extra.about_origin
            sums += [float(total[0]), float(total[1]), (about - float(cross(start, total))) / length]
        for bar in self._bars:
            if bar.joints[0] == "pinned":
                weight = bar.weight(load)
                sums.append(float(cross((bar.tip - bar.root) / 2.0, np.array([0.0, -weight]))) / length)
        return sums

    def _solve(self, load: Load) -> Array:
        """The unknown forces under a unit of a load."""
        if load not in self._solved:
            nodes = self._nodes(load.breaks(self.axis))
            columns = [self._unknown_forces(u, nodes.distance) for u in self._unknowns]
            self._solved[load] = self._solve_on(load, nodes, self._primary(load, nodes.distance), columns)
        return self._solved[load]

    def _solve_on(
        self, load: Load, nodes: IntegrationPoints, primary: SectionForces, columns: Sequence[SectionForces]
    ) -> Array:
        """The same on nodes at which the forces of the load and of every unknown are known."""
        count = len(self._unknowns)
        d = np.zeros(count)
        for i, column in enumerate(columns):
            d[i] = np.sum(self._integrals(nodes, primary, column))
            d[i] += np.sum(self._creeping_bars((None, load), (_one(count, i), None)))
            d[i] += self._elastic_work((None, load), (_one(count, i), None)) / self.compliance
        whole, scale = self._equations
        right = -np.concatenate([d, scale * np.array(self.unbalanced(load))])
        return np.asarray(np.linalg.solve(whole, right)[:count])

    @cached_property
    def _solved(self) -> dict[Load, Array]:
        return {}

    def _edges(self, breaks: Sequence[float]) -> Array:
        return super()._edges([*breaks, *(w.at for u in self._unknowns for w in u.wrenches)])

    # --- forces and deflections -----------------------------------------------------------------------------------

    def forces(self, load: Load, distance: Array) -> SectionForces:
        columns = [self._unknown_forces(u, distance) for u in self._unknowns]
        return _added(self._primary(load, distance), self._solve(load), columns)

    def _primary(self, load: Load, distance: Array) -> SectionForces:
        """Forces of the chain clamped at its start alone; the weight of a brace hangs on its foot."""
        forces = super().forces(load, distance)
        for extra in self._weights_on_axis(load):
            more = super().forces(extra, distance)
            forces = SectionForces(*(a + b for a, b in zip(forces, more, strict=True)))
        return forces

    def _unknown_forces(self, unknown: Unknown, distance: Array) -> SectionForces:
        parts = [super(Frame, self).forces(w, distance) for w in unknown.wrenches]
        return SectionForces(*(np.sum(values, axis=0) for values in zip(*parts, strict=True)))

    def _weights_on_axis(self, load: Load) -> list[Wrench]:
        weights = []
        for bar in self._bars:
            weight = bar.weight(load)
            if weight:
                weights.append(wrench(bar.foot, (bar.root + bar.tip) / 2.0, np.array([0.0, -weight]), 0.0))
        return weights

    def _bar_forces(self, number: int, state: State, part: Array) -> SectionForces:
        """Moment, shear and axial force in a brace at fractions of its length from the foot on."""
        sizes, load = state
        bar = self._bars[number]
        along = (bar.tip - bar.root) / max(bar.length, 1e-300)
        point = bar.root[:, None] + part * (bar.tip - bar.root)[:, None]
        force, moment = np.zeros((2, part.size)), np.zeros(part.size)
        if sizes is not None:
            for size, unknown in zip(sizes, self._unknowns, strict=True):
                if unknown.bar == number and size:
                    own = size * unknown.force[:, None] * np.ones(part.size)
                    force = force + own
                    moment = moment + cross(bar.tip[:, None] - point, own) + size * unknown.moment
        weight = 0.0 if load is None else bar.weight(load)
        if weight:
            beyond = np.array([[0.0], [-1.0]]) * weight * (1.0 - part)
            force = force + beyond
            moment = moment + cross((bar.tip[:, None] - point) / 2.0, beyond)
        return SectionForces(moment, cross(along[:, None], force), np.sum(along[:, None] * force, axis=0))

    def _bar_work(self, number: int, one: State, other: State) -> Array:
        """Unit-load integrals of bending, shear and axial force in a brace, shape (3,), mm MPa."""
        bar = self._bars[number]
        section = bar.brace.section
        if section is None:
            return np.zeros(3)
        part, weight = 0.5 * (1.0 + NODES), 0.5 * WEIGHTS * bar.length
        real, virtual = self._bar_forces(number, one, part), self._bar_forces(number, other, part)
        return np.array(
            [
                np.sum(real.moment * virtual.moment * weight) / section.second_moment,
                self.ratio * np.sum(real.shear * virtual.shear * weight) / section.shear_area(self.poisson),
                np.sum(real.axial * virtual.axial * weight) / section.area,
            ]
        )

    def _creeping_bars(self, one: State, other: State) -> Array:
        """Work in each brace of the part's own material, shape (3, braces), mm MPa."""
        bars = [
            self._bar_work(i, one, other) if brace.modulus is None else np.zeros(3) for i, brace in enumerate(self.braces)
        ]
        return np.array(bars).reshape(-1, 3).T

    def _elastic_work(self, one: State, other: State) -> float:
        """Work of one state on another in all that does not creep, mm."""
        work = 0.0
        for number, brace in enumerate(self.braces):
            if brace.modulus is not None:
                work += float(np.sum(self._bar_work(number, one, other))) / brace.modulus
        if one[0] is not None and other[0] is not None:
            work += sum(u.give * a * b for u, a, b in zip(self._unknowns, one[0], other[0], strict=True))
        if self.root_compliance:
            work += self.root_compliance * self._root_moment(one) * self._root_moment(other)
        return work

    def _root_moment(self, state: State) -> float:
        return float(self._state_forces(state, np.array([self.axis.start])).moment[0])

    def _state_forces(self, state: State, distance: Array) -> SectionForces:
        sizes, load = state
        forces = SectionForces(*np.zeros((3, distance.size))) if load is None else self._primary(load, distance)
        columns = [] if sizes is None else [self._unknown_forces(u, distance) for u in self._unknowns]
        return _added(forces, np.zeros(0) if sizes is None else sizes, columns)

    def work(self, one: State, other: State) -> Influence:
        """Work of one state on another: in all that creeps by member, and as `mount` in all that does not."""
        nodes = self._nodes([at for _, load in (one, other) if load is not None for at in load.breaks(self.axis)])
        chain = self._integrals(nodes, *(self._state_forces(state, nodes.distance) for state in (one, other)))
        parts = np.concatenate([chain, self._creeping_bars(one, other)], axis=1)
        bending, shear, axial = (tuple(float(value) for value in part) for part in parts)
        return Influence(bending, shear, axial, self._elastic_work(one, other))

    def influence_on(self, load: Load, unit: Load) -> Influence:
        return self.work((self._solve(load), load), (self._solve(unit), unit))

    def shape(self, load: Load, points: Array) -> tuple[Array, Array]:
        nodes = self._nodes([*load.breaks(self.axis), *(self.axis.locate(p) for p in points)])
        columns = [self._unknown_forces(u, nodes.distance) for u in self._unknowns]
        state = (self._solve(load), load)
        real = self.forces(load, nodes.distance)
        compliant, mount = np.empty((2, 2, len(points)))
        for row, angle in enumerate((0.0, 90.0)):
            for column, point in enumerate(points):
                unit = PointLoad(float(point), angle)
                primary = self._primary(unit, nodes.distance)
                others = self._solve_on(unit, nodes, primary, columns)
                virtual = _added(primary, others, columns)
                compliant[row, column] = np.sum(self._integrals(nodes, real, virtual))
                compliant[row, column] += np.sum(self._creeping_bars(state, (others, unit)))
                mount[row, column] = self._elastic_work(state, (others, unit))
        return compliant, mount

    def reactions(self, load: Load) -> list[Array]:
        """Of each hold, per unit of a load: force sideways and up (N) and moment (N mm) on the part, shape (3,)."""
        sizes, rows, place = self._solve(load), [], 0
        for hold in self.holds:
            total = np.zeros(3)
            for _ in directions(hold.kind, 1.0):
                unknown = self._unknowns[place]
                total += sizes[place] * np.array([*unknown.force, unknown.moment])
                place += 1
            rows.append(total)
        return rows

    def brace_forces(self, loads: Sequence[tuple[Load, float]]) -> list[float]:
        """Axial force of each brace at its middle, N, positive in tension; `loads` as `stress` takes them."""
        middle = np.array([0.5])
        return [
            float(sum(size * self._bar_forces(i, (self._solve(load), load), middle).axial[0] for load, size in loads))
            for i in range(len(self.braces))
        ]

    def brace_length(self, number: int) -> float:
        """Length of a brace, mm."""
        return self._bars[number].length

    def brace_ends(self, number: int) -> tuple[float | None, float | None]:
        """Where on the axis foot and tip of a brace are, mm; None on the wall."""
        return self._bars[number].foot, self._bars[number].held_at

    def brace_line(self, number: int) -> Array:
        """Foot and tip of a brace, shape (2, 2): x and y, mm."""
        bar = self._bars[number]
        return np.stack([bar.root, bar.tip], axis=1)

    def peak_stress(self, loads: Sequence[tuple[Load, float]]) -> StressPeak:
        worst = super().peak_stress(loads)
        part = np.linspace(0.0, 1.0, 65)
        for number, bar in enumerate(self._bars):
            section = bar.brace.section
            if section is None or bar.brace.modulus is not None:  # nothing was tested that steel could be held against
                continue
            forces = [(self._bar_forces(number, (self._solve(load), load), part), size) for load, size in loads]
            moment = np.sum([size * f.moment for f, size in forces], axis=0)
            axial = np.sum([size * f.axial for f, size in forces], axis=0)
            modulus = section.second_moment / section.outer_fibre
            value = float(np.max(np.abs(moment) / modulus + np.abs(axial) / section.area))
            if value > worst.value:
                worst = StressPeak(value, None, len(self.axis.segments) + number)
        return worst


def _added(primary: SectionForces, sizes: Array, columns: Sequence[SectionForces]) -> SectionForces:
    """Forces of the load and of all unknowns at their sizes."""
    forces = primary
    for size, column in zip(sizes, columns, strict=True):
        forces = SectionForces(*(a + size * b for a, b in zip(forces, column, strict=True)))
    return forces


def _one(count: int, place: int) -> Array:
    unit = np.zeros(count)
    unit[place] = 1.0
    return unit
