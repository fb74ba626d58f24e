"""Swaths against what a GIS user would do instead: time, memory, error of the area and of the gaps."""
from __future__ import annotations

import functools
import sys

import tracks
from athwart.survey.geometry import shapes
from athwart.survey.geometry.frame import Frame
from athwart.survey.swaths.draw import SwathSettings, draw_swaths, pass_unions
from stress import NAMES, brute_quads, path, whole_union

from . import madesurvey, native
from .measure import interleaved, peak_mb, print_table

__all__ = ["once", "report"]

SIZES = {3_600: 5, 18_000: 5, 180_000: 3}
"""Fixes, and how often each chain is run."""

REFERENCE_FINER = 4
"""Fixes set between two of the survey's, for the reference."""

OURS, BUFFER, QUADS = "Draw swaths", "path, buffer, dissolve", "quads, fix, dissolve"

SETTINGS = SwathSettings(merge="all", keep_turns=True)


def track_of(survey):
    """The survey as a prepared track."""
    frame = Frame(madesurvey.CRS, -93, 45)
    heading = survey.azimuth + frame.convergence(*frame.forward(survey.east, survey.north))
    return tracks.made(madesurvey.CRS, survey.east, survey.north, heading, pass_id=survey.pass_id,
                       depth_m=survey.depth, range_m=madesurvey.RANGE)


def ours(track, lake):
    """(ground seen, ground missed, SwathResult)."""
    result = draw_swaths(track, SETTINGS)
    return result.geometries[0], lake.difference(result.geometries[0]), result


def quads_joined(survey):
    """Union of every quad, pass by pass."""
    corners, pass_id = survey.quads()
    polygons = [shapes.valid(quad) for quad in shapes.polygons(corners)]
    by_pass = {}
    for number, polygon in zip(pass_id.tolist(), polygons):
        by_pass.setdefault(number, []).append(polygon)
    return shapes.union([shapes.union(group) for group in by_pass.values()])


def jobs(survey, names):
    """The chains, ready to run on data in memory."""
    lake = native.lake_layer(survey)
    data = {OURS: track_of, BUFFER: native.points_layer, QUADS: native.quads_layer}
    chains = {OURS: lambda track: ours(track, survey.lake),
              BUFFER: lambda points: native.buffered_gaps(points, lake, survey),
              QUADS: lambda quads: native.quad_gaps(quads, lake)}
    return {name: functools.partial(chains[name], data[name](survey)) for name in names}


def once(name, count):
    """One run of one chain, for its peak memory."""
    [job] = jobs(madesurvey.make().first(int(count)), (name,)).values()
    job()


def report():
    """Print the tables."""
    survey = madesurvey.make()
    print("\nSwaths of an invented survey, 1 fix a second, R 30 m, with the gaps of the lake (difference).")
    print("Time: median processor time in one process, runs interleaved, from data in memory: ours from the track's")
    print("arrays, theirs from a layer of points, or of quads already drawn (drawing them is not counted).")
    print(f"Reference: union of all quads at {REFERENCE_FINER} fixes a second. Error: symmetric difference of the "
          "ground seen,\nand area of the gaps, both in percent of the reference.\n")
    rows, ratios, last = [], [], {}
    for count, repeats in SIZES.items():
        print(f"({count} fixes, {repeats} runs each)", file=sys.stderr, flush=True)
        part = survey.first(count)
        seconds, results = interleaved(jobs(part, (OURS, BUFFER, QUADS)), repeats)
        truth = quads_joined(part.finer(REFERENCE_FINER))
        missed = part.lake.difference(truth).area
        for name in (OURS, BUFFER, QUADS):
            seen, gaps = results[name][:2]
            last[name] = 100 * (gaps.area / missed - 1)
            rows.append((f"{count} fixes, {name}", f"{seconds[name]:.2f}", f"{peak_mb(name, count):.0f}",
                         f"{100 * seen.symmetric_difference(truth).area / truth.area:.4f}", f"{last[name]:+.3f}"))
        drawn = results[OURS][2].report
        rows.append((f"  ({drawn.rings} rings, {drawn.quads} of {2 * count} quads one by one)", "", "", "", ""))
        ratios.append((count, seconds[QUADS] / seconds[OURS], seconds[OURS] / seconds[BUFFER]))
    print_table(("", "s", "peak MB", "error of area %", "error of gaps %"), rows)
    print()
    print_table(("Ratios of one run", "quads chain / ours", "ours / buffer chain"),
                [(f"{count} fixes", f"{slower:.1f}", f"{faster:.1f}") for count, slower, faster in ratios])
    print(f"\nThe buffer chain is quick and hides {-last[BUFFER]:.0f} % of the gaps of the largest survey: it paints "
          "the strip\nunder the boat, and lays a strip square to the course where the boat ran with a crab angle.")
    ruled_lines()
    exactness(survey)


def ruled_lines():
    """The buffer chain where it is at its best: a buffer leaves out vertices that lie on a straight line."""
    survey = madesurvey.make(ruled=True)
    seconds, _ = interleaved(jobs(survey, (OURS, BUFFER)), 3)
    print(f"\nThe same {len(survey)} fixes on ruled lines, as no boat runs them: {OURS} {seconds[OURS]:.2f} s, "
          f"{BUFFER} {seconds[BUFFER]:.2f} s: {seconds[OURS] / seconds[BUFFER]:.1f} times as long.")


def exactness(survey):
    """Our union against one of all quads, fix by fix."""
    rows, frame = [], Frame(madesurvey.CRS, -93, 45)
    exact = SwathSettings(thin_m=0, keep_turns=True)
    tried = [(name, *path(name)) for name in NAMES]
    tried = {name: tracks.in_frame(frame, east, north, azimuth, **columns)
             for name, east, north, azimuth, columns in tried}
    tried["5 h of the survey above"] = track_of(survey.first(18_000))
    for name, track in tried.items():
        found = pass_unions(track, exact, frame)
        wanted = brute_quads(track, frame)
        worst = 0.0
        for ground, quads in zip(found.values(), wanted.values()):
            truth = whole_union(quads)
            worst = max(worst, truth.symmetric_difference(ground).area / truth.area)
        valid = all(ground.is_valid for ground in found.values())
        rows.append((name, len(found), f"{worst:.1e}", "yes" if valid else "NO"))
    print("\nOur union of each pass against one union of all its quads (goal: 1e-12)\n")
    print_table(("track", "passes", "largest difference", "valid"), rows)
