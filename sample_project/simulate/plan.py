"""What is on the floor, which boats went out, and what they meant to do."""
from __future__ import annotations

from dataclasses import dataclass, field
from datetime import datetime, timezone

from .boat import Leg
from .noise import Boat

SEED = 20240615
FOOT_M = 0.3048


@dataclass(frozen=True)
class Thing:
    """An object on the floor: its middle (local metres), its size (m) and the way its length points (grid degrees)."""

    label: str
    u: float
    v: float
    length: float
    width: float
    height: float
    points_deg: float
    what: str


THINGS = (
    Thing("rowboat", -392.0, 224.6, 4.3, 1.5, 0.9, 75.0, "wooden boat at the foot of the drop-off"),
    Thing("tyre", -250.0, 333.0, 0.8, 0.8, 0.4, 0.0, "lorry tyre, leaning"),
    Thing("trunk", -520.0, 297.0, 6.2, 0.5, 0.5, 35.0, "waterlogged trunk"),
    Thing("boulder", -300.0, 262.0, 1.7, 1.4, 1.2, 10.0, "erratic boulder"),
    Thing("crib", -205.0, 189.0, 3.0, 3.0, 1.4, 20.0, "stone-filled timber crib"),
    Thing("anchor", -455.0, 157.0, 1.3, 0.6, 0.5, 120.0, "stock anchor"),
    Thing("dock", -335.0, 152.0, 5.2, 2.4, 0.6, 100.0, "sunken dock section"),
    Thing("barrel", -560.0, 119.0, 0.9, 0.6, 0.6, 60.0, "steel barrel"),
    Thing("canoe", -235.0, 83.0, 5.0, 0.9, 0.5, 160.0, "canoe, upright"),
    Thing("block", -480.0, 84.0, 0.9, 0.9, 0.8, 45.0, "mooring block"),
    Thing("stone", -345.0, 318.5, 1.0, 0.9, 0.8, 0.0, "boulder almost under a line"),
    Thing("bedstead", 0.0, -268.0, 2.0, 1.4, 0.6, 50.0, "iron bedstead"),
    Thing("pipe", 95.0, -303.0, 8.0, 0.45, 0.45, 80.0, "concrete pipe"),
    Thing("tank", 190.0, -337.0, 2.1, 1.1, 1.1, 15.0, "water tank"),
    Thing("rockpile", -60.0, -339.0, 2.6, 2.0, 0.9, 0.0, "heap of stones"),
    Thing("sled", 245.0, -411.0, 2.0, 0.9, 0.5, 70.0, "ice-fishing sled"),
    Thing("engine", 128.0, -412.0, 0.9, 0.7, 0.7, 0.0, "engine block"),
    Thing("stakes", -20.0, -446.0, 2.4, 2.0, 1.0, 30.0, "bundle of stakes"),
)

AREAS = (
    ("North basin", ((-600, 48), (-600, 395), (-520, 436), (-430, 448), (-300, 427), (-165, 400), (-165, 48))),
    ("South bay", ((-120, -446), (-120, -238), (290, -238), (290, -446))),
)
"""What each outing set out to search: name and corners (local metres)."""

PLACES = (
    ("Orrelmere", 430.0, 40.0, "lake"), ("Heron Isle", -60.0, -30.0, "island"), ("Otter Cove", -690.0, 505.0, "cove"),
    ("Mill Cove", -868.0, 10.0, "cove"), ("Reed Cove", 470.0, -480.0, "cove"), ("Sickle Spit", 80.0, 370.0, "land"),
    ("The Step", -560.0, 262.0, "floor"), ("The Inlet", 905.0, 325.0, "cove"),
)


@dataclass(frozen=True)
class Outing:
    """An outing: the boat, its plan and what was set on the way.

    ``ranges``: (note of the leg from whose start it holds, displayed range in ``range_unit``), in order; ``unit_m`` the
    length of that unit. ``record_note``: the leg whose record is kept as a picture.
    """

    name: str
    start_s: float
    boat: Boat
    drift: tuple
    legs: tuple
    ranges: tuple
    unit_m: float
    seed: int
    record_note: str = ""
    lost_bottom: tuple = field(default=())


