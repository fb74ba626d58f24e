"""The property tests on examples they have not met before: what the suite tries is the same in every run."""
from __future__ import annotations

import os
import pathlib
import secrets
import subprocess
import sys

ROOT = pathlib.Path(__file__).resolve().parents[2]
ROUNDS = 6


def main():
    failed = 0
    print("seed        outcome")
    for _ in range(ROUNDS):
        seed = secrets.randbelow(2**31)
        done = subprocess.run(
            [sys.executable, "-m", "pytest", "tests/survey", "-m", "hypothesis", f"--hypothesis-seed={seed}", "-q",
             "-p", "no:pytest_qgis", "-p", "no:cacheprovider"], cwd=ROOT, capture_output=True, text=True, check=False,
            env={**os.environ, "HYPOTHESIS_PROFILE": "fresh"})
        failed += done.returncode != 0
        print(f"{seed:<11} {(done.stdout.strip() or done.stderr.strip()).splitlines()[-1]}", flush=True)
        if done.returncode:
            print(done.stdout[-4000:])
    return 1 if failed else 0


if __name__ == "__main__":
    sys.exit(main())
