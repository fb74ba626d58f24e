"""tools/run.sh tools.docs.boat_figure: how the transducer lies on the boat, docs/images/setup.svg.

Places and depths are worked out with the product's own code. Needs matplotlib beside the core's packages.
"""
from __future__ import annotations

import clone
import matplotlib.pyplot as plt
import numpy as np
from matplotlib.patches import Arc, Circle, Polygon

from .figures import BLUE, GOLD, GREY, INK, RED, save

clone.load()
from athwart.survey.beams.pointing import Beams  # noqa: E402
from athwart.survey.depths.soundings import below_transducer  # noqa: E402

FORWARD, STARBOARD, MOUNT, LATE = -2.2, 0.55, 12.0, 2.6
"""Lever arm in metres, mount angle in degrees (far larger than on a boat), and speed times latency in metres."""
DRAFT, KEEL, SURFACE = 0.5, 0.45, 4.2
"""Metres: draft of the transducer, keel below the transducer, depth from the surface."""
DARK_GOLD = "#7d4b00"
HULL = np.array([(0.0, 2.6), (0.75, 1.2), (0.95, -0.5), (0.85, -3.0), (-0.85, -3.0), (-0.95, -0.5), (-0.75, 1.2)])


def arrow(axes, start, end, colour=INK, style="<->"):
    """A measure."""
    axes.annotate("", end, start, arrowprops={"arrowstyle": style, "color": colour, "lw": 1.3, "shrinkA": 0,
                                              "shrinkB": 0})


def from_above(axes):
    """Antenna, transducer, fan, and the fix that is late; the boat heads upwards."""
    axes.add_patch(Polygon(HULL - [0, LATE], fill=False, ec=GREY, ls="--"))
    axes.add_patch(Polygon(HULL, fc="#eef3f5", ec=INK, lw=1.5))
    beams = Beams(np.array([STARBOARD]), np.array([FORWARD]), np.array([MOUNT]),
                  *(np.array([[f(np.radians(MOUNT)), s * f2(np.radians(MOUNT))]]) for f, f2, s in
                    ((np.sin, np.cos, 1), (np.cos, np.sin, -1))))
    for side in (-1, 1):
        (end,) = beams.points(side, 4.6)
        axes.plot([STARBOARD, end[0]], [FORWARD, end[1]], color=GOLD, lw=2)
    axes.plot([STARBOARD - 4.6, STARBOARD + 4.6], [FORWARD] * 2, color=GREY, lw=0.8, ls=":")
    axes.add_patch(Arc((STARBOARD, FORWARD), 6.4, 6.4, theta1=-MOUNT, theta2=0, color=GOLD, lw=1.5))
    axes.text(3.95, FORWARD - 0.42, "mount angle\n(drawn large)", color=DARK_GOLD, va="center", ha="left", fontsize=9)
    axes.add_patch(Polygon(np.array([(-0.11, 0.42), (0.11, 0.42), (0.11, -0.42), (-0.11, -0.42)])
                           @ np.array([[np.cos(np.radians(MOUNT)), -np.sin(np.radians(MOUNT))],
                                       [np.sin(np.radians(MOUNT)), np.cos(np.radians(MOUNT))]])
                           + [STARBOARD, FORWARD], color=RED, zorder=5))
    axes.add_patch(Circle((0, 0), 0.16, color=BLUE, zorder=5))
    axes.add_patch(Circle((0, -LATE), 0.16, fill=False, ec=BLUE, lw=1.5, zorder=5))
    axes.text(0.0, 0.3, "antenna", color=BLUE, ha="center", fontsize=9)
    arrow(axes, (1.5, 0), (1.5, FORWARD))
    axes.plot([0, 1.6], [0, 0], color=INK, lw=0.6)
    axes.plot([STARBOARD, 1.6], [FORWARD] * 2, color=INK, lw=0.6)
    axes.text(1.65, FORWARD / 2, "forward of the antenna:\nhere a negative figure", va="center", fontsize=9)
    arrow(axes, (0, -3.35), (STARBOARD, -3.35))
    axes.text(0.75, -3.4, "to starboard", va="center", fontsize=9)
    arrow(axes, (-1.5, 0), (-1.5, -LATE), BLUE, "<-")
    axes.plot([-1.6, 0], [0, 0], color=BLUE, lw=0.6)
    axes.plot([-1.6, 0], [-LATE, -LATE], color=BLUE, lw=0.6)
    axes.text(-1.65, -0.45, "latency: the fix of now\nsays where the antenna was", color=BLUE, ha="right", va="center",
              fontsize=9)
    axes.text(-1.15, -LATE - 2.4, "where that fix\nputs the boat", color="#3b4f59", ha="right", va="center", fontsize=9)
    axes.text(-3.3, FORWARD + 0.2, "fan of sound", color=DARK_GOLD, fontsize=9, ha="left", rotation=-MOUNT)
    axes.set(xlim=(-5.2, 5.4), ylim=(-6.0, 3.2), aspect="equal", title="From above")
    axes.axis("off")


