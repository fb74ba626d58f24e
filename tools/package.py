#!/usr/bin/env python3
"""tools/package.py [athwart.zip]: the plugin as QGIS installs it, one top folder, an allow-list, reproducible."""
from __future__ import annotations

import configparser
import pathlib
import subprocess
import sys
import zipfile

ROOT = pathlib.Path(__file__).resolve().parents[1]
KEEP = {"__init__.py", "metadata.txt", "LICENSE", "README.md", "CHANGELOG.md", "plugin", "algorithms", "survey",
        "sample_project", "docs"}
NEEDED = ("name", "description", "version", "qgisMinimumVersion", "author", "email", "about", "tracker", "repository",
          "hasProcessingProvider", "icon")
LIMIT = 25_000_000  # bytes, the public repository's rule
EPOCH = (2020, 1, 1, 0, 0, 0)


def metadata():
    """The general section of metadata.txt; ends the program when it is incomplete."""
    parser = configparser.ConfigParser(interpolation=None)
    parser.read(ROOT / "metadata.txt", encoding="utf-8")
    general = dict(parser["general"])
    missing = [key for key in NEEDED if not general.get(key.lower(), "").strip()]
    if missing or not (ROOT / "LICENSE").exists():
        sys.exit(f"metadata.txt lacks {', '.join(missing)}" if missing else "There is no LICENSE")
    return general


def shipped():
    """Files of the plugin: what git knows or would add, on the allow-list, no hidden or compiled file."""
    listed = subprocess.run(["git", "-C", str(ROOT), "ls-files", "-z", "--cached", "--others", "--exclude-standard"],
                            check=True, capture_output=True).stdout.decode().split("\0")
    paths = sorted({pathlib.PurePosixPath(name) for name in listed if name})
    return [path for path in paths if path.parts[0] in KEEP and path.suffix not in (".pyc", ".zip")
            and not any(part.startswith(".") for part in path.parts) and (ROOT / path).is_file()]


def main():
    destination = pathlib.Path(sys.argv[1] if len(sys.argv) > 1 else ROOT / "athwart.zip")
    general = metadata()
    files = shipped()
    with zipfile.ZipFile(destination, "w", zipfile.ZIP_DEFLATED, compresslevel=9) as archive:
        for path in files:
            info = zipfile.ZipInfo(f"athwart/{path}", EPOCH)
            info.external_attr = 0o644 << 16
            info.compress_type = zipfile.ZIP_DEFLATED
            archive.writestr(info, (ROOT / path).read_bytes())
    size = destination.stat().st_size
    if size > LIMIT:
        sys.exit(f"{destination} has {size} bytes; the limit is {LIMIT}")
    print(f"{destination}: {len(files)} files, {size} bytes, version {general['version']}")


if __name__ == "__main__":
    main()
