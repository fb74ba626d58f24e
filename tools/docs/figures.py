"""tools/run.sh tools.docs.figures: the guide's drawings (docs/images/*.svg), computed with the product's own code.

Needs matplotlib beside the core's packages. Run it when a formula or a default changes, and look at the result.
"""
from __future__ import annotations

import pathlib
from dataclasses import fields, replace

import matplotlib

matplotlib.use("svg")
import clone
import matplotlib.pyplot as plt
import numpy as np
from matplotlib.patches import Polygon

clone.load()
from athwart.survey.beams import ranges  # noqa: E402
from athwart.survey.model import units  # noqa: E402
from athwart.survey.planning import range_rule  # noqa: E402
from athwart.survey.targets import budget, covariance, observations  # noqa: E402
from athwart.survey.uncertainty import nadir, sigmas  # noqa: E402

IMAGES = pathlib.Path(__file__).resolve().parents[2] / "docs" / "images"
INK, GOLD, BLUE, RED, GREY = "#12384a", "#b36b00", "#0b5a80", "#b3261e", "#5b6f79"
plt.rcParams.update({"font.family": "DejaVu Sans", "font.size": 11, "axes.edgecolor": GREY, "axes.labelcolor": INK,
                     "text.color": INK, "xtick.color": INK, "ytick.color": INK, "axes.spines.top": False,
                     "axes.spines.right": False, "svg.hashsalt": "athwart", "svg.fonttype": "path"})


def save(figure, name):
    """One SVG, the same bytes each time."""
    figure.tight_layout()
    figure.savefig(IMAGES / f"{name}.svg", metadata={"Date": None, "Creator": None}, bbox_inches="tight")
    plt.close(figure)


def record():
    """Cross-section of one ping, and the row it paints."""
    depth, reach, blind, height, out = 8.0, 30.0, 20.0, 1.6, 17.0
    edge = float(ranges.ground_range(reach, depth))
    inner = float(ranges.blind_range(depth, blind))
    shadow = out * depth / (depth - height)
    figure, (side, row) = plt.subplots(2, 1, figsize=(8.6, 5.4), height_ratios=[3, 1])
    side.axhspan(-depth, 0, color="#dceaf0")
    side.axhspan(-depth - 1.5, -depth, color="#c9b48a")
    for start, stop in ((inner, out), (shadow, edge)):
        side.add_patch(Polygon([(0, 0), (start, -depth), (stop, -depth)], color="#f2d49a"))
    side.plot([0, edge], [0, -depth], color=GOLD)
    side.plot([0, 0], [0, -depth], color=INK, ls="--")
    side.add_patch(Polygon([(-1.4, 0.0), (1.4, 0.0), (1.0, -0.5), (-1.0, -0.5)], color=INK))
    side.add_patch(Polygon([(out, -depth), (out, -depth + height), (out + 0.5, -depth + height), (out + 0.5, -depth)],
                           color=RED))
    side.text(0.4, -depth / 2, "H, water under\nthe transducer", va="center", ha="left", fontsize=9)
    side.text(edge * 0.62, -depth * 0.5, "R, slant range", rotation=-13, color=GOLD, fontsize=10)
    side.annotate("", (edge, -depth - 0.8), (0, -depth - 0.8), arrowprops={"arrowstyle": "<->", "color": INK})
    side.text(edge / 2, -depth - 1.45, "G, ground range", ha="center", va="bottom", fontsize=10)
    side.text(inner / 2, -depth + 0.25, "blind", ha="center", fontsize=9, color=GREY)
    side.text((out + shadow) / 2 + 0.4, -depth + 0.25, "shadow", ha="center", fontsize=9, color=GREY)
    side.set(xlim=(-2, 31), ylim=(-depth - 1.6, 1.2))
    side.axis("off")
    slant = np.linspace(0, reach, 600)
    level = np.where(slant < depth, 0.05, 0.75 - 0.012 * slant)
    top = float(np.hypot(out, depth - height))
    end = float(np.hypot(shadow, depth))
    level = np.where((slant > top) & (slant < end), 0.05, level)
    level = np.where(np.abs(slant - top) < 0.25, 1.0, level)
    row.imshow(level[None, :], aspect="auto", cmap="gray", extent=(0, reach, 0, 1), vmin=0, vmax=1)
    row.set(yticks=[], xlabel="the row this ping paints: slant range, m", xlim=(-2, 31))
    row.text(depth / 2, 0.5, "water column", color="white", ha="center", va="center", fontsize=9)
    row.spines["left"].set_visible(False)
    save(figure, "record")


