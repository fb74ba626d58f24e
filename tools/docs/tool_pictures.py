"""tools/run.sh tools.docs.tool_pictures [TOOL...]: a picture for each tool's page, docs/images/tools/<id>.png.

What is given stands on the left, what the tool makes of it on the right, both in the product's styles, computed from
the sample with the product's code. Needs QGIS and Pillow, and Chromium for tools that write pages. Look at the result.
"""
from __future__ import annotations

import pathlib
import sys
import tempfile

from .. import inside

IMAGES = pathlib.Path(__file__).resolve().parents[2] / "docs" / "images" / "tools"


def main():
    """Draw all, or those that are named."""
    kept = inside.qgis(window=True), inside.processing()
    from athwart.algorithms import tool_classes

    from . import frame, tool_scenes, workbench

    IMAGES.mkdir(parents=True, exist_ok=True)
    tools = [tool.ID for tool in tool_classes()]
    for old in {path for path in IMAGES.glob("*.png") if path.stem not in tools}:
        old.unlink()
    bench = workbench.Workbench(pathlib.Path(tempfile.mkdtemp()))
    for tool in sys.argv[1:] or tools:
        given, made = tool_scenes.scene(bench, tool)
        if given is None or made is None:
            print(f"{tool}: kept as it is, since there is no Chromium to photograph its page with")
            continue
        frame.put_together(given, made, IMAGES / f"{tool}.png")
    size = sum(path.stat().st_size for path in IMAGES.glob("*.png"))
    print(f"{len(list(IMAGES.glob('*.png')))} pictures, {size / 1000:.0f} kB in {IMAGES}")
    del kept
    inside.leave()


if __name__ == "__main__":
    main()
