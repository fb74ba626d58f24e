"""Ground seen by at least one, two, three ... passes: exact overlay, quick where passes run side by side."""
from __future__ import annotations

from ..model import patience
from . import shapes

__all__ = ["disjoint_groups", "joined_levels", "levels", "merged"]


def disjoint_groups(geometries):
    """Polygons sorted into groups whose members do not even touch each other.

    Greedy colouring of the graph 'intersects', the largest first: lines run side by side need two groups, and what
    joins them at their ends one or two more, so that a union becomes a few overlays of whole groups instead of one for
    every pair of neighbours.

    Parameters
    ----------
    geometries : list of shapely polygons
        Empty ones are left out.

    Returns
    -------
    list of lists of shapely polygons

    Examples
    --------
    >>> from shapely.geometry import box
    >>> from athwart.geometry.overlap import disjoint_groups
    >>> [len(group) for group in disjoint_groups([box(0, 0, 2, 1), box(1, 0, 3, 1), box(9, 0, 10, 1)])]
    [2, 1]
    """
    geometries = sorted((g for g in geometries if not g.is_empty), key=lambda g: -g.area)
    tree = shapes.Tree(geometries)
    colour, groups = [], []
    for position, geometry in enumerate(geometries):
        patience.look()
        taken, ready = set(), shapes.prepared(geometry)
        for i in tree.boxed(geometry).tolist():  # one neighbour of each colour is enough
            if i < position and colour[i] not in taken and ready.intersects(geometries[i]):
                taken.add(colour[i])
        mine = next(c for c in range(len(taken) + 1) if c not in taken)
        colour.append(mine)
        if mine == len(groups):
            groups.append([])
        groups[mine].append(geometry)
    return groups


def levels(looks, depth):
    """Ground seen by at least 1, 2 ... ``depth`` looks.

    Parameters
    ----------
    looks : list of shapely polygons
        One for each look (both sides of one pass are one look), in one plane.
    depth : int
        How many levels are wanted, at least 1.

    Returns
    -------
    list of ``depth`` shapely polygons
        Each lies inside the one before.

    Examples
    --------
    >>> from shapely.geometry import box
    >>> from athwart.geometry.overlap import levels
    >>> [level.area for level in levels([box(0, 0, 2, 1), box(1, 0, 3, 1)], 2)]
    [3.0, 1.0]
    """
    stacks = [[shapes.collected(group)] + [shapes.empty()] * (depth - 1) for group in disjoint_groups(looks)]
    return joined_levels(stacks, depth)


def merged(polygons):
    """Union of polygons: several times quicker than one unary union where they lie in long strips side by side.

    Examples
    --------
    >>> from shapely.geometry import box
    >>> from athwart.geometry.overlap import merged
    >>> merged([box(0, 0, 2, 1), box(1, 0, 3, 1)]).area
    3.0
    """
    polygons = [polygon for polygon in polygons if not polygon.is_empty]
    return shapes.polygonal(polygons[0]) if len(polygons) == 1 else levels(polygons, 1)[0]


def joined_levels(stacks, depth):
    """Levels of several independent sets of looks taken together.

    Parameters
    ----------
    stacks : list of lists of ``depth`` shapely polygons
        The levels of each set.

    Returns
    -------
    list of ``depth`` shapely polygons
        Level n is the union, over i + j = n, of what one set saw i times and the other j times.

    Examples
    --------
    >>> from shapely.geometry import box
    >>> from athwart.geometry.overlap import joined_levels
    >>> from athwart.geometry.overlap import levels
    >>> one, other = levels([box(0, 0, 2, 1)], 2), levels([box(1, 0, 3, 1)], 2)
    >>> [level.area for level in joined_levels([one, other], 2)]
    [3.0, 1.0]
    """
    if not stacks:
        return [shapes.empty()] * depth
    while len(stacks) > 1:
        pairs = [_pair(a, b, depth) for a, b in zip(stacks[::2], stacks[1::2])]
        stacks = pairs + ([stacks[-1]] if len(stacks) % 2 else [])
    return [shapes.polygonal(level) for level in stacks[0]]


def _pair(a, b, depth):
    merged = []
    for n in range(1, depth + 1):
        level = patience.heard(a[n - 1].union, b[n - 1])
        for i in range(1, n):
            if not a[i - 1].is_empty and not b[n - i - 1].is_empty:
                both = patience.heard(a[i - 1].intersection, b[n - i - 1])
                # edges that only touch come as lines, and GEOS gives up its care for rounding where polygons and lines
                # are mixed: such a union failed on a real edge
                level = patience.heard(level.union, shapes.polygonal(both))
        merged.append(shapes.polygonal(level))
    return merged
