"""The bottom traced on records that nobody tuned it on: 40 of them, seeds 8001 to 8040, on five floors.

Each is simulated with its own fish, surface clutter and lost echoes, from a fair day to a bad one; every other has a
change of range and missing rows, some show one side only or 16 bits, and the beam is 0 or 1.2 degrees wide. Wanted: the
line within 2 pixels of the simulated first echo on 99 % of the pings of each kind of day, lost echoes counted in; and
where it is not, that it says so: of the rows it is sure of, 99.5 % within 2 pixels.
"""
from dataclasses import replace

import clone
import numpy as np

clone.load()
from athwart.sample_project.simulate.floors import Floor, flat, rolling, texture  # noqa: E402
from athwart.sample_project.simulate.waterfall import Display, Noise, draw  # noqa: E402
from athwart.sample_project.simulate.ways import Steered  # noqa: E402
from athwart.survey.record.bottom_trace import trace_bottom  # noqa: E402
from athwart.survey.record.picture import Record  # noqa: E402

FIRST_SEED, RECORDS = 8001, 40
DAYS = {"fair": (2.0, 0.05, 0.01), "fishy": (15.0, 0.15, 0.02), "choppy": (4.0, 0.4, 0.03), "bad": (25.0, 0.5, 0.08)}
"""Shoals in a hundred pings, share of pings with surface clutter, share without a bottom echo."""


def ledge(u, v):
    """A bank that falls from 4 to 9 m within 8 m."""
    return 6.5 + 2.5 * np.tanh((np.asarray(v) - 40.0) / 4.0) + 0.02 * np.asarray(u)


FLOORS = {"level": flat(6.0), "swell": rolling(6.0, 1.0, slope=0.02), "slope": rolling(8.0, 0.3, 30.0, 0.0, -0.04),
          "shoal": rolling(2.5, 0.5, 50.0), "ledge": ledge}


def shares(number):
    """(day, rows, rows within 2 pixels, rows sure, rows sure and within 2 pixels) of a record."""
    seed, day = FIRST_SEED + number, list(DAYS)[number % len(DAYS)]
    fish, surface, lost = DAYS[day]
    name = list(FLOORS)[number // len(DAYS) % len(FLOORS)]
    floor = Floor(FLOORS[name], texture(seed, 0.4, shortest_m=1.5, count=12))
    noise = replace(Noise.ordinary(), fish=fish, surface=surface, lost=lost, lost_for=3 + seed % 8,
                    beam_deg=1.2 * (seed % 2), fall_off=0.3 + 0.2 * (seed % 5))
    display = Display(((0.0, 25.0), (38.0, 30.0)) if seed % 2 else ((0.0, 25.0),), half=200, rate=0.3, sound_mps=1450.0,
                      dropped=((120, 5),) if seed % 2 else (), bits=16 if seed % 3 == 0 else 8,
                      layout=("both", "both", "port", "starboard")[seed // 5 % 4])
    made = draw(Steered(((80, 1.5, 20.0 * (seed % 3)),)), floor, display, noise, seed)
    height, width = made.grey.shape
    record = Record(width=width, height=height, layout=display.layout, newest=display.newest, first_ping=0.0,
                    edge_range_m=25.0)
    edge = made.range_m[made.shown]
    stretch = np.cumsum(np.append(False, (np.diff(edge) != 0) | (np.abs(np.diff(made.shown)) > 1)))
    traced = trace_bottom(made.grey, record, stretch)
    sides = {"both": [0, 1], "port": [0], "starboard": [1]}[display.layout]
    first = (made.first[sides].min(axis=0) / made.range_m * display.displayed * display.half)[made.shown]
    near = np.abs(traced.pixels - first) <= 2
    return day, height, int(near.sum()), int(traced.sure.sum()), int((near & traced.sure).sum())


def main():
    """Print a table by day; every line of it must hold."""
    rows = [shares(number) for number in range(RECORDS)]
    fine = True
    for day in DAYS:
        mine = np.array([row[1:] for row in rows if row[0] == day])
        total, near, sure, both = mine.sum(axis=0)
        worst = 100 * (mine[:, 1] / mine[:, 0]).min()
        fine &= near >= 0.99 * total and both >= 0.995 * sure
        print(f"{day:7} {len(mine)} records, {total} rows: within 2 pixels {100 * near / total:.2f} % (worst record "
              f"{worst:.2f} %); sure {100 * sure / total:.1f} %, of these within 2 pixels {100 * both / sure:.2f} %, "
              f"of the others {100 * (near - both) / max(total - sure, 1):.0f} %")
    if not fine:
        raise SystemExit("less than 99 % of the rows lie within 2 pixels, or less than 99.5 % of those it is sure of")


if __name__ == "__main__":
    main()
