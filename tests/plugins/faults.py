"""What happens to outputs in this world: full disks, folders that may not be written, a kill, a change of mind."""
import contextlib
import hashlib
import os
import pathlib
import shutil
import signal
import sqlite3
import subprocess
import sys

from qgis.core import QgsProcessingException, QgsProcessingFeedback


class Heard(QgsProcessingFeedback):
    """Keeps what a tool says; strikes when it asks and the bar has come to ``at`` %: cancels, or calls ``then``.

    How often it asks is no measure: while one long operation runs it asks by the clock.
    """

    def __init__(self, at=200.0, then=None):
        super().__init__(False)
        self.warnings, self.steps, self.asked, self.late, self.at, self.then = [], [], 0, 0, at, then
        self.progressChanged.connect(self.steps.append)

    def pushWarning(self, warning):
        self.warnings.append(warning)

    def isCanceled(self):
        self.asked += 1
        if self.progress() < self.at:
            return False
        self.late += 1
        if self.then is not None:
            self.then()
        return True


def may_mount():
    """True where this process may mount a small disk of its own."""
    return sys.platform.startswith("linux") and os.geteuid() == 0 and shutil.which("mount") is not None


@contextlib.contextmanager
def small_disk(folder, kilobytes):
    """A disk with so much room, mounted at ``folder``."""
    folder.mkdir()
    subprocess.run(["mount", "-t", "tmpfs", "-o", f"size={kilobytes}k", "tmpfs", str(folder)], check=True)
    try:
        yield folder
    finally:
        subprocess.run(["umount", "-l", str(folder)], check=True)


@contextlib.contextmanager
def read_only(folder):
    """Nothing may be written in ``folder``, a disk of its own (root) or a folder (others)."""
    if may_mount():
        subprocess.run(["mount", "-o", "remount,ro", str(folder)], check=True)
        yield
    else:
        folder.chmod(0o555)
        try:
            yield
        finally:
            folder.chmod(0o755)


def state(folder):
    """What lies in a folder: digest of every file by its name."""
    return {path.name: hashlib.sha256(path.read_bytes()).hexdigest() if path.is_file() else "folder"
            for path in sorted(pathlib.Path(folder).iterdir())}


def tables(path):
    """Every row of every table of the user's in a GeoPackage, its whole being checked by SQLite first."""
    with contextlib.closing(sqlite3.connect(path)) as store:
        assert store.execute("PRAGMA integrity_check").fetchall() == [("ok",)]
        names = [name for name, in store.execute("SELECT table_name FROM gpkg_contents ORDER BY 1")]
        return {name: store.execute(f'SELECT * FROM "{name}"').fetchall() for name in names}


def said(run, tool, parameters, feedback=None):
    """What a run that must fail says."""
    try:
        run(tool, parameters, feedback)
    except QgsProcessingException as error:
        return str(error).replace("Unable to execute algorithm\n", "")
    return ""


def moments(steps, count):
    """So many places of the bar at which to strike, from its begin to the last one before the files are moved over."""
    before = sorted({0.0, *(step for step in steps if step < 100)})
    return [before[round(k * (len(before) - 1) / (count - 1))] for k in range(count)]


def killed(run, tool, parameters, at):
    """Run a tool in a copy of this process that is killed when the bar is at ``at`` %; True if that came to pass."""
    child = os.fork()
    if child == 0:
        with contextlib.suppress(BaseException):
            run(tool, parameters, Heard(at, lambda: os.kill(os.getpid(), signal.SIGKILL)))
        os._exit(0)
    _, status = os.waitpid(child, 0)
    return os.WIFSIGNALED(status) and os.WTERMSIG(status) == signal.SIGKILL
