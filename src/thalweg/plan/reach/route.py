"""The shortest path that answers a question: exact where nothing is in the way, else sought.

What is promised: a path that comes back was checked, point by point, against every condition. Where
the way is free and long enough for arc–straight–arc it is the shortest there is. Where obstacles
bend it, it is the shortest of the ways tried, so its length is an upper bound of the true least;
`Path.floor_mm` is a lower bound, so the two say how much is at stake.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np

from thalweg.plan.reach.arcs import ArcChain, frame_along, turn_between
from thalweg.plan.reach.dubins import arc_straight_arc, three_arcs
from thalweg.plan.reach.problem import CLEARANCE_TOLERANCE_MM, Question
from thalweg.plan.reach.tighten import tighten
from thalweg.plan.reach.ways import WayMap, chain_along

if TYPE_CHECKING:
    from numpy.typing import NDArray

    Floats = NDArray[np.float64]

__all__ = ["Path", "clear_between_close", "shortest"]

PIECES = 10
MORE_PIECES = 16
WAYS = 3
AT_STAKE_MM = 0.03
"""No further way is tried once this is all that could be gained."""
GRAZED_MM = 3.0
"""An unhindered path that comes no farther inside the clearance is the first guess."""
DEEP_MM = 12.0
"""One that comes farther inside is a guess only for want of a way round."""
CLOSE = 6.0
"""Distance in radii below which three arcs may beat arc–straight–arc."""


@dataclass(frozen=True, eq=False)
class Path:
    """A checked path.

    Parameters
    ----------
    chain : ArcChain
    floor_mm : float
        No path that answers the question is shorter than this.
    free : bool
        Whether nothing was in the way of the unhindered shortest path.
    """

    chain: ArcChain
    floor_mm: float
    free: bool

    @property
    def length_mm(self) -> float:
        """Length of the path."""
        return self.chain.length


def shortest(
    question: Question,
    ways: WayMap,
    near: ArcChain | None = None,
    *,
    barred_floor_mm: float | None = None,
) -> Path | None:
    """Return the shortest path found, or None where none keeps every condition.

    Parameters
    ----------
    question : Question
    ways : WayMap
        The map of the question's own obstacles.
    near : ArcChain, optional
        The answer to a question hardly different, tried before all else.
    barred_floor_mm : float, optional
        A lower bound of the length, where the caller knows that the unhindered path is barred:
        with `near` nothing is then sought afresh.
    """
    if question.via is not None:
        return _through(question, ways, near)
    if near is not None and barred_floor_mm is not None:
        best = None if _hopeless(question) else tighten(question, _moved(near, question))
        return None if best is None else Path(best, barred_floor_mm, free=False)
    unhindered = _unhindered(question)
    floor = float(np.linalg.norm(question.end - question.start))
    far = floor > CLOSE * question.radius
    if unhindered and far:
        floor = unhindered[0].length
        if question.judge(unhindered[0]).good:
            return Path(unhindered[0], floor, free=True)
    if _hopeless(question):
        return None
    best = None if near is None else tighten(question, _moved(near, question))
    if best is None:
        best = _best_of(question, ways, unhindered, floor)
    return None if best is None else Path(best, floor, free=False)


def clear_between_close(question: Question) -> ArcChain | None:
    """Return the shorter of the bent paths known in closed form that keep every condition.

    Arc–straight–arc and three arcs, nothing else: a path past a body, or the shortest of all
    paths in space, is not sought. None where no such path is clear.
    """
    known = [*_unhindered(question), *_close_guesses(question)]
    good = [chain for chain in known if question.judge(chain).good]
    return min(good, key=lambda chain: chain.length, default=None)


def _moved(chain: ArcChain, question: Question) -> ArcChain:
    """Return the chain set at the question's own start."""
    heading = chain.frame[:, 0] if question.bends_freely else question.heading
    first = chain.frame[:, 1] - (chain.frame[:, 1] @ heading) * heading
    first /= np.linalg.norm(first)
    frame = np.column_stack([heading, first, np.cross(heading, first)])
    return _split(ArcChain(question.start, frame, chain.turns, chain.lengths), PIECES)


def _through(question: Question, ways: WayMap, near: ArcChain | None) -> Path | None:
    """Return the shortest path found through the question's waypoint."""
    assert question.via is not None  # noqa: S101 - only called with one
    floor = sum(float(np.linalg.norm(end - question.via)) for end in (question.start, question.end))
    if question.bends_freely:
        return _in_two(question, ways)
    first = ways.ways(question.start, question.via, WAYS)
    second = ways.ways(question.via, question.end, WAYS)
    best: ArcChain | None = None
    if near is not None:
        moved = _moved(near, question)
        gap = np.linalg.norm(moved.joints()[1][1:] - question.via, axis=1)
        best = tighten(question, moved, int(np.argmin(gap)))
        if best is not None:
            return Path(best, floor, free=False)
    for pieces in (PIECES, MORE_PIECES):
        for into, out in zip(first, second, strict=False):
            way = np.vstack([into, out[1:]])
            before, after = (np.linalg.norm(np.diff(w, axis=0), axis=1).sum() for w in (into, out))
            if best is not None and 0.95 * (before + after) >= best.length:
                continue
            guess = chain_along(
                way, question.heading, question.goal_heading, question.radius, pieces
            )
            joint = int(np.clip(round(pieces * before / (before + after)), 2, pieces - 2)) - 1
            chain = tighten(question, guess, joint)
            if chain is not None and (best is None or chain.length < best.length):
                best = chain
        if best is not None:
            break
    return None if best is None else Path(best, floor, free=False)


