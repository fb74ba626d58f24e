"""Seeded lakes to plan on, and what plans of them see, counted by brute force; shares no code with ``survey``."""
import numpy as np
import shapely.geometry as sg

CRS = "EPSG:32632"
EAST, NORTH = 500_000.0, 5_300_000.0
RANGE_M, BLIND_DEG = 30.0, 20.0
CELL_M = 5.0


class Lake:
    """A lake in UTM metres: ``polygon`` with islands and often a neck, depths on a grid, falling to a deep of its own.

    ``depths`` (rows, columns), south to north; ``x0``, ``y0`` the middle of the first cell.
    """

    def __init__(self, seed, size=280.0):
        rng = np.random.default_rng([4711, seed])
        size = size * rng.uniform(0.7, 1.3)
        body = self._blob(rng, size, rng.uniform(1.0, 2.2))
        if rng.random() < 0.5:  # a second basin behind a neck
            turn = rng.uniform(0, 2 * np.pi)
            away = np.array([np.cos(turn), np.sin(turn)]) * size * rng.uniform(1.5, 2.1)
            other = self._blob(rng, size * rng.uniform(0.5, 0.8), rng.uniform(1.0, 1.5))
            other = sg.Polygon(np.asarray(other.exterior.coords) + away)
            neck = sg.LineString([(0, 0), tuple(away)]).buffer(size * rng.uniform(0.12, 0.25))
            body = body.union(other).union(neck).buffer(-4).buffer(8).buffer(-4)
        for _ in range(rng.integers(0, 4)):
            x0, y0, x1, y1 = body.bounds
            middle = sg.Point(rng.uniform(x0, x1), rng.uniform(y0, y1))
            island = self._blob(rng, size * rng.uniform(0.05, 0.16), 1.3, 40)
            island = sg.Polygon(np.asarray(island.exterior.coords) + np.array([middle.x, middle.y]))
            if body.buffer(-25).contains(island):
                body = body.difference(island)
        if body.geom_type != "Polygon":
            body = max(body.geoms, key=lambda part: part.area)
        moved = [[np.asarray(ring.coords) + (EAST, NORTH) for ring in rings]
                 for rings in ([body.exterior], body.interiors)]
        self.polygon = sg.Polygon(moved[0][0], moved[1])
        x0, y0, x1, y1 = self.polygon.bounds
        self.x0, self.y0 = x0 - 30, y0 - 30
        x, y = np.arange(self.x0, x1 + 35, CELL_M), np.arange(self.y0, y1 + 35, CELL_M)
        deepest, shelf = rng.uniform(8, 24), rng.uniform(40, 150)
        shore = np.concatenate([np.asarray(self.polygon.segmentize(8.0).exterior.coords) if hasattr(
            self.polygon, "segmentize") else _dense(self.polygon.exterior, 8.0),
            *[_dense(ring, 8.0) for ring in self.polygon.interiors]])
        gx, gy = np.meshgrid(x, y)
        away = _nearest(np.column_stack([gx.ravel(), gy.ravel()]), shore).reshape(gx.shape)
        self.depths = 1.0 + (deepest - 1.0) * (1 - np.exp(-away / shelf))
        for _ in range(rng.integers(0, 3)):  # shoals
            cx, cy = rng.uniform(x[0], x[-1]), rng.uniform(y[0], y[-1])
            self.depths -= rng.uniform(2, 12) * np.exp(-((gx - cx) ** 2 + (gy - cy) ** 2) / rng.uniform(15, 40) ** 2)
        self.depths = np.maximum(self.depths, 0.3)

    @staticmethod
    def _blob(rng, size, stretch, corners=160):
        t = np.linspace(0, 2 * np.pi, corners, endpoint=False)
        r = 1 + sum(rng.normal(0, 0.3 / k) * np.cos(k * t + rng.uniform(0, 2 * np.pi)) for k in range(2, 7))
        r = np.clip(r, 0.35, 2.0)
        turn = rng.uniform(0, np.pi)
        xy = size * np.column_stack([stretch * r * np.cos(t), r * np.sin(t)])
        return sg.Polygon(xy @ np.array([[np.cos(turn), np.sin(turn)], [-np.sin(turn), np.cos(turn)]])).buffer(0)

    @property
    def transform(self):
        """As GDAL has it, for ``depths`` as they are (south row first)."""
        return (self.x0 - CELL_M / 2, CELL_M, 0.0, self.y0 - CELL_M / 2, 0.0, CELL_M)

    def depth_at(self, xy):
        """Bilinear depth."""
        c, r = (np.asarray(xy) - (self.x0, self.y0)).T / CELL_M
        c0, r0 = (np.clip(np.floor(v), 0, n - 2).astype(int) for v, n in zip((c, r), self.depths.shape[::-1]))
        fc, fr, d = c - c0, r - r0, self.depths
        return ((1 - fr) * ((1 - fc) * d[r0, c0] + fc * d[r0, c0 + 1])
                + fr * ((1 - fc) * d[r0 + 1, c0] + fc * d[r0 + 1, c0 + 1]))

    def places(self, count, seed=0):
        """About so many places on the water, one at random in each cell of a grid."""
        rng = np.random.default_rng([4712, seed])
        x0, y0, x1, y1 = self.polygon.bounds
        cell = np.sqrt(self.polygon.area / count)
        corner = np.stack(np.meshgrid(np.arange(x0, x1, cell), np.arange(y0, y1, cell)), axis=-1).reshape(-1, 2)
        found = corner + cell * rng.uniform(0, 1, corner.shape)
        return found[inside(self.polygon, found)]


