"""Who does the work: this process one job after another, or workers of dask.distributed, here or on other machines.

Both take jobs and hand back what became of each, in any order; new jobs may be added while others run. What a job
raised is a failure of that job alone. A worker that dies takes nothing along: its job is given to another; one that
killed two workers is tried once more alone, so that no job is blamed for its neighbour.
"""
from __future__ import annotations

import contextlib
import os
import queue
import time
from collections import deque
from typing import Any, NamedTuple

from ..model.errors import InputError, MissingPackage, SurveyError

__all__ = ["Dask", "Here", "Job", "Lost", "local_cluster"]

_LOOK_S = 1.0
_TRY_S = 10.0
_IN_HAND = 3
"""Jobs that lie ready for each thread of a worker: so many that none waits, so few that the scheduler stays small."""

_LEAST_IN_HAND = 8


class Job(NamedTuple):
    """``key``: its name, once in a run. ``function`` is called with ``arguments``, and gives bytes."""

    key: str
    function: Any
    arguments: tuple[Any, ...]


class Lost(SurveyError):
    """The scheduler is gone and did not come back."""


class Here:
    """This process, one job after another."""

    name = "this process"

    def work(self, jobs: Any, report: Any, more: Any) -> None:
        """Do jobs.

        Parameters
        ----------
        jobs : sequence of Job
        report : callable
            ``report(job, data, error)``: bytes, or None and what was raised.
        more : callable
            ``more()`` -> jobs that have become possible since.
        """
        waiting = deque(jobs)
        while waiting:
            job = waiting.popleft()
            try:
                data, error = job.function(*job.arguments), None
            except Exception as raised:  # whatever it is, the others go on
                data, error = None, raised
            report(job, data, error)
            waiting.extendleft(reversed(more()))


class Dask:
    """Workers of a scheduler.

    Parameters
    ----------
    address : str, or None
        ``tcp://host:port`` or ``tls://host:port``.
    client : distributed.Client, optional
        One that is there; it is not closed.
    patience_s : float
        How long a scheduler that went away is waited for.
    say : callable
        Takes sentences for the log.
    """

    def __init__(self, address: Any = None, client: Any = None, patience_s: float = 300.0,
                 say: Any = lambda text: None) -> None:
        self._distributed = need_distributed()
        self._address, self._own, self._client = address, client is None, client
        self._patience, self._say = patience_s, say
        if client is None:
            self._connect(_TRY_S)
        else:
            self._address = client.scheduler.address
        self._told: queue.Queue[Any] = queue.Queue()
        self._futures: dict[Any, Job] = {}
        self._waiting: deque[Job] = deque()
        self._alone: deque[Job] = deque()

    @property
    def name(self) -> Any:
        """Where the work is done."""
        return f"{len(self._client.scheduler_info(n_workers=-1)['workers'])} workers at {self._address}"

    def close(self) -> None:
        """Leave the scheduler."""
        if self._own:
            with contextlib.suppress(Exception):
                self._client.close(timeout=5)

    def work(self, jobs: Any, report: Any, more: Any) -> None:
        """As ``Here.work``."""
        self._waiting.extend(jobs)
        twice = set()
        while self._futures or self._waiting or self._alone:
            try:
                self._hand_out()
                future = self._told.get(timeout=_LOOK_S)
            except queue.Empty:
                if self._is_lost():
                    self._again(report)
                continue
            except (OSError, self._distributed.TimeoutError, self._distributed.CancelledError) as gone:
                self._say(f"The scheduler could not be reached ({gone}).")
                self._again(report)
                continue
            job = self._futures.pop(future, None)
            if job is None:
                continue
            data, error = None, None
            try:
                data = future.result(timeout=60)
            except self._distributed.KilledWorker as raised:
                if job.key not in twice:
                    twice.add(job.key)
                    self._say(f"{job.key} was running when workers died; it is tried once more, alone.")
                    self._alone.append(job)
                    continue
                error = raised
            except (OSError, self._distributed.TimeoutError, self._distributed.CancelledError) as raised:
                if _of_the_job(raised, future):
                    error = raised
                else:  # the scheduler's fault, not the job's
                    self._say(f"{job.key} was lost with its scheduler; it is given out again.")
                    self._waiting.appendleft(job)
                    continue
            except Exception as raised:  # whatever it is, the others go on
                error = raised
            future.release()
            report(job, data, error)
            self._waiting.extendleft(reversed(more()))

    def _hand_out(self) -> None:
        threads = sum(self._client.nthreads().values())
        most = max(_LEAST_IN_HAND, _IN_HAND * threads)
        while self._waiting and len(self._futures) < most:
            self._submit(self._waiting.popleft())
        if self._alone and not self._futures and not self._waiting:
            self._submit(self._alone.popleft())

    def _submit(self, job: Any) -> None:
        future = self._client.submit(job.function, *map(self._sent, job.arguments), pure=False,
                                     key=f"{job.key}-{time.monotonic_ns()}")
        self._futures[future] = job
        future.add_done_callback(self._told.put)

    def _sent(self, value: Any) -> Any:
        """Contents of files go to the workers by themselves, not within the job, which stays small."""
        if isinstance(value, (list, dict)) and value:
            blocks = list(value.values()) if isinstance(value, dict) else value
            if all(isinstance(block, bytes) for block in blocks):
                return self._client.scatter(value, hash=False)
        return value

    def _is_lost(self) -> Any:
        return self._client.status not in ("running", "newly-created") or any(
            future.status in ("lost", "cancelled") for future in self._futures)

    def _again(self, report: Any) -> None:
        """Connect anew and put back what was handed out; give up what is left when nobody answers."""
        held = [*self._futures.values()]
        self._futures.clear()
        self._waiting.extendleft(reversed(held))
        self._told = queue.Queue()
        if not self._own:
            with contextlib.suppress(Exception):
                self._client.close(timeout=2)
            self._own = True
        else:
            self.close()
        self._say(f"The scheduler at {self._address} went away; {len(self._waiting)} jobs are given to it again when "
                  f"it answers. It is waited for {self._patience:.0f} s.")
        try:
            self._connect(self._patience)
            self._say("The scheduler answers again.")
        except InputError as error:
            for job in (*self._waiting, *self._alone):
                report(job, None, Lost(str(error)))
            self._waiting.clear()
            self._alone.clear()

    def _connect(self, patience: Any) -> None:
        end = time.monotonic() + patience
        while True:
            try:
                self._client = self._distributed.Client(self._address, timeout=min(_TRY_S, patience),
                                                        set_as_default=False)
                return
            except TypeError:  # what dask raises for tls:// without certificates
                raise InputError(f"{self._address} asks for certificates, and dask's configuration names none that can "
                                 "be read here. Set tls.ca-file, tls.client.cert and tls.client.key under "
                                 "distributed.comm, as dask's manual describes.", field="scheduler") from None
            except (OSError, self._distributed.TimeoutError, ValueError) as error:
                if time.monotonic() >= end:
                    raise InputError(f"No scheduler answers at {self._address} ({error}). Start one with 'dask "
                                     "scheduler', or leave the address out to work on this machine.",
                                     field="scheduler") from None
                time.sleep(_LOOK_S)