def _in_two(question: Question, ways: WayMap) -> Path | None:
    """Return the two shortest paths to and from the waypoint as one that kinks there."""
    assert question.via is not None  # noqa: S101 - only called with one
    into = shortest(replace(question, end=question.via, arrival=None, via=None), ways)
    out = shortest(replace(question, start=question.via, via=None), ways)
    if into is None or out is None:
        return None
    last = into.chain.joints()[0][-1]
    # The second path's turns are told in its own frame; a turn on the spot lines up the headings
    # and the rest is a roll about the heading.
    kink = turn_between(last, out.chain.frame[:, 0])
    met = ArcChain(question.via, last, kink[None], np.zeros(1)).joints()[0][-1]
    roll = met[:, 1:].T @ out.chain.frame[:, 1:]
    chain = ArcChain(
        into.chain.start,
        into.chain.frame,
        np.vstack([into.chain.turns, kink, out.chain.turns @ roll.T]),
        np.concatenate([into.chain.lengths, [0.0], out.chain.lengths]),
    )
    return Path(chain, into.floor_mm + out.floor_mm, free=into.free and out.free)


def _hopeless(question: Question) -> bool:
    """Say whether an end of the path itself lies within the clearance."""
    ends = np.array([question.start, question.end])
    return question.intrusion(ends) > CLEARANCE_TOLERANCE_MM


def _unhindered(question: Question) -> list[ArcChain]:
    """Return the shortest paths as if no obstacle were there, shortest first."""
    step = question.end - question.start
    length = float(np.linalg.norm(step))
    if question.bends_freely:
        aim = step / length if length > 0 else question.heading
        straight = ArcChain(question.start, frame_along(aim), np.zeros((1, 2)), np.array([length]))
        return [straight]
    return arc_straight_arc(
        question.start, question.heading, question.end, question.arrival, question.radius
    )


def _best_of(
    question: Question, ways: WayMap, unhindered: list[ArcChain], floor: float
) -> ArcChain | None:
    """Return the shortest good path that any first guess leads to."""
    best: ArcChain | None = None
    for chain in unhindered:
        if question.judge(chain).good and (best is None or chain.length < best.length):
            best = chain
    for pieces in (PIECES, MORE_PIECES):
        for guess, least in _guesses(question, ways, unhindered, pieces):
            if best is not None and (least >= best.length or best.length - floor < AT_STAKE_MM):
                continue
            found = tighten(question, guess, limit=np.inf if best is None else best.length)
            if found is not None and (best is None or found.length < best.length):
                best = found
        if best is not None:
            break
    if best is None or not question.obstacles or best.length - floor < AT_STAKE_MM:
        return best
    # More pieces follow an obstacle's surface more closely.
    finer = tighten(question, _split(best, MORE_PIECES))
    return finer if finer is not None and finer.length < best.length else best


def _guesses(
    question: Question, ways: WayMap, unhindered: list[ArcChain], pieces: int
) -> list[tuple[ArcChain, float]]:
    """Return first guesses, each with about the least length it could come to."""
    heading = None if question.bends_freely else question.heading
    guesses = []
    for way in ways.ways(question.start, question.end, WAYS):
        least = 0.95 * float(np.linalg.norm(np.diff(way, axis=0), axis=1).sum())
        chain = chain_along(way, heading, question.goal_heading, question.radius, pieces)
        guesses.append((chain, least))
    if not question.bends_freely:
        plain = [(_split(chain, pieces), chain.length) for chain in unhindered[:1]]
        # Where a body is only grazed, the path that runs into it is nearly the answer.
        inside = question.judge(unhindered[0]).intrusion_mm if unhindered else np.inf
        if inside < GRAZED_MM:
            guesses = plain + guesses
        elif inside < DEEP_MM or not guesses:
            # From deeper inside it ends, after long work, where the ways lead too.
            guesses = guesses + plain
        guesses += [(_split(chain, pieces), 0.0) for chain in _close_guesses(question)]
    return guesses


def _close_guesses(question: Question) -> list[ArcChain]:
    """Return paths of three arcs where the ends are so close that they may be the shortest."""
    if np.linalg.norm(question.end - question.start) > CLOSE * question.radius:
        return []
    return three_arcs(
        question.start, question.heading, question.end, question.arrival, question.radius, 3
    )


def _split(chain: ArcChain, pieces: int) -> ArcChain:
    """Return the same path in about `pieces` pieces, the longest cut first."""
    turns, lengths = list(chain.turns), list(chain.lengths)
    while len(lengths) < pieces:
        longest = int(np.argmax(lengths))
        turns[longest : longest + 1] = [turns[longest] / 2] * 2
        lengths[longest : longest + 1] = [lengths[longest] / 2] * 2
    return ArcChain(chain.start, chain.frame, np.array(turns), np.array(lengths))