def inside(polygon, xy):
    """Even-odd test of (n, 2) places against every ring, by crossings."""
    found = np.zeros(len(xy), bool)
    for ring in (polygon.exterior, *polygon.interiors):
        v = np.asarray(ring.coords)
        for (xa, ya), (xb, yb) in zip(v[:-1], v[1:]):
            if ya == yb:
                continue
            rows = (xy[:, 1] >= min(ya, yb)) & (xy[:, 1] < max(ya, yb))
            found[rows] ^= xy[rows, 0] < xa + (xy[rows, 1] - ya) * (xb - xa) / (yb - ya)
    return found


def _dense(ring, step):
    length = ring.length
    return np.array([ring.interpolate(d).coords[0] for d in np.arange(0, length, step)])


def _nearest(xy, others):
    found = np.empty(len(xy))
    for first in range(0, len(xy), 2000):
        part = xy[first:first + 2000]
        found[first:first + 2000] = np.sqrt(((part[:, None] - others[None]) ** 2).sum(axis=2).min(axis=1))
    return found


class Counter:
    """Which of some places beams see that are laid off square to straight pieces of way; land ends a beam."""

    def __init__(self, lake, places, range_m=RANGE_M, blind_deg=BLIND_DEG):
        self.lake, self.places, self.range_m, self.blind = lake, places, range_m, np.tan(np.radians(blind_deg))
        self.edges = [(np.asarray(r.coords)[:-1], np.asarray(r.coords)[1:])
                      for r in (lake.polygon.exterior, *lake.polygon.interiors)]

    def seen(self, ways, draw=None, ranges=None):
        """(k,) int: how many of the ways see each place.

        ``ways``: list of (n, 2) arrays. ``draw``: dict of errors of a run, see ``drawn_run``, or None.
        """
        count = np.zeros(len(self.places), int)
        for number, way in enumerate(ways):
            range_m = self.range_m if ranges is None else ranges[number]
            count += self._one(np.asarray(way, float), range_m, None if draw is None else draw(number))
        return count

    def _one(self, way, range_m, error):
        way = dense_way(way)
        step = np.diff(way, axis=0)
        course = np.unwrap(np.arctan2(step[:, 0], step[:, 1]))
        middle = np.concatenate([course[:1], (course[1:] + course[:-1]) / 2, course[-1:]])
        if len(way) > 3 and np.allclose(way[0], way[-1]):
            bend = (course[0] - course[-1] + np.pi) % (2 * np.pi) - np.pi
            middle[0], middle[-1] = course[0] - bend / 2, course[-1] + bend / 2
        turn = slant = deeper = stretch = 0.0
        true = way
        if error is not None:
            run = np.concatenate([[0.0], np.cumsum(np.hypot(*step.T))])
            side = np.column_stack([np.cos(middle), -np.sin(middle)])
            ahead = np.column_stack([np.sin(middle), np.cos(middle)])
            true = (way + error["shift"] + side * (error["starboard"] + error["wander"](run))[:, None]
                    + ahead * error["forward"])
            turn, slant, deeper, stretch = (error[k] for k in ("turn", "range", "depth", "sound"))
        depth = self.lake.depth_at(way)
        normal = np.column_stack([np.cos(middle + turn), -np.sin(middle + turn)])
        real_range, real_depth = (range_m + slant) * (1 + stretch), np.maximum(depth + deeper, 0.05)
        outer = np.sqrt(np.maximum(real_range ** 2 - real_depth ** 2, 0))
        inner = self.blind * real_depth
        hit = np.zeros(len(self.places), bool)
        low = true.min(axis=0) - outer.max() - 5
        high = true.max(axis=0) + outer.max() + 5
        near = np.flatnonzero(((self.places > low) & (self.places < high)).all(axis=1))
        for i in range(len(way) - 1):
            a, b = true[i], true[i + 1]
            reach = max(outer[i], outer[i + 1]) + 1
            box_low, box_high = np.minimum(a, b) - reach, np.maximum(a, b) + reach
            p = near[((self.places[near] > box_low) & (self.places[near] < box_high)).all(axis=1)]
            p = p[~hit[p]]
            if not len(p):
                continue
            xy = self.places[p]
            # the beam that meets a place: share s of the piece at which it lies square to the turning heading
            s = np.full(len(p), 0.5)
            for _ in range(6):
                at = a + s[:, None] * (b - a)
                n = normal[i] + s[:, None] * (normal[i + 1] - normal[i])
                f = np.column_stack([-n[:, 1], n[:, 0]])
                off = ((xy - at) * f).sum(axis=1)
                slope = -((b - a) * f).sum(axis=1) + ((xy - at) * np.column_stack(
                    [-(normal[i + 1] - normal[i])[1] * np.ones(len(p)),
                     (normal[i + 1] - normal[i])[0] * np.ones(len(p))])).sum(axis=1)
                s = np.clip(s - off / np.where(np.abs(slope) < 1e-9, -1e-9, slope), -1, 2)
            across = ((xy - (a + s[:, None] * (b - a))) * n).sum(axis=1) / np.hypot(*n.T)
            far = outer[i] + s * (outer[i + 1] - outer[i])
            close = inner[i] + s * (inner[i + 1] - inner[i])
            good = (s >= 0) & (s < 1) & (np.abs(across) >= close) & (np.abs(across) <= far)
            bend = (middle[i + 1] - middle[i]) / max(np.hypot(*(b - a)), 1e-9)
            good &= across * bend < 1  # on the inner side of a turn nothing counts beyond its centre
            if good.any():
                clear = ~self._crossed((a + s[:, None] * (b - a))[good], xy[good])
                hit[p[np.flatnonzero(good)[clear]]] = True
        return hit

    def _crossed(self, a, b):
        """True where the straight way from a to b meets the shore."""
        found = np.zeros(len(a), bool)
        low, high = np.minimum(a, b).min(axis=0), np.maximum(a, b).max(axis=0)
        for start, end in self.edges:
            some = (np.maximum(start, end) >= low).all(axis=1) & (np.minimum(start, end) <= high).all(axis=1)
            p, r = start[some], (end - start)[some]
            if not len(p):
                continue
            d = (b - a)[:, None]
            cross = d[..., 0] * r[:, 1] - d[..., 1] * r[:, 0]
            off = p[None] - a[:, None]
            with np.errstate(divide="ignore", invalid="ignore"):
                t = (off[..., 0] * r[:, 1] - off[..., 1] * r[:, 0]) / cross
                u = (off[..., 0] * d[..., 1] - off[..., 1] * d[..., 0]) / cross
            found |= ((t > 1e-9) & (t < 1) & (u >= 0) & (u <= 1)).any(axis=1)
        return found