def from_the_side(axes):
    """Draft, and the three depths that a sounder may show."""
    axes.axhspan(-SURFACE, 0, color="#dceaf0", lw=0)
    axes.axhspan(-SURFACE - 0.6, -SURFACE, color="#c9b48a", lw=0)
    keel = DRAFT + KEEL
    axes.add_patch(Polygon([(-3.0, 0.9), (3.2, 1.0), (2.2, -0.35), (1.0, -0.45), (0.8, -keel), (-1.6, -keel),
                            (-1.8, -0.45), (-3.0, -0.4)], fc="#eef3f5", ec=INK, lw=1.5))
    axes.plot([-4.2, 4.4], [0, 0], color=BLUE, lw=1)
    axes.add_patch(Polygon([(-2.95, -DRAFT + 0.1), (-2.4, -DRAFT + 0.1), (-2.4, -DRAFT), (-2.95, -DRAFT)], color=RED))
    axes.text(-3.15, -DRAFT, "transducer", color=RED, ha="right", va="center", fontsize=9)
    arrow(axes, (-2.1, 0), (-2.1, -DRAFT))
    axes.plot([-2.7, -2.0], [-DRAFT, -DRAFT], color=INK, lw=0.6)
    axes.text(-2.02, -DRAFT / 2 - 0.02, "draft", va="center", fontsize=9)
    offsets = {"surface": (3.6, 0.0), "keel": (-0.4, keel), "transducer": (-2.7, DRAFT)}
    shown = {"surface": SURFACE, "keel": SURFACE - keel, "transducer": SURFACE - DRAFT}
    under = {kind: below_transducer(np.array([depth]), np.array([kind]), np.array([np.nan]), DRAFT, KEEL)
             for kind, depth in shown.items()}
    for kind, (x, top) in offsets.items():
        arrow(axes, (x, -top), (x, -SURFACE), RED if kind == "transducer" else INK)
        axes.text(x + 0.1, -SURFACE + 0.75, f"from the\n{kind}\n{shown[kind]:.1f} m", fontsize=9, va="center",
                  color=RED if kind == "transducer" else INK)
    assert all(abs(float(np.ravel(found)[0]) - shown["transducer"]) < 1e-9 for found in under.values()), under
    axes.text(0.7, -SURFACE - 0.32, "all three: 3.7 m of water under the transducer", ha="center", va="center",
              fontsize=9)
    axes.set(xlim=(-5.0, 5.0), ylim=(-SURFACE - 0.7, 1.6), aspect="equal", title="From the side: where depths begin")
    axes.axis("off")


def main():
    figure, axes = plt.subplots(2, 1, figsize=(8.2, 9.4), height_ratios=[9.2, 6.5])
    from_above(axes[0])
    from_the_side(axes[1])
    save(figure, "setup")


if __name__ == "__main__":
    main()
