"""The gates before a change gets in: CI's order and closing line, and the ratchet on types; make is a stand-in."""
import pathlib
import shutil
import subprocess
import warnings

import pytest

ROOT = pathlib.Path(__file__).resolve().parents[2]
MAKEFILE = "lint:\n\t@echo linted; {lint}\ntest:\n\t@echo '==== {closing} ===='; {test}\n"


@pytest.mark.parametrize("lint, closing, test, matrix, code", [
    ("true", "9 passed in 1.00s", "true", 0, 0), ("false", "9 passed in 1.00s", "true", 0, 1),
    ("true", "1 failed, 8 passed in 1.00s", "false", 0, 1), ("true", "9 passed in 1.00s", "true", 1, 1)])
def test_ci_closes_with_the_count_and_fails_if_anything_did(tmp_path, lint, closing, test, matrix, code):
    (tmp_path / ".ci").mkdir()
    (tmp_path / "tools").mkdir()
    shutil.copy(ROOT / ".ci" / "run", tmp_path / ".ci")
    (tmp_path / "tools" / "setup.sh").write_text("exit 0\n")
    (tmp_path / "tools" / "matrix.sh").write_text(f"echo other versions; exit {matrix}\n")
    (tmp_path / "Makefile").write_text(MAKEFILE.format(lint=lint, closing=closing, test=test))
    done = subprocess.run(["bash", ".ci/run"], cwd=tmp_path, capture_output=True, text=True, check=False)
    lines = done.stdout.splitlines()
    assert done.returncode == code and lines[-1] == f"==== {closing} ===="
    assert lines.index("linted") < lines.index(lines[-1]) < lines.index("other versions")


def test_a_function_without_types_is_counted_and_one_with_them_is_not():
    from tools.untyped import untyped
    assert untyped("def f(x): pass\ndef g(x: int): pass\ndef h() -> None: pass\n") == [1, 2]
    assert untyped("class A:\n def __init__(self, x: int): pass\n def f(self, x) -> int: return 1\n") == [3]


def test_a_warning_of_our_own_code_is_an_error():
    with pytest.raises(RuntimeWarning, match="mine"):
        warnings.warn_explicit("mine", RuntimeWarning, "draw.py", 1, module="athwart.survey.swaths.draw")