def dense_way(way, step=20.0):
    """A way with further vertices, at most ``step`` apart."""
    length = np.hypot(*np.diff(way, axis=0).T)
    pieces = np.maximum(1, np.ceil(length / step)).astype(int)
    edge = np.repeat(np.arange(len(length)), pieces)
    share = (np.arange(len(edge)) - np.repeat(np.cumsum(pieces) - pieces, pieces)) / pieces[edge]
    return np.vstack([way[edge] + share[:, None] * (way[edge + 1] - way[edge]), way[-1:]])


def drawn_run(seed, wander=2.0, speed=2.0, depth_sigma=0.2):
    """Errors of a run, by the sigmas of the design's error budget: a function of the line's number."""
    rng = np.random.default_rng([4713, seed])
    bias, latency = rng.normal(0, 2.0, 2), rng.normal(0, 0.5)
    mount, forward, starboard = rng.normal(0, np.radians(2)), rng.normal(0, 0.3), rng.normal(0, 0.3)
    trim, deeper, sound = rng.normal(0, np.radians(2)), rng.normal(0, depth_sigma), rng.normal(0, 15 / 1450)

    def of(number):
        own = np.random.default_rng([4714, seed, number])
        knots = np.arange(0, 20_000, 10.0)
        kept = np.exp(-10 / 100.0)
        noise = own.normal(size=len(knots)) * np.sqrt(1 - kept ** 2)
        noise[0] = own.normal()
        walk = np.empty(len(knots))
        walk[0] = noise[0]
        for k in range(1, 400):
            walk[k] = kept * walk[k - 1] + noise[k]
        walk[400:] = walk[399]
        return {"shift": bias + own.normal(0, 0.5, 2), "starboard": starboard,
                "forward": speed * latency + forward + 8.0 * np.tan(trim),
                "turn": mount + own.normal(0, np.radians(3)), "range": own.normal(0, 0.3), "depth": deeper,
                "sound": sound, "wander": lambda run: wander * np.interp(run, knots, walk)}
    return of


