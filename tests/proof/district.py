"""A district of 200 outings on 40 lakes, made by the sample's simulator: the same figures, faults borne, what it costs.

The district runs on two workers, one of which is killed in the middle; one outing is broken on purpose. Ten outings on
two lakes are then done by the tools, and every printed figure must be the same. Costs are processor time, which other
work on the machine does not change much; efficiency is the ratio of wall times of one and of two workers in one run.

``ATHWART_DISTRICT=lakes,each`` takes a smaller one.
"""
from __future__ import annotations

import contextlib
import json
import math
import os
import pathlib
import shutil
import signal
import socket
import subprocess
import sys
import tempfile
import time

import districts
import pagecode
from districtsim import make_district

LAKES, EACH = map(int, os.environ.get("ATHWART_DISTRICT", "40,5").split(","))
SMALL = max(1, LAKES // 10)
BROKEN = "lake03_day2"
TOO_LARGE = "Lake 04"
GROWTH = 1.1

WORK = r"""
import json, os, pathlib, resource, signal, sys, time
import athwart
from athwart.district import lake as judging
from athwart.district.engine import Dask, local_cluster
from distributed import WorkerPlugin


class Large(WorkerPlugin):
    # one lake takes more memory than a worker has

    def setup(self, worker):
        own = judging.judge_lake

        def judge_lake(lake, *more):
            held = []
            while lake.name == "Lake 04":
                held.append(b"x" * 50_000_000)
                time.sleep(0.05)
            return own(lake, *more)
        judging.judge_lake = judge_lake


def main():
    outings, lakes, folder, workers, kill, memory = sys.argv[1:7]
    workers, kill = int(workers), int(kill)
    said, killed = [], []
    told = {}

    def progress(done, of, text):
        if kill and done >= kill and not killed:
            killed.append(next(iter(cluster.workers.values())).pid)
            os.kill(killed[0], signal.SIGKILL)

    began, busy = time.monotonic(), time.process_time()
    if workers:
        with local_cluster(workers, memory) as cluster:
            engine = Dask(cluster.scheduler_address, say=said.append)
            if kill:
                engine._client.register_plugin(Large())
            started = time.monotonic()
            made = athwart.survey_district(outings, lakes, folder, engine=engine, progress=progress,
                                           layers=bool(kill))
            told["wall"] = time.monotonic() - started
            told["peak_mb"] = max(engine._client.run(peak).values())
            engine.close()
    else:
        made = athwart.survey_district(outings, lakes, folder, progress=progress, layers=False)
        told["wall"] = time.monotonic() - began
        told["peak_mb"] = peak()
    told.update(cpu=time.process_time() - busy, worked=made.worked, states=made.states, said=said, killed=len(killed),
                failures=[[one.kind, one.lake, one.outing, one.cause] for one in made.failures],
                outing_s=[one["worked_s"] for one in made.outings.values()],
                lake_s=[one["worked_s"] for one in made.lakes.values()])
    print(json.dumps(told))


def peak():
    import resource
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024


if __name__ == "__main__":
    main()
"""


def work(site, folder, outings, lakes, name, workers, kill=0, memory="1GB"):
    """What a run of the district tells."""
    script = pathlib.Path(site, "work_district.py")
    script.write_text(WORK, encoding="utf-8")
    done = districts.python(site, script, outings, lakes, folder / name, workers, kill, memory)
    if done.returncode:
        raise SystemExit(done.stderr[-3000:])
    return json.loads(done.stdout.splitlines()[-1])


@contextlib.contextmanager
def scheduler(site, port):
    """A scheduler and a worker of it, as on a cluster; both die at the end."""
    address, quiet = f"tcp://127.0.0.1:{port}", {"stdout": subprocess.DEVNULL, "stderr": subprocess.DEVNULL}
    started = [subprocess.Popen([sys.executable, "-m", *command], env=districts.environment(site), cwd=site,
                                start_new_session=True, **quiet) for command in (
        ("distributed.cli.dask_scheduler", "--host", "127.0.0.1", "--port", str(port), "--no-dashboard"),
        ("distributed.cli.dask_worker", address, "--nthreads", "1", "--no-dashboard"))]
    try:
        yield address
    finally:
        for one in started:
            with contextlib.suppress(ProcessLookupError):
                os.killpg(one.pid, signal.SIGKILL)
            one.wait()


def restarted(site, folder, outings, lakes):
    """(exit status, log) of a district whose scheduler dies in the middle and comes back."""
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        port = free.getsockname()[1]
    shutil.rmtree(folder, ignore_errors=True)
    with scheduler(site, port) as address:
        time.sleep(8)
        command = subprocess.Popen([sys.executable, "-m", "athwart", "district", str(outings), "--lakes", str(lakes),
                                    "--output", str(folder), "--scheduler", address, "--send", "--wait", "120"],
                                   env=districts.environment(site), cwd=site, stderr=subprocess.DEVNULL)
        end = time.monotonic() + 120
        while not list(folder.glob("parts/*.npz")) and time.monotonic() < end:
            time.sleep(0.05)
    with scheduler(site, port):
        status = command.wait(timeout=400)
    return status, (folder / "district.log").read_text(encoding="utf-8")


def page(site):
    """What the guide's page on districts prints when it runs, and what it says."""
    with tempfile.TemporaryDirectory() as folder:
        sample = shutil.copytree(districts.ROOT / "sample_project", pathlib.Path(folder, "sample"))
        code = "import os, sys, pagecode; os.chdir(sys.argv[1]); exec(pagecode.parts('district')[0])"
        done = districts.python(site, "-c", code, sample)
    return done.stdout.strip(), pagecode.parts("district")[1].strip(), done.stderr


def mean(values):
    return sum(values) / max(len(values), 1)


def of_lakes(outings, lakes, folder, count):
    """Tables of the first lakes alone."""
    for path in (outings, lakes):
        head, *rows = path.read_text(encoding="utf-8").splitlines(True)
        kept = [row for row in rows if any(f"Lake {k + 1:02d}," in row for k in range(count))]
        (folder / f"few_{path.name}").write_text(head + "".join(kept), encoding="utf-8")
    return folder / "few_outings.csv", folder / "few_lakes.csv"


def against_tools(folder, site):
    """Figures of the first two lakes by the tools, in a QGIS of its own; how many were compared."""
    script = pathlib.Path(site, "by_tools.py")
    script.write_text(TOOLS, encoding="utf-8")
    env = {**os.environ, "PYTHONPATH": os.pathsep.join(
        map(str, (districts.ROOT, districts.ROOT / "tests" / "plugins", districts.ROOT / ".build" / "site"))),
        "QT_QPA_PLATFORM": "offscreen"}
    done = subprocess.run([sys.executable, str(script), str(folder)], env=env, capture_output=True, text=True,
                          check=False, cwd=districts.ROOT)
    if not done.stdout.strip():
        raise SystemExit(done.stderr[-3000:])
    return json.loads(done.stdout.splitlines()[-1])


TOOLS = r"""
import json, pathlib, sys
from tools import inside
app = inside.qgis(); plugin = inside.processing()
import districttools
folder = pathlib.Path(sys.argv[1])
print(json.dumps(districttools.compared(folder, folder / "two" / "district.gpkg", 2)), flush=True)
inside.leave()
"""


def main():
    if districts.MISSING:
        print(f"NOT RUN: {districts.MISSING}")
        return 0
    folder = pathlib.Path(os.environ.get("ATHWART_DISTRICT_FOLDER") or tempfile.mkdtemp())
    site = tempfile.mkdtemp()
    began = time.monotonic()
    if not (folder / "lakes.csv").is_file():
        make_district(folder, LAKES, EACH)
    outings, lakes = folder / "outings.csv", folder / "lakes.csv"
    print(f"{LAKES * EACH} outings on {LAKES} lakes made in {time.monotonic() - began:.0f} s")
    broken = folder / "broken.csv"
    broken.write_text(outings.read_text(encoding="utf-8").replace(f"logs/{BROKEN}.nmea", "logs/lost.nmea"),
                      encoding="utf-8")
    failed = []

    def judge(words, holds):
        print(f"{'ok  ' if holds else 'FAIL'} {words}", flush=True)
        failed.extend([] if holds else [words])

    for name in ("two", "few", "one", "loop", "pair"):
        shutil.rmtree(folder / name, ignore_errors=True)
    two = work(site, folder, broken, lakes, "two", 2, kill=LAKES * EACH // 2)
    whole = LAKES * EACH + LAKES - 2
    judge(f"a worker killed, an outing broken, a lake too large: {two['worked']} of {whole} worked, failures "
          f"{two['failures']}, {two['said']}", two["killed"] == 1 and two["worked"] == whole and
          sorted(one[2] or one[1] for one in two["failures"]) == sorted([BROKEN, TOO_LARGE]))
    figures = against_tools(folder, site)
    judge(f"by the tools, 10 outings on 2 lakes: {figures['same']} printed figures the same, {len(figures['other'])} "
          f"not {figures['other'][:3]}", figures["same"] > 20 and not figures["other"])
    printed, told, error = page(site)
    judge("the guide's page prints what it says" + ("" if printed == told else f": {printed} {error[-400:]}"),
          printed == told)
    status, log = restarted(site, folder / "again", *of_lakes(outings, lakes, folder, SMALL))
    judge(f"the scheduler died and came back, data sent to the workers: exit status {status}",
          status == 0 and ("given out again" in log or "answers again" in log))
    print(f"an outing {mean(two['outing_s']):.2f} s, a lake of {EACH} outings {mean(two['lake_s']):.2f} s of "
          "processor")
    few = of_lakes(outings, lakes, folder, SMALL)
    small, large = (sum(one["outing_s"]) + sum(one["lake_s"]) for one in (
        work(site, folder, *few, "few", 2), two))
    power = math.log(large / small) / math.log(LAKES / SMALL)
    judge(f"growth from {SMALL * EACH} to {LAKES * EACH} outings: exponent {power:.3f}, at most {GROWTH}",
          power <= GROWTH)
    few = of_lakes(outings, lakes, folder, 3 * SMALL)
    loop, one, pair = (work(site, folder, *few, name, workers)
                       for name, workers in (("loop", 0), ("one", 1), ("pair", 2)))
    print(f"{3 * SMALL * EACH} outings: plain loop {loop['wall']:.1f} s, one worker {one['wall']:.1f} s (the scheduler "
          f"costs {100 * (one['wall'] / loop['wall'] - 1):.0f} %), two workers {pair['wall']:.1f} s; efficiency on two "
          f"cores {one['wall'] / pair['wall'] / 2:.2f}")
    print(f"processor of scheduler and client beside one worker {one['cpu']:.1f} s, of the loop {loop['cpu']:.1f} s")
    print(f"peak memory: a worker {pair['peak_mb']:.0f} MB, the loop {loop['peak_mb']:.0f} MB")
    return 1 if failed else 0


if __name__ == "__main__":
    sys.exit(main())
