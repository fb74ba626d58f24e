#!/usr/bin/env python3
"""tools/typed.py: mypy over the code that meets QGIS, against QGIS's own types, at both ends of what is supported.

3.22 on PyQt5 shows names that are too new, 3.44 retargeted to PyQt6 shows what QGIS 4 does without. The types come
from Debian's packages, on the host or in the chroots of tools/matrix.sh; mypy and PyQt's types from PyPI into the cache
$CACHE. What cannot be run is NOT RUN, and why.
"""
from __future__ import annotations

import os
import pathlib
import re
import shutil
import subprocess
import sys
import tempfile

ROOT = pathlib.Path(__file__).resolve().parents[1]
CACHE = pathlib.Path(os.environ.get("CACHE") or pathlib.Path(
    os.environ.get("XDG_CACHE_HOME") or pathlib.Path.home() / ".cache", "athwart-matrix"))
ENDS = (("bookworm", "QGIS 3.22 on PyQt5", "PyQt5"), ("forky", "QGIS 3.44 on PyQt6", "PyQt6"))
PACKAGES = ("PyQt6==6.9.1", "PyQt5-stubs==5.15.6.0")  # types alone, without Qt; PyQt6 6.12's cannot be read by mypy
MYPY = ("--ignore-missing-imports", "--no-strict-optional", "--follow-imports=silent", "--check-untyped-defs",
        "--disable-error-code=var-annotated", "--python-version=3.12")
MOVED = ("QgsProcessing.SourceType QgsWkbTypes.Type QgsWkbTypes.GeometryType QgsUnitTypes.DistanceUnit "
         "QgsProcessingParameterNumber.Type QgsProcessingParameterField.DataType QgsProcessingParameterFile.Behavior "
         "QgsProcessingParameterDefinition.Flag QgsProcessingFeatureSource.Flag QgsFeatureRequest.Flag "
         "QgsProcessingFeatureSourceDefinition.Flag QgsFeatureRequest.InvalidGeometryCheck "
         "QgsCoordinateReferenceSystem.WktVariant").split()
FALSE_ALARMS = [  # what QGIS adds to its bindings at run time; tests/algorithms/test_names.py tries each name there
    r'Module "qgis\.core" has no attribute "Qgs(Processing|Cs)Exception"',
    r'"type\[Qgis\]" has no attribute "QGIS_VERSION_INT"',
    r'"type\[LayerType\]" has no attribute "VectorLayer"',
    r"^algorithms/common/compat\.py:.*(QVariant|QMetaType|QgsField)",  # knows both ends
    *(r'"type\[{}\]" has no attribute "{}"'.format(*name.split(".")) for name in MOVED),
]


def not_run(why):
    """End the program without a verdict."""
    print(f"typed rules NOT RUN: {why}")
    sys.exit(0)


def tools():
    """The Python that has mypy, and PyQt's types, installed into the cache once."""
    folder = CACHE / "types"
    mark, python = folder / ".made", folder / "bin" / "python"
    if not mark.exists() or mark.read_text(encoding="utf-8") != str(PACKAGES):
        shutil.rmtree(folder, ignore_errors=True)
        pip = [str(python), "-m", "pip", "install", "-q", "--disable-pip-version-check"]
        for command in (["/usr/bin/python3", "-m", "venv", str(folder)], [*pip, "mypy"],
                        [*pip, "--no-deps", *PACKAGES]):
            if subprocess.run(command, check=False, stderr=subprocess.DEVNULL).returncode:
                not_run(f"'{' '.join(command)}' failed")
        mark.write_text(str(PACKAGES), encoding="utf-8")
    return python


def installed(release):
    """Folder of the PyQGIS of a Debian release, on the host or in a chroot; None where there is none."""
    host = pathlib.Path("/etc/os-release").read_text(encoding="utf-8")
    root = pathlib.Path("/") if f"VERSION_CODENAME={release}\n" in host else CACHE / release
    folder = root / "usr" / "lib" / "python3" / "dist-packages" / "qgis"
    return folder if (folder / "_core.pyi").exists() else None


def messages(python, qgis, binding, folder):
    """What mypy says of plugin/ and algorithms/ against one PyQGIS, its PyQt replaced by the wanted one."""
    types = folder / "stubs" / "qgis"
    types.mkdir(parents=True)
    for name in ("PyQt", "core", "gui"):
        shutil.copytree(qgis / name, types / name, ignore=shutil.ignore_patterns("__pycache__"))
    for name in ("__init__.py", "_core.pyi", "_gui.pyi"):
        shutil.copy(qgis / name, types / name)
    for path in types.rglob("*.py*"):
        path.write_text(path.read_text(encoding="utf-8").replace("PyQt5", binding), encoding="utf-8")
    (folder / "athwart").symlink_to(ROOT)
    done = subprocess.run([str(python), "-m", "mypy", *MYPY, f"--cache-dir={folder}/cache", "athwart/plugin",
                           "athwart/algorithms"], cwd=folder, capture_output=True, text=True, check=False,
                          env={**os.environ, "MYPYPATH": str(types.parent)})
    if done.returncode not in (0, 1):
        sys.exit(done.stdout + done.stderr)
    return [line[len("athwart/"):] for line in done.stdout.splitlines() if re.match(r"athwart/.* error: ", line)]


def main():
    python, found, unused = tools(), 0, set(FALSE_ALARMS)
    ends = [(installed(release), *end) for release, *end in ENDS]
    for qgis, name, binding in ends:
        if qgis is None:
            print(f"typed, {name}: NOT RUN, tools/matrix.sh has not made its chroot")
            continue
        with tempfile.TemporaryDirectory() as folder:
            lines = messages(python, qgis, binding, pathlib.Path(folder))
        known = {line: {p for p in FALSE_ALARMS if re.search(p, line)} for line in lines}
        unused -= set().union(*known.values())
        new = [line for line in lines if not known[line]]
        print(*new, sep="\n", end="\n" if new else "")
        print(f"typed, {name}: {len(new)} findings, {len(lines) - len(new)} known false alarms")
        found += len(new)
    if all(end[0] for end in ends):
        for pattern in sorted(unused):
            print(f"no longer a false alarm, strike it from the list: {pattern}")
        found += len(unused)
    return 1 if found else 0


if __name__ == "__main__":
    sys.exit(main())
