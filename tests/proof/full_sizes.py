"""The tests that draw fewer cases in the suite than they can, with all of them: every file that asks ``sizes.full``."""
import os
import pathlib
import subprocess
import sys

ROOT = pathlib.Path(__file__).resolve().parents[2]


def main():
    files = sorted(str(path.relative_to(ROOT)) for path in (ROOT / "tests").glob("*/test_*.py")
                   if "from sizes import full" in path.read_text(encoding="utf-8"))
    print("\n".join(files), flush=True)
    done = subprocess.run([sys.executable, "tools/test.py", *files], cwd=ROOT, check=False,
                          env={**os.environ, "ATHWART_FULL_SIZES": "1"})
    return done.returncode if files else 1


if __name__ == "__main__":
    sys.exit(main())
