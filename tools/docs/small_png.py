"""tools/run.sh tools.docs.small_png SOURCE TARGET [WIDTH]: a picture with few colours, for the guide.

Needs Pillow, which `tools/setup.sh docs` brings with matplotlib.
"""
from __future__ import annotations

import sys

from PIL import Image


def of_few_colours(picture, count=160):
    """A picture with a palette: three quarters of it for what there is much of, the rest for strong marks."""
    common = 3 * count // 4
    many = picture.quantize(common, Image.Quantize.MEDIANCUT)
    rare = picture.quantize(count - common, Image.Quantize.MAXCOVERAGE)  # the marks: few pixels, strong colours
    palette = Image.new("P", (1, 1))
    palette.putpalette(many.getpalette()[:3 * common] + rare.getpalette()[:3 * (count - common)])
    return picture.quantize(palette=palette, dither=Image.Dither.NONE)


def main():
    source, target = sys.argv[1:3]
    picture = Image.open(source).convert("RGB")
    width = int(sys.argv[3]) if len(sys.argv) > 3 else picture.width
    if picture.width > width:
        picture = picture.resize((width, round(picture.height * width / picture.width)), Image.Resampling.LANCZOS)
    of_few_colours(picture).save(target, optimize=True)


if __name__ == "__main__":
    main()
