"""Dubins' six planar words in closed form: an oracle that shares nothing with the solver.

Formulas as in Shkel AM, Lumelsky V. Classification of the Dubins set. Robot Auton Syst
2001;34:179-202, equations 5 to 10 (from memory; the test that a word's arcs end where they should
checks them by integration).
"""

from __future__ import annotations

import math

Pose = tuple[float, float, float]
TURNS = {"L": 1.0, "S": 0.0, "R": -1.0}


def words(start: Pose, end: Pose, radius: float) -> dict[str, tuple[float, float, float]]:
    """Return the three parts of every word that exists, in radians and radii."""
    dx, dy = end[0] - start[0], end[1] - start[1]
    d, aim = math.hypot(dx, dy) / radius, math.atan2(dy, dx)
    a, b = _wrap(start[2] - aim), _wrap(end[2] - aim)
    sa, ca, sb, cb, cab = math.sin(a), math.cos(a), math.sin(b), math.cos(b), math.cos(a - b)
    found = {}
    square = 2 + d * d - 2 * cab + 2 * d * (sa - sb)
    if square >= 0:
        t = math.atan2(cb - ca, d + sa - sb)
        found["LSL"] = (_wrap(t - a), math.sqrt(square), _wrap(b - t))
    square = 2 + d * d - 2 * cab + 2 * d * (sb - sa)
    if square >= 0:
        t = math.atan2(ca - cb, d - sa + sb)
        found["RSR"] = (_wrap(a - t), math.sqrt(square), _wrap(t - b))
    square = -2 + d * d + 2 * cab + 2 * d * (sa + sb)
    if square >= 0:
        p = math.sqrt(square)
        t = math.atan2(-ca - cb, d + sa + sb) - math.atan2(-2.0, p)
        found["LSR"] = (_wrap(t - a), p, _wrap(t - b))
    square = -2 + d * d + 2 * cab - 2 * d * (sa + sb)
    if square >= 0:
        p = math.sqrt(square)
        t = math.atan2(ca + cb, d - sa - sb) - math.atan2(2.0, p)
        found["RSL"] = (_wrap(a - t), p, _wrap(b - t))
    for word, sign in (("RLR", 1.0), ("LRL", -1.0)):
        cosine = (6 - d * d + 2 * cab + sign * 2 * d * (sa - sb)) / 8
        if abs(cosine) <= 1:
            p = _wrap(2 * math.pi - math.acos(cosine))
            base = math.atan2(ca - cb, d - sign * (sa - sb))
            t = _wrap(sign * (a - base) + p / 2) if sign > 0 else _wrap(-a - base + p / 2)
            found[word] = (t, p, _wrap(sign * (a - b) - t + p))
    return found


def length(parts: tuple[float, float, float], radius: float) -> float:
    """Return a word's length."""
    return radius * sum(parts)


def drive(start: Pose, word: str, parts: tuple[float, float, float], radius: float) -> Pose:
    """Return where a word leads, by moving along each of its parts."""
    x, y, heading = start
    for letter, part in zip(word, parts, strict=True):
        turn = TURNS[letter]
        if turn == 0.0:
            x, y = x + radius * part * math.cos(heading), y + radius * part * math.sin(heading)
            continue
        side = heading + turn * math.pi / 2
        cx, cy = x + radius * math.cos(side), y + radius * math.sin(side)
        heading += turn * part
        out = heading - turn * math.pi / 2
        x, y = cx + radius * math.cos(out), cy + radius * math.sin(out)
    return x, y, heading


def _wrap(angle: float) -> float:
    return angle % (2 * math.pi)
