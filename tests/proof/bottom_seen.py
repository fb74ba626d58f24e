"""The map of bottom seen against a continuous beam: bisection for the moment, a march of 2 cm for what is in the way.

An hour and five hours of an invented survey at one fix a second over a floor with bumps, and the first 40 minutes over
a floor with fifteen times as many, of which a good part lies in shadow.
"""
import sys

from bench import lakefloor, madesurvey, terrain


def main():
    verdicts, fixes = terrain.Verdicts(), madesurvey.make(50.0)
    floor = lakefloor.make()
    for hours in (1, 5):
        terrain.against_a_continuous_beam(floor, fixes.first(hours * 3600), hours, verdicts)
    print("the same over fifteen times as many bumps:")
    terrain.against_a_continuous_beam(lakefloor.make(6, 900_000), fixes.first(2400), 0.67, verdicts, 5000)
    return 0 if verdicts.good else 1


if __name__ == "__main__":
    sys.exit(main())
