#!/usr/bin/env python3
"""tools/proof.py [name...]: the long runs in tests/proof, one after the other; each prints a table and may fail."""
from __future__ import annotations

import os
import pathlib
import subprocess
import sys

ROOT = pathlib.Path(__file__).resolve().parents[1]


def main():
    scripts = sorted(path for path in (ROOT / "tests" / "proof").glob("*.py")
                     if len(sys.argv) == 1 or path.stem in sys.argv[1:])
    tests = ROOT / "tests"
    paths = (ROOT, tests, tests / "plugins", tests / "proof", ROOT / ".build" / "site")
    env = {**os.environ, "PYTHONPATH": os.pathsep.join(map(str, paths)), "QT_QPA_PLATFORM": "offscreen"}
    failed = []
    for script in scripts:
        print(f"\n== {script.stem} ==", flush=True)
        if subprocess.run([sys.executable, str(script)], cwd=ROOT, env=env, check=False).returncode:
            failed.append(script.stem)
    print(f"\n{len(scripts) - len(failed)} passed, {len(failed)} failed" + (f": {', '.join(failed)}" if failed else ""))
    return 1 if failed or not scripts else 0


if __name__ == "__main__":
    sys.exit(main())
