"""The gates before a change gets in: CI's order and closing line, and the ratchet on types; make is a stand-in."""
import pathlib
import shutil
import subprocess
import sys
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


def test_every_test_file_is_in_one_group_of_the_whole_suite(tmp_path):
    from tools.test import TOGETHER, WORK_S, groups_of, work
    groups, rest, whole = groups_of(["-x"], tmp_path)
    files = [file for group in groups for file in group.paths]
    there = {str(path.relative_to(ROOT)) for path in (ROOT / "tests").rglob("test_*.py")}
    assert len(files) == len(set(files)) and set(files) == there and (rest, whole) == (["-x"], True)
    assert {*WORK_S, *TOGETHER} <= there, "a file that is gone"
    assert sum(set(TOGETHER) <= set(group.paths) for group in groups) == 1
    assert {(group.core, pathlib.Path(file).parts[1]) for group in groups for file in group.paths} == {
        (True, "survey"), (True, "published"), (False, "algorithms"), (False, "models"), (False, "workflow")}
    assert max(work(group.paths) for group in groups) < 1.3 * sum(map(work, [files])) / len(groups)


@pytest.mark.parametrize("test, code, lines", [
    ("def test_a(): pass\n", 0, ["==== 1 passed in"]),
    ("def test_a(): pass\ndef test_b(): assert 1 == 2\n", 1, ["FAILED ", "==== 1 failed, 1 passed in"]),
    ("import os\ndef test_a(): os.abort()\n", 1, ["The process of core 1 of 1 ended with", "==== 1 errors in"])])
def test_the_suite_says_what_failed_and_closes_with_the_count(tmp_path, test, code, lines):
    """On a clone that has nothing but this test."""
    (tmp_path / "tools").mkdir()
    (tmp_path / "tests" / "survey").mkdir(parents=True)
    shutil.copy(ROOT / "tools" / "test.py", tmp_path / "tools")
    (tmp_path / ".build").symlink_to(ROOT / ".build")
    (tmp_path / "tests" / "plugins").mkdir()
    (tmp_path / "tests" / "plugins" / "no_qgis.py").write_text("")
    (tmp_path / "tests" / "survey" / "test_one.py").write_text(test)
    done = subprocess.run([sys.executable, "tools/test.py"], cwd=tmp_path, capture_output=True, text=True, check=False)
    told = done.stdout.splitlines()
    assert done.returncode == code and told[-1].startswith(lines[-1]), done.stdout
    assert all(any(line.startswith(wanted) for line in told) for wanted in lines), done.stdout
    assert sum(line.startswith("====") and " in " in line for line in told) == 1, done.stdout
