"""tools/setup.sh at every door: root or not, sudo that asks or not, a terminal or none; apt, dpkg, sudo are stand-ins.

The whole of it on a bare Debian is tools/bare.sh.
"""
import os
import pathlib
import pty
import select
import subprocess
import time

import pytest

ROOT = pathlib.Path(__file__).resolve().parents[2]
STAND_INS = {
    "id": 'echo "$UID_NOW"',
    "dpkg-query": 'for p in $HAVE; do [ "${@: -1}" != "$p" ] || { printf installed; exit 0; }; done; exit 1',
    "apt-get": 'echo "apt-get $*" >>"$CALLS"; case "$*" in *install*) fails=${APT_FAILS:-};; '
               '*) fails=${UPDATE_FAILS:-};; esac; [ -z "$fails" ] || { echo "$fails"; exit 100; }',
    "sudo": 'echo "sudo $*" >>"$CALLS"; [ "$1" != -n ] || { [ "$SUDO" = free ] || exit 1; shift; }; [ "$1" != -v ] || '
            '{ [ "$SUDO" != never ]; exit; }; exec "$@"',
    "sleep": "exit 0",
}
NEEDED = "qgis python3-qgis python3-gdal python3-numpy python3-pyproj python3-shapely fonts-dejavu-core"
TESTS = "python3-scipy python3-pip xvfb xauth git make"


@pytest.fixture
def door(tmp_path):
    """A function (job, answer=None, **how) -> (code, said, calls); an answer makes it a terminal."""
    def of(job="demo", answer=None, uid=1000, sudo="asks", have="", **more):
        folder, calls = tmp_path / "bin", tmp_path / "calls"
        folder.mkdir(exist_ok=True)
        for name, text in STAND_INS.items():
            if name != "sudo" or sudo:
                (folder / name).write_text(f"#!/bin/bash\n{text}\n", encoding="utf-8")
                (folder / name).chmod(0o755)
        for name in ("bash", "env", "grep", "tail", "mktemp", "rm", "dirname", "cat", "true"):
            (folder / name).exists() or (folder / name).symlink_to(f"/usr/bin/{name}")
        calls.write_text("", encoding="utf-8")
        env = {"PATH": str(folder), "UID_NOW": str(uid), "HAVE": have, "CALLS": str(calls), "SUDO": sudo or ""}
        env.update(more)
        command = ["/bin/bash", str(ROOT / "tools" / "setup.sh"), job]
        if answer is None:
            done = subprocess.run(command, env=env, stdin=subprocess.DEVNULL, capture_output=True, text=True,
                                  check=False)
            return done.returncode, done.stdout + done.stderr, calls.read_text(encoding="utf-8").splitlines()
        code, said = at_a_terminal(command, env, answer)
        return code, said, calls.read_text(encoding="utf-8").splitlines()
    return of


def at_a_terminal(command, env, answer):
    ours, theirs = pty.openpty()
    run = subprocess.Popen(command, env=env, stdin=theirs, stdout=theirs, stderr=theirs, close_fds=True)
    os.close(theirs)
    said, answered, end = "", False, time.monotonic() + 60
    while time.monotonic() < end:
        if select.select([ours], [], [], 0.2)[0]:
            try:
                piece = os.read(ours, 4096).decode()
            except OSError:  # the other end is closed
                break
            if not piece:
                break
            said += piece
        elif run.poll() is not None:
            break
        if "[y/N]" in said and not answered:
            os.write(ours, f"{answer}\n".encode())
            answered = True
    os.close(ours)
    return run.wait(20), said


def installed(calls):
    """Packages that apt-get was asked for, and how often it was asked."""
    wanted = [call.split("--no-install-recommends ")[1].split() for call in calls
              if call.startswith("apt-get") and " install " in call]
    return sum(wanted, []), len(wanted)


@pytest.mark.parametrize("how", [{"uid": 0, "sudo": None}, {"uid": 0}, {"sudo": "free"}], ids=["root", "both", "sudo"])
def test_without_a_terminal_it_installs_where_it_may(door, how):
    code, said, calls = door(**how)
    assert code == 0, said
    packages, times = installed(calls)
    assert times == 1 and set(packages) == {*NEEDED.split(), *TESTS.split()}  # the demo brings the tests' packages
    assert "[y/N]" not in said and not any(call == "sudo -v" for call in calls)


@pytest.mark.parametrize("how, words", [({"sudo": "asks"}, "Run this, then the same command again:"),
                                        ({"sudo": None}, "Run this as root, then the same command again:")])
def test_without_a_terminal_it_says_what_to_run_where_it_may_not(door, how, words):
    code, said, calls = door(**how)
    assert code == 1 and words in said and not installed(calls)[0]
    sudo = "sudo " if how["sudo"] else ""
    assert f"    {sudo}apt-get update && {sudo}apt-get install -y --no-install-recommends {NEEDED} {TESTS}\n" in said


@pytest.mark.parametrize("answer, code", [("y", 0), ("", 1), ("n", 1)])
@pytest.mark.parametrize("how", [{"uid": 0}, {"sudo": "asks"}, {"sudo": "free"}], ids=["root", "asks", "free"])
def test_at_a_terminal_it_asks_once(door, how, answer, code):
    found, said, calls = door(answer=answer, **how)
    assert found == code and said.count("[y/N]") == 1
    assert installed(calls)[1] == (1 if answer == "y" else 0)
    assert ("apt-get update &&" in said) == (code == 1)


def test_yes_1_is_an_answer(door):
    code, said, calls = door(answer="unasked", uid=0, YES="1")
    assert code == 0 and "[y/N]" not in said and installed(calls)[1] == 1


def test_a_user_whom_sudo_refuses_is_told_what_to_run(door):
    code, said, calls = door(answer="y", sudo="never")
    assert code == 1 and "sudo does not let you" in said and "apt-get update &&" in said and not installed(calls)[0]


@pytest.mark.parametrize("answer", [None, "n"])
def test_the_demo_runs_without_the_tests_packages(door, answer):
    code, said, calls = door(answer=answer, sudo="asks", have=NEEDED)
    assert code == 0 and "demo runs without them" in said and not installed(calls)[0]


def test_nothing_missing_says_and_does_nothing(door):
    assert door(have=f"{NEEDED} {TESTS}") == (0, "", [])


def test_what_apt_says_is_shown(door):
    code, said, _ = door(uid=0, APT_FAILS="E: Unable to locate package qgis")
    assert code == 1 and "E: Unable to locate package qgis" in said and "is the network there?" in said
    assert "apt-get install -y" in said
    code, said, calls = door(uid=0, UPDATE_FAILS="E: The repository has no Release file.")
    assert code == 0 and "has no Release file" in said and installed(calls)[1] == 1


def test_another_apt_is_waited_for_but_not_for_ever(door):
    code, said, calls = door(uid=0, APT_FAILS="E: Could not get lock /var/lib/dpkg/lock. It is held by process 7")
    assert code == 1 and "waiting for it" in said and "It is held by process 7" in said
    assert installed(calls)[1] == 31