def range_budget():
    """Ground range against depth for three settings, by the rule of thumb and by the triangle."""
    figure, axes = plt.subplots(figsize=(8.6, 4.2))
    for feet, colour in ((40, GOLD), (70, BLUE), (100, RED)):
        setting = feet * units.LENGTHS["ft"]
        depth = np.linspace(0, setting, 200)
        for model, style in (("slant", "-"), ("subtract", "--")):
            axes.plot(depth / units.LENGTHS["ft"], ranges.ground_range(setting, depth, model) / units.LENGTHS["ft"],
                      style, color=colour, label=f"{feet} ft set" if model == "slant" else None)
    axes.plot([], [], "--", color=GREY, label="rule of thumb: range less depth")
    axes.set(xlabel="water under the transducer, ft", ylabel="bottom seen to each side, ft", xlim=(0, 100),
             ylim=(0, 105))
    axes.legend(frameon=False, ncol=2, loc="lower left", bbox_to_anchor=(0, 1.0))
    save(figure, "range")


def distance():
    """The ground behind the boat for the same seconds at two speeds."""
    figure, axes = plt.subplots(figsize=(8.6, 2.6))
    for y, miles_per_hour in ((1, 2.5), (0, 6)):
        ground = miles_per_hour * units.SPEEDS["mph"] * 12 / units.LENGTHS["ft"]
        axes.barh(y, ground, height=0.5, color=BLUE if y else GOLD)
        axes.text(ground + 2, y, f"{ground:.0f} ft", va="center")
    axes.set(yticks=[1, 0], yticklabels=["2.5 mph", "6 mph"], xlim=(0, 120),
             xlabel="ground behind the antenna after 12 s of screen, ft")
    save(figure, "distance")


WHY = {"range": "the record ends", "grazing": "the sound only grazes", "beam": "the beam is too wide",
       "shadow": "the record ends"}


def choose():
    """What each range shows of a thing of a metre over 4 m of water, and how fast the boat may go."""
    settings, rule = np.array([60.0, 50.0, 40.0, 30.0, 20.0, 10.0]), range_rule.RangeRule(1.0, sound_speed_mps=1500.0)
    reach = range_rule.usable_reach(settings, 4.0, rule)
    edge, inner = ranges.ground_range(settings, 4.0), float(ranges.blind_range(4.0, 20.0))
    figure, axes = plt.subplots(figsize=(8.6, 3.8))
    rows = np.arange(len(settings))
    axes.barh(rows, edge, height=0.62, color="#e3e8ea", label="on the record, but not good enough")
    axes.barh(rows, reach.far - reach.near, left=reach.near, height=0.62, color="#f2d49a", label="shows a thing of 1 m")
    axes.barh(rows, inner, height=0.62, color=GREY, label="blind, under the boat")
    for row, far, limit, speed in zip(rows, edge, reach.limit, range_rule.fastest_speed(settings, rule)):
        axes.text(far + 0.8, row, f"{WHY[str(limit)]}; at most {speed:.1f} m/s", va="center", fontsize=9)
    axes.set(yticks=rows, yticklabels=[f"{value:g} m" for value in settings], xlim=(0, 96), ylabel="range set",
             xlabel="distance from the line of the boat, m")
    axes.legend(frameon=False, ncol=3, loc="lower left", bbox_to_anchor=(-0.02, 1.0), fontsize=9)
    save(figure, "choose")