def _of_the_job(error: Any, future: Any) -> Any:
    """True if the job itself raised it: then the scheduler knows it as the job's."""
    try:
        return future.status == "error" and type(future.exception(timeout=5)) is type(error)
    except Exception:  # a scheduler that is gone knows nothing
        return False


def need_distributed() -> Any:
    """dask.distributed, or how to get it."""
    try:
        import distributed
    except ImportError:
        raise MissingPackage("Several workers need dask.distributed, which is not installed: pip install "
                             "'athwart[district]', or ask for one worker.") from None
    return distributed


@contextlib.contextmanager
def local_cluster(workers: Any = None, memory: Any = "auto", dashboard: Any = None, folder: Any = None) -> Any:
    """Workers on this machine, one process each, reachable from this machine only.

    Parameters
    ----------
    workers : int, optional
        All cores if None.
    memory : str
        Limit of each worker, such as '2GB'; 'auto' shares what there is.
    dashboard : str, optional
        Address of dask's dashboard; none if None.
    folder : path, optional
        For what the workers put aside.

    Yields
    ------
    distributed.LocalCluster
    """
    distributed = need_distributed()
    import dask

    # a worker that pauses for want of memory would wait for ever: what a job holds cannot be spilled
    memory_rules = {f"distributed.worker.memory.{name}": False for name in ("target", "spill", "pause")}
    quiet = {**memory_rules, "distributed.worker.memory.terminate": 0.95, "distributed.admin.tick.limit": "1h",
             "distributed.scheduler.allowed-failures": 1}
    for name in ("OMP_NUM_THREADS", "MKL_NUM_THREADS", "OPENBLAS_NUM_THREADS"):
        os.environ.setdefault(name, "1")  # a process each is the parallelism
    # dask serves its state as plain text even without a dashboard; on any free port two runs do not meet
    hidden = {} if dashboard else {"dashboard": False, "dashboard_address": "127.0.0.1:0"}
    with dask.config.set(quiet), distributed.LocalCluster(
            n_workers=workers, threads_per_worker=1, processes=True, memory_limit=memory, host="127.0.0.1",
            dashboard_address=dashboard, local_directory=None if folder is None else str(folder),
            scheduler_kwargs=hidden, silence_logs=50) as cluster:
        yield cluster
