"""What a picture shows, found without the code that drew it: SVG paths read back and filled by counting crossings."""
import re

import numpy as np


def paths(svg, fill):
    """Rings of every path in the group of that fill colour: a list of paths, each a list of (n, 2) arrays."""
    group = re.search(rf'<g fill="{fill}"[^>]*>(.*?)</g>', svg, re.S).group(1)
    return [[np.array([[float(v) for v in pair.split()] for pair in ring.split("L")])
             for ring in re.findall(r"M([^MZ]+)Z", d)] for d in re.findall(r'<path d="([^"]+)"', group)]


def crossings(rings, x, y):
    """(n,) how many edges of closed rings a ray from each point to the right crosses."""
    count = np.zeros(len(x), int)
    for ring in rings:
        for (x0, y0), (x1, y1) in zip(ring, np.roll(ring, -1, axis=0)):
            if y0 == y1:
                continue
            meets = (y0 > y) != (y1 > y)
            at = x0 + (y - y0) / (y1 - y0) * (x1 - x0)
            count += meets & (at > x)
    return count


def painted(svg, fill, x, y):
    """(n,) bool: points that some path paints, each path filled by itself with the even-odd rule (SVG 1.1, 11.3)."""
    found = np.zeros(len(x), bool)
    for rings in paths(svg, fill):
        found |= crossings(rings, x, y) % 2 == 1
    return found


def near_edge(rings, x, y, reach):
    """(n,) bool: points nearer to an edge of the rings than ``reach``."""
    found = np.zeros(len(x), bool)
    for ring in rings:
        for a, b in zip(ring, np.roll(ring, -1, axis=0)):
            step = b - a
            t = np.clip(((x - a[0]) * step[0] + (y - a[1]) * step[1]) / max(step @ step, 1e-12), 0, 1)
            found |= np.hypot(x - a[0] - t * step[0], y - a[1] - t * step[1]) < reach
    return found
