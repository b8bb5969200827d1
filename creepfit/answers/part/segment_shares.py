"""Which member of a part makes how much of its sag."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from creepfit.answers.part.checks import segment_name
from creepfit.answers.part.loads import CourseCreep, Courses
from creepfit.answers.part.response import PartResponse
from creepfit.mechanics.frame import TYPICAL, Frame
from creepfit.mechanics.loading import Array
from creepfit.records.part import Part


@dataclass(frozen=True)
class SegmentShare:
    """Share of one segment, or of the mounting, in the median sag at a time; they sum to 1.

    `creeps` is whether it does: the mounting, springs and members with a modulus of their own do not.
    """

    name: str
    share: float
    creeps: bool = True


def segment_shares(response: PartResponse, creep: CourseCreep) -> tuple[SegmentShare, ...]:
    """Shares at the one time of `creep`; empty where nothing sags."""
    middle = np.array([float(np.median(c[:, 0])) for c in creep.compliance])
    courses = response.courses
    if courses.sharing is not None:  # which member gives way by how much is asked of the frame as it then is
        parts, mount = _shares_at(response.part, courses, middle, creep.load[:, 0])
    else:
        lever = response.leverage
        parts, mount = (lever.loads + lever.own).T @ middle, float(lever.all[1] @ creep.load[:, 0])
    total = float(parts.sum()) + mount
    if total == 0.0:
        return ()
    shares = [
        SegmentShare(segment_name(response.part, i), float(p) / total)
        for i, p in enumerate(parts)
        if _creeps(response.part, i)
    ]
    return (*shares, SegmentShare(_mounting(response.part), float(mount / total), creeps=False)) if mount else tuple(shares)


def _creeps(part: Part, number: int) -> bool:
    """Whether a member creeps; what does not counts with the mounting."""
    body = part.body
    brace = number - len(body.axis.segments) if isinstance(body, Frame) else -1
    return brace < 0 or not isinstance(body, Frame) or body.braces[brace].modulus is None


def _mounting(part: Part) -> str:
    """What gives way without creeping, in words."""
    if not isinstance(part.body, Frame):
        return "mounting"
    names = ["mounting"] if part.body.root_compliance or any(hold.turn for hold in part.body.holds) else []
    names += ["springs"] if any(hold.give for hold in part.body.holds) else []
    return " and ".join([*names, *(["members that do not creep"] if any(b.modulus for b in part.body.braces) else [])])


def _shares_at(part: Part, courses: Courses, compliance: Array, load: Array) -> tuple[Array, float]:
    """What each member and what does not creep add to the sag, mm, in a frame that gives way, by the compliance then."""
    frame = _frame_then(part, compliance, load)
    parts, mount = np.zeros(frame.member_count), 0.0
    for k, members in enumerate(courses.members):
        for one in members:
            influence = part.influence(one.load, frame)
            parts += one.size * compliance[k] * np.array(influence.by_segment)
            mount += one.size * load[k] * influence.mount
    return parts, mount


def shape_as_shared(part: Part, courses: Courses, creep: CourseCreep, along: Array) -> Array:
    """Displacement of a frame that gives way at distances along its axis, shape (T, 2, points), mm; the median.

    By the elastic frame at the compliance of each time: a percent or so from the sag worked out over time.
    """
    out = np.zeros((creep.times.size, 2, along.size))
    middle = np.array([np.median(c, axis=0) for c in creep.compliance])
    for i in range(creep.times.size):
        frame = _frame_then(part, middle[:, i], creep.load[:, i])
        for k, members in enumerate(courses.members):
            for one in members:
                creeps, gives = frame.shape(one.load, along)
                out[i] += one.size * (middle[k, i] * creeps + creep.load[k, i] * gives)
    return out


def _frame_then(part: Part, compliance: Array, load: Array) -> Frame:
    """The frame as it shares its load when courses (K,) have come to a compliance."""
    acting = load != 0.0
    now = float(np.max(compliance[acting] / load[acting])) if acting.any() else TYPICAL
    assert isinstance(part.body, Frame)
    return part.body.at(max(now, 1e-12))
