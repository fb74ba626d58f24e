"""Objects of known size as a reader would mark them on a record, with errors drawn; plane geometry of its own."""
import numpy as np
import tracks
from athwart.survey.record.object_readings import ObjectReadings
from waterfalls import EAST, LOCAL, NORTH

APART_S = 60.0
FOOT = np.radians(1.5)


def drawn(count, speed, seed, jitter=0.5, position=2.1213, heading=3.0, mount=2.0, depth=0.2, sound=15.0,
          pixel=1.0, rate=8.0, long=(2.0, 10.0), wide=(0.5, 2.5), high=(0.4, 1.5), off=(9.0, 22.0)):
    """A straight way past ``count`` boxes, a minute apart, with the errors (one sigma) that the reader does not
    know; ``position``: what the track says of its positions in all; ``long``, ``wide``, ``high``, ``off``: sizes and
    ground ranges (m), spread evenly between two values.

    Returns
    -------
    (Track, ObjectReadings, dict of truths)
    """
    rng = np.random.default_rng(seed)
    bed, c = 6.0, 1450.0
    t = np.arange(0, count * APART_S, 1.0)
    owner = (t // APART_S).astype(int)
    turned = rng.normal(0, np.hypot(heading, mount), count)
    x = EAST + rng.normal(0, jitter, len(t))
    y = NORTH + speed * (t - t.mean()) + rng.normal(0, jitter, len(t))
    track = tracks.made(LOCAL, x, y, turned[owner] % 360, t_s=1.7e9 + t, record_ping=rate * t, speed_mps=speed,
                        course_deg=0.0, depth_m=bed, range_m=40.0, sound_speed_mps=c, sigma_heading_deg=heading,
                        sigma_pos_m=position)
    middle = (np.arange(count) + 0.5) * APART_S + rng.uniform(-2, 2, count)
    truth = {"length": rng.uniform(*long, count), "width": rng.uniform(*wide, count),
             "height": rng.uniform(*high, count), "lies": np.radians(rng.uniform(-60, 60, count))}
    side, ground = rng.choice([-1, 1], count), rng.uniform(*off, count)
    unit = np.column_stack([np.sin(truth["lies"]), np.cos(truth["lies"])])  # to the boat's side, ahead
    normal = np.column_stack([unit[:, 1], -unit[:, 0]])
    foot = 2 * np.hypot(ground, bed) * np.tan(FOOT / 2) * rng.uniform(0.5, 1.5, count)
    end = truth["length"][:, None] / 2 * unit + np.column_stack([0 * foot, foot / 2])
    wide = (truth["width"] + foot * np.abs(unit[:, 0])) / 2
    edge = wide[:, None] * normal  # normal points away from the boat
    lift = {"begin": rng.uniform(0, 1, count), "near": rng.uniform(0, 1, count), "far": rng.uniform(0.5, 1, count)}
    lift["end"] = lift["begin"]
    stretch = 1 + rng.normal(0, sound / c, count)
    said = {}
    column = 0.05
    for point, away in (("begin", -end), ("end", end), ("near", -edge), ("far", edge)):
        out = ground + away[:, 0]
        slant = np.hypot(out, bed - lift[point] * truth["height"]) / stretch
        said[f"{point}_m"] = slant + rng.normal(0, pixel * column, count)
        read = rng.normal(0, pixel, count) + rng.uniform(-0.5, 0.5, count)
        said[point] = (middle + away[:, 1] / speed) * rate + read
    top = ground + truth["width"] / 2
    start = np.hypot(top, bed - truth["height"])
    said["shadow_start_m"] = start / stretch + rng.normal(0, pixel * column, count)
    said["shadow_end_m"] = start * bed / (bed - truth["height"]) / stretch + rng.normal(0, pixel * column, count)
    readings = ObjectReadings.of(
        count, side=side, depth_m=bed / stretch + rng.normal(0, depth, count), sigma_count=np.full(count, pixel),
        sigma_slant_m=np.full(count, pixel * column), row_count=np.ones(count), column_m=np.full(count, column), **said)
    return track, readings, truth