def parallel_lines(water, azimuth_deg, spacing):
    """Equal-spacing lines over a polygon, cut at it: list of (2, 2) arrays."""
    a = np.radians(azimuth_deg)
    along, across = np.array([np.sin(a), np.cos(a)]), np.array([np.cos(a), -np.sin(a)])
    xy = np.concatenate([np.asarray(p.exterior.coords) for p in getattr(water, "geoms", [water])])
    v = xy @ across
    # as many lines as it takes, the first and the last equally far from the edge
    count = max(1, int(np.ceil(np.ptp(v) / spacing)))
    first = v.min() + (np.ptp(v) - (count - 1) * spacing) / 2
    at = first + np.arange(count) * spacing
    rings = [np.asarray(ring.coords) for p in getattr(water, "geoms", [water]) for ring in (p.exterior, *p.interiors)]
    start, end = (np.concatenate([ring[a:b] for ring in rings]) for a, b in ((None, -1), (1, None)))
    v0, v1, u0, u1 = start @ across, end @ across, start @ along, end @ along
    edge, line = np.nonzero((v0[:, None] <= at) != (v1[:, None] <= at))
    met = u0[edge] + (at[line] - v0[edge]) / (v1[edge] - v0[edge]) * (u1[edge] - u0[edge])
    order = np.lexsort((met, line))  # in and out of the water by turns
    line, met = line[order].reshape(-1, 2)[:, 0], met[order].reshape(-1, 2)
    return [np.outer(ends, along) + at[k] * across for k, ends in zip(line, met) if ends[1] - ends[0] > 5]


class ParallelCounter:
    """Share that equal-spacing lines of one azimuth see of some places, quickly: no land in between, which favours
    them."""

    def __init__(self, lake, water, places, range_m=RANGE_M, blind_deg=BLIND_DEG):
        self.lake, self.water, self.places = lake, water, places
        self.range_m, self.blind = range_m, np.tan(np.radians(blind_deg))

    def share(self, azimuth_deg, lines):
        """Of lines as ``parallel_lines`` has them."""
        a = np.radians(azimuth_deg)
        along, across = np.array([np.sin(a), np.cos(a)]), np.array([np.cos(a), -np.sin(a)])
        u, v = self.places @ along, self.places @ across
        order = np.argsort(v)
        hit = np.zeros(len(v), bool)
        for line in lines:
            (u0, u1), at = np.sort(line @ along), float(line[0] @ across)
            low, high = np.searchsorted(v[order], [at - self.range_m, at + self.range_m])
            some = order[low:high]
            some = some[~hit[some] & (u[some] >= u0) & (u[some] <= u1)]
            if not len(some):
                continue
            depth = self.lake.depth_at(np.outer(u[some], along) + at * across)
            away = np.abs(v[some] - at)
            far = np.sqrt(np.maximum(self.range_m ** 2 - depth ** 2, 0))
            hit[some] |= (away >= self.blind * depth) & (away <= far)
        return hit.mean()

    def widest(self, azimuth_deg, target):
        """(lines, spacing) of the widest spacing (m) that sees at least ``target`` of the places, to 1.5 %."""
        low, high = 4.0, 2.0 * self.range_m
        found = parallel_lines(self.water, azimuth_deg, low)
        for _ in range(7):
            spacing = np.sqrt(low * high)
            lines = parallel_lines(self.water, azimuth_deg, spacing)
            if self.share(azimuth_deg, lines) >= target:
                found, low = lines, spacing
            else:
                high = spacing
        return found, low


def length_of(lines):
    """Summed length (m)."""
    return float(sum(np.hypot(*np.diff(line, axis=0).T).sum() for line in lines))
