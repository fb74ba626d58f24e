"""Timing and memory: interleaved runs, medians of processor time, peak memory of a process of its own."""
from __future__ import annotations

import pathlib
import statistics
import subprocess
import sys
import time

__all__ = ["interleaved", "peak_mb", "print_table", "say_peak"]


def interleaved(jobs, repeats):
    """Run jobs in turn, several times over.

    Parameters
    ----------
    jobs : dict of {name: callable}
    repeats : int

    Returns
    -------
    (seconds, results) : dicts by name
        Median of the processor time, which other work on the machine does not lengthen, and the last result.
    """
    took, results = {name: [] for name in jobs}, {}
    for _ in range(repeats):
        for name, job in jobs.items():
            began = time.process_time()
            results[name] = job()
            took[name].append(time.process_time() - began)
    return {name: statistics.median(values) for name, values in took.items()}, results


def say_peak():
    """Print this process's peak memory, for ``peak_mb`` to read.

    Not by getrusage: on Linux a child starts with the peak of the process that started it.
    """
    status = pathlib.Path("/proc/self/status").read_text(encoding="ascii")
    kilobytes = next(line.split()[1] for line in status.splitlines() if line.startswith("VmHWM"))
    print(f"PEAK {int(kilobytes) / 1024:.0f}", flush=True)


def peak_mb(*arguments):
    """Peak memory, MB, of ``bench --once arguments`` in a process of its own; what it imports counts."""
    done = subprocess.run([sys.executable, "-m", "bench", "--once", *map(str, arguments)], capture_output=True,
                          text=True, check=False)
    peaks = [line for line in done.stdout.splitlines() if line.startswith("PEAK ")]
    if not peaks:
        raise RuntimeError(f"{arguments} failed:\n{done.stdout[-500:]}\n{done.stderr[-2000:]}")
    return float(peaks[-1].split()[1])


def print_table(head, rows):
    """Print rows of text under a head, columns wide enough, numbers to the right."""
    cells = [[str(cell) for cell in row] for row in (head, *rows)]
    widths = [max(len(row[k]) for row in cells) for k in range(len(head))]
    for number, row in enumerate(cells):
        print("  ".join(cell.ljust(width) if k == 0 else cell.rjust(width)
                        for k, (cell, width) in enumerate(zip(row, widths))).rstrip())
        if number == 0:
            print("  ".join("-" * width for width in widths))
    sys.stdout.flush()