CAUSES = {"position": (INK, "-"), "heading": (RED, "-"), "timing": (BLUE, "-"), "range": (GOLD, "-"),
          "depth": (GOLD, "--"), "beam": (BLUE, ":"), "sound": (RED, ":"), "offsets": (RED, "--")}
"""Stroke of each cause that a target names."""
MIXED = {"heading": ("sigma_heading",), "offsets": ("sigma_offset", "sigma_mount", "sigma_trim")}
"""Sigmas of the causes that move a target both across and along the track; the others move it one way or all ways."""


def errors():
    """Standard deviation across and along the track by cause, against ground range; the ordinary set of errors."""
    ground, ordinary = np.linspace(2.0, 60, 600), sigmas.PRESETS["ordinary"]
    found = budget.budget(_picks(ground, ordinary), ordinary)
    total, near = found.cov[:, 0] + found.cov[:, 2], found.status == nadir.NEAR_NADIR
    figure, panels = plt.subplots(1, 2, figsize=(8.6, 4.4), sharey=True)
    for cause, (colour, dashes) in {**CAUSES, "all together": ("black", "-")}.items():
        if cause in MIXED:
            alone = replace(ordinary, **{f.name: 0.0 for f in fields(ordinary) if f.name not in MIXED[cause]})
            variances = covariance.spread(_picks(ground, alone), alone).cov[:, [0, 2]].T
        elif cause == "all together":
            variances = found.cov[:, [0, 2]].T
        else:
            share = found.shares[:, list(budget.CAUSES).index(cause)] / 100 * total
            one_way = {"timing": (0, 1), "beam": (0, 1), "position": (0.5, 0.5)}.get(cause, (1, 0))
            variances = [part * share for part in one_way]
        for axes, variance in zip(panels, variances):
            if np.nanmax(variance) > 1e-6:
                axes.plot(ground, np.sqrt(variance), dashes, color=colour,
                          lw=2.6 if cause == "all together" else 1.4, label=cause)
    for axes, title in zip(panels, ("across the track", "along the track")):
        axes.axvspan(0, ground[near][-1], color="#e8eef1")
        axes.set(title=title, xlabel="ground range, m", xlim=(0, 60), ylim=(0, 5))
    panels[0].set(ylabel="standard deviation, m")
    panels[0].text(ground[near][-1] / 2, 4.9, "near nadir", rotation=90, ha="center", va="top", fontsize=9)
    keys = {label: line for axes in panels for line, label in zip(*axes.get_legend_handles_labels())}
    order = [*CAUSES, "all together"]
    figure.legend([keys[name] for name in order], order, frameon=False, ncol=5, loc="lower center",
                  bbox_to_anchor=(0.5, -0.14), fontsize=10)
    save(figure, "errors")


def _picks(ground, errors_of, depth=6.0, speed=2.0):
    """Picks abeam of a boat that runs north by compass: east is across, north along."""
    def all_of(value):
        return np.full(len(ground), value)
    return observations.Observations(
        side=all_of(1.0), slant=ranges.slant_range(ground, depth), shadow_end=all_of(np.nan), depth=all_of(depth),
        azimuth_deg=all_of(0.0), vel_east=all_of(0.0), vel_north=all_of(speed), turn_dps=all_of(0.0),
        lever_forward=all_of(0.0), lever_starboard=all_of(0.0), course_heading=all_of(False), depth_scales=all_of(True),
        ground_reading=all_of(False), sound_speed=all_of(1475.0), sigma_bias=all_of(errors_of.sigma_bias),
        sigma_pass=all_of(errors_of.sigma_pass), sigma_jitter=all_of(errors_of.sigma_jitter),
        sigma_heading=all_of(errors_of.sigma_heading), sigma_time=all_of(errors_of.sigma_time))


if __name__ == "__main__":
    record()
    range_budget()
    choose()
    distance()
    errors()