def _utc(*parts):
    return datetime(*parts, tzinfo=timezone.utc).timestamp()


def _chain(points, speed, note):
    """Legs through the points, all under one note."""
    return [Leg(a, b, speed, note) for a, b in zip(points[:-1], points[1:])]


def _north_legs():
    """Along the shore, then lines to and fro over the basin, three lines across them, and two again."""
    west, east = -632.0, -128.0
    shore = [(-600, 408), (-560, 424), (-520, 431), (-490, 446), (-460, 455), (-400, 456), (-340, 449), (-280, 437),
             (-220, 424), (-160, 411), (-120, 401), (-80, 396)]
    legs = _chain(shore, 1.6, "shore")
    legs += _chain([(-90, 370), (-170, 388), (-300, 400), (-430, 408), (-590, 394)], 1.8, "line 395")
    rows = [352, 316, 280, 244, 208, 172, 136, 100, 64]
    for k, v in enumerate(rows):
        a, b = (west, east) if k % 2 == 0 else (east, west)
        if v == 100:  # an anchored boat is in the way: the line is left early
            legs.append(Leg((a, v), (-415.0, v), 2.0, "line 100"))
            legs.append(Leg((-415.0, v), (-455.0, 64.0), 2.0, "give way"))
            continue
        if v == 64:
            a = -520.0
        rest = {"stop_at_m": 230.0, "stop_s": 75.0} if v == 280 else {}
        legs.append(Leg((a, v), (b, v), 2.4 if v in (136, 172) else 1.9, f"line {v}", **rest))
    legs += _chain([(-178, 45), (-182, 385)], 1.8, "across east")
    legs += _chain([(-318, 392), (-322, 45)], 1.8, "across middle")
    legs += _chain([(-476, 45), (-470, 395)], 1.8, "across west")
    legs += _chain([(-560, 300), (-140, 300)], 1.6, "again 300")
    legs += _chain([(-140, 172), (-620, 172)], 1.6, "again 172")
    return tuple(legs)


def _south_legs():
    """Lines to and fro over the bay, two across, and home along the shore without going into the cove."""
    west, east = -140.0, 305.0
    legs = []
    for k, v in enumerate([-250, -285, -320, -355, -390, -428]):
        a, b = (west, east) if k % 2 == 0 else (east, west)
        if v == -355:
            b = 20.0
        legs.append(Leg((a, v), (b, v), 1.5, f"line {v}"))
    legs += _chain([(-150, -428), (-158, -446), (-120, -486), (-80, -508), (-30, -519), (22, -519)], 1.5, "shore")
    legs += _chain([(22, -515), (28, -235)], 1.4, "across west")
    legs += _chain([(180, -240), (172, -490)], 1.4, "across east")
    legs += _chain([(200, -498), (250, -467), (290, -455), (330, -450), (356, -410), (378, -372),
                    (400, -340), (430, -300)],
                   1.5, "shore home")
    return tuple(legs)


NORTH = Outing(
    "north", _utc(2024, 6, 15, 13, 5), Boat("skiff", 0.9, -1.8, 0.4, 1.4, 0.35, 1500.0, 18.4, 1.1, -13.8),
    (0.09, -0.05), _north_legs(), (("shore", 25.0), ("line 208", 30.0), ("line 64", 25.0), ("across east", 30.0)), 1.0,
    SEED + 1, "line 208", ("line 136", 150.0, 24.0))

SOUTH = Outing(
    "south", _utc(2024, 6, 22, 14, 10), Boat("jon boat", 0.7, -1.3, -0.3, -1.0, 0.25, 4800 * FOOT_M, 19.6),
    (-0.06, 0.05), _south_legs(), (("line -250", 75.0), ("line -355", 60.0), ("line -428", 75.0),
    ("across west", 100.0)), FOOT_M, SEED + 2)
