"""The engine of all studies: many cases on the threads of this computer, or on a dask cluster; finished ones are kept.

The kernels release the interpreter, so threads use all cores. Each case is computed by one thread from its inputs
alone, and results come in the order asked for: nothing depends on how many threads, workers or restarts there were.
"""

from __future__ import annotations

import collections
import contextlib
import os
import threading
import time
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import FIRST_COMPLETED, Executor, Future, ThreadPoolExecutor, wait
from typing import TYPE_CHECKING, Any

from cavity.errors import CavityError, ConvergenceError, Fault, InputError, why
from cavity.kept import code_digest, opened
from cavity.risk import Finding, judge
from cavity.study.cases import KEEPS, Job, Store, key_of, weather_digest

if TYPE_CHECKING:
    import numpy as np
    import xarray as xr
    from numpy.typing import NDArray

__all__ = ["Engine", "Job", "Result", "cores"]

HELD = 32  # Datasets of one engine kept in memory, 13 MB each for a year of three segments; the others are on disk
_AHEAD = 2  # jobs handed out for each thread: none waits, and little is in memory or lost with a worker
_LOST = 3  # times a job may lose its worker before it is to blame itself
_PATIENCE = 60.0  # s without any worker before a cluster is given up
LONGEST = 8784  # h of weather, a leap year
_BEHIND = 0.3  # s from the end of a case until it is written behind: who waits makes his answer of it first
_LOOK = 2.0  # s between looks whether a cluster still has workers


def cores() -> int:
    """Return the number of processor cores this process may use."""
    return len(os.sched_getaffinity(0)) if hasattr(os, "sched_getaffinity") else os.cpu_count() or 1


def check_one_year(weather: xr.Dataset) -> None:
    """Refuse weather of several years: hours a year, sums, months and the criteria are those of one.

    Parameters
    ----------
    weather : xarray.Dataset, (time,)
        From `read_weather`.

    Raises
    ------
    InputError
        If it has more hours than a leap year; says how to choose a year.
    """
    hours = weather.sizes["time"]
    if hours > LONGEST:
        first, last = (str(weather["time"].to_numpy()[at].astype("datetime64[D]")) for at in (0, -1))
        raise InputError(
            Fault(str(weather.attrs.get("source") or weather.attrs.get("name") or "weather"),
                  "the weather holds several years; a study runs one", f"{hours} hours, {first} to {last}",
                  f"one year, at most {LONGEST} hours",
                  "choose a year and give it instead: cavity climate FILE --year critical --save year.nc "
                  "(or --year mean, or a calendar year)")
        )  # fmt: skip


def daily_humidity(dataset: xr.Dataset) -> xr.Dataset:
    """Return the daily means of the relative humidity, (day, segment, face), of a result. [1]."""
    import numpy as np
    import xarray as xr

    hourly = np.asarray(dataset["relative_humidity"].values, float)
    days = len(hourly) // 24
    means = hourly[: days * 24].reshape(days, 24, *hourly.shape[1:]).mean(axis=1)
    return xr.Dataset({"relative_humidity": (("day", "segment", "face"), means, {"units": "1"})})


def water_held(dataset: xr.Dataset) -> xr.Dataset:
    """Return the water of layers and films, hour by hour and at the start, of a result, and its balance. [kg/m2]."""
    return dataset[["water", "face_film", "water_at_start", "water_balance"]].drop_attrs(deep=False)


_SHORT = {"daily": daily_humidity, "water": water_held}


def computed(
    job: Job, keep: str, code: str = "", stop: NDArray[np.int64] | None = None
) -> tuple[xr.Dataset | None, tuple[Finding, ...]]:
    """Simulate one case, and judge it if it ran whole years; runs where the engine sends it.

    Parameters
    ----------
    job : Job
        The case.
    keep : {"all", "daily", "water", "findings"}
        What is returned of its Dataset: all, the daily humidity, the water held, nothing.
    code : str
        Digest of the sender's program; a worker with another one refuses.
    stop : array of int64, (1,)
        As for `simulate_case`.
    """
    from cavity.hourly.run import simulate_case

    if code and code != code_digest():
        raise CavityError("a worker of the cluster has another version of cavity; install the same on all")
    dataset = simulate_case(job.case, job.weather, hours=job.hours, stop=stop)
    # the criteria are those of a year
    findings = () if job.hours is not None else judge(dataset, dict(job.case.wall.limits))
    if keep == "findings":
        return None, findings
    return (dataset if keep == "all" else _SHORT[keep](dataset)), findings


class Result:
    """What an engine returns of one job: findings, and the Dataset for who asks for it; or why it was not computed.

    Parameters
    ----------
    job : Job
        The case.
    findings : tuple of Finding
        Worst first; none of a case that was not computed.
    failure : str
        Why the case was not computed; empty where it was.
    """

    def __init__(
        self, engine: Engine, key: str, job: Job, keep: str, findings: tuple[Finding, ...], failure: str = ""
    ) -> None:
        self.job, self.findings, self.failure = job, findings, failure
        self._engine, self._key, self._keep = engine, key, keep

    @property
    def dataset(self) -> xr.Dataset:
        """The Dataset, or what of it was asked for; read again from disk if it was let go.

        Raises
        ------
        ConvergenceError
            If the case was not computed.
        """
        if self.failure:
            raise ConvergenceError(self.failure)
        return self._engine.fetch(self._key, self.job, self._keep)


def counted(done: int, failed: int) -> str:
    """Return how many cases were computed, in words; empty where all were."""
    return f"{done} of {done + failed} cases computed" if failed else ""


class Engine:
    """Runs jobs; use it in a `with` statement, for as many lists of jobs as a study needs.

    Parameters
    ----------
    workers : int
        Threads; None: one a core. Ignored with a scheduler. [1]
    scheduler : str
        Address of a dask scheduler, ``tcp://host:port``; None: threads here.
    fresh : bool, keyword only
        Compute every case, also those kept from earlier studies; they are kept again.
    store : Store, keyword only
        Where finished cases are kept; None: the user's cache folder.
    held : int, keyword only
        Datasets kept in memory. [1]
    write_behind : bool, keyword only
        Keep finished cases on disk after `run` has returned: who waits for one case does not wait for the disk.

    Raises
    ------
    InputError
        If dask.distributed is not installed or the scheduler does not answer.
    """

    def __init__(
        self,
        workers: int | None = None,
        scheduler: str | None = None,
        *,
        fresh: bool = False,
        store: Store | None = None,
        held: int = HELD,
        write_behind: bool = False,
    ) -> None:
        self.store = store or Store()
        self.fresh = fresh
        # by entry and job: two jobs of equal numbers may differ in names; the job is held so that its id stays its own
        self._held: collections.OrderedDict[tuple[str, str, int], tuple[Job, xr.Dataset]] = collections.OrderedDict()
        self._room = held
        self._pinned: dict[tuple[str, str], xr.Dataset] = {}  # where the folder cannot be written
        self._lock = threading.Lock()
        self._weathers: dict[int, tuple[xr.Dataset, str]] = {}
        self._client: Any = None
        self._code = ""
        self._writer = ThreadPoolExecutor(1) if write_behind else None
        if scheduler:
            self._client = _connect(scheduler)
            self._code = code_digest()
            self._pool: Executor = self._client.get_executor(pure=False)
        else:
            self._threads = max(1, workers or cores())
            self._pool = ThreadPoolExecutor(self._threads)

    def __enter__(self) -> Engine:
        return self

    def __exit__(self, *_: object) -> None:
        if self._writer is not None:
            self._writer.shutdown(wait=True)
        if self._client is None:
            self._pool.shutdown(wait=True, cancel_futures=True)
        else:
            with contextlib.suppress(Exception):  # the scheduler may be unreachable
                self._pool.shutdown(wait=False)  # cancels what runs
                self._client.close(timeout=5.0)

    def run(
        self,
        jobs: Sequence[Job],
        *,
        keep: str = "all",
        progress: Callable[[int, int, Result], None] | None = None,
        stop: NDArray[np.int64] | None = None,
    ) -> list[Result]:
        """Simulate and judge all jobs.

        Parameters
        ----------
        jobs : sequence of Job
            The cases.
        keep : {"all", "daily", "water", "findings"}, keyword only
            What stays of each: the Dataset, its daily mean relative humidity, the water it holds, or only the findings.
        progress : callable, keyword only
            Called after each case, in the order in which they end, with cases done, all cases, and the result.
        stop : array of int64, (1,), keyword only
            Set to 1 by another thread, it ends the case under way before its next hour; threads of this computer only.

        Returns
        -------
        list of Result
            In the order of the jobs. A case that cannot be solved has a `failure` and no findings; the others go on.

        Raises
        ------
        InputError
            Of the first job whose input is wrong; those not begun are dropped, those done are kept. Weather of several
            years.
        Stopped
            If `stop` was set.
        CavityError
            If a cluster has no workers left, or a worker has another version.
        """
        if keep not in KEEPS:
            raise ValueError(f"keep is {keep!r}, known: {', '.join(KEEPS)}")
        results: dict[int, Result] = {}
        keys: dict[int, str] = {}
        under_way: dict[str, list[int]] = {}  # by entry: jobs of the same numbers, of which the first is computed

        def done(index: int, findings: tuple[Finding, ...], failure: str = "") -> None:
            results[index] = Result(self, keys[index], jobs[index], keep, findings, failure)
            if progress:
                progress(len(results), len(jobs), results[index])

        def missing() -> Iterator[int]:
            """Jobs that must be computed; those found on disk are done on the way."""
            for index, job in enumerate(jobs):
                key = keys[index] = key_of(job, self._digest(job.weather))
                if key in under_way:
                    under_way[key].append(index)
                    continue
                kept = None if self.fresh else self.store.read(key, keep)
                if kept is None:
                    under_way[key] = [index]
                    yield index
                else:
                    done(index, kept[1])

        def submit(index: int) -> Future[Any]:
            flag = () if stop is None or self._client is not None else (stop,)
            return self._pool.submit(computed, jobs[index], keep, self._code, *flag)

        waiting = missing()
        running: dict[Future[Any], int] = {}
        lost: collections.Counter[int] = collections.Counter()
        try:
            while True:
                while len(running) < _AHEAD * self._width() and (index := next(waiting, None)) is not None:
                    running[submit(index)] = index
                if not running:
                    break
                for future in self._ended(running):
                    index = running.pop(future)
                    failure = ""
                    try:
                        dataset, findings = future.result()
                    except Exception as error:
                        if _is_loss(error):
                            self._present()
                            lost[index] += 1
                            if lost[index] <= _LOST:
                                running[submit(index)] = index
                                continue
                            failure = f"lost its worker {lost[index]} times; is there enough memory?"
                        elif isinstance(error, CavityError) and not isinstance(error, ConvergenceError):
                            raise  # wrong input, or no way to compute anything: it concerns the study
                        else:
                            failure = why(error)
                        findings = ()
                    else:
                        self._save(keys[index], jobs[index], keep, dataset, findings)
                    for same in under_way.pop(keys[index]):
                        done(same, findings, failure)
        except BaseException:
            for future in running:
                future.cancel()
            raise
        return [results[index] for index in range(len(jobs))]

    def fetch(self, key: str, job: Job, keep: str) -> xr.Dataset:
        """Return the Dataset of a case from memory, from disk, or, if it is gone from there, computed again."""
        from cavity.result import provenance

        key_of_job = (key, keep, id(job))
        with self._lock:
            if key_of_job in self._held:
                self._held.move_to_end(key_of_job)
                return self._held[key_of_job][1]
        dataset = self._pinned.get((key, keep))
        if dataset is None:
            kept = self.store.read(key, keep)
            if kept is not None:
                dataset = opened(kept[0])
            else:
                dataset, findings = computed(job, keep)
                self.store.write(key, keep, dataset, findings)
            assert dataset is not None
        if keep == "all":
            dataset = dataset.assign_attrs(provenance(job.case.wall, job.weather))
        self._hold(keep, key, job, dataset)
        return dataset

    def _save(self, key: str, job: Job, keep: str, dataset: xr.Dataset | None, findings: tuple[Finding, ...]) -> None:
        if dataset is not None:
            self._hold(keep, key, job, dataset)
        if self._writer is None:
            self._write(key, keep, dataset, findings)
        else:
            self._writer.submit(self._write_behind, time.monotonic() + _BEHIND, key, keep, dataset, findings)

    def _write_behind(self, due: float, *entry: Any) -> None:
        time.sleep(max(due - time.monotonic(), 0.0))  # the writer takes the interpreter from the other threads
        self._write(*entry)

    def _write(self, key: str, keep: str, dataset: xr.Dataset | None, findings: tuple[Finding, ...]) -> None:
        if not self.store.write(key, keep, dataset, findings) and dataset is not None:
            self._pinned[key, keep] = dataset

    def _hold(self, keep: str, key: str, job: Job, dataset: xr.Dataset) -> None:
        with self._lock:
            self._held[key, keep, id(job)] = (job, dataset)
            while len(self._held) > self._room:
                self._held.popitem(last=False)

    def _digest(self, weather: xr.Dataset) -> str:
        """Digest of a weather, once for each object; the object is held so that its id stays its own."""
        if id(weather) not in self._weathers:
            check_one_year(weather)
            self._weathers[id(weather)] = (weather, weather_digest(weather))
        return self._weathers[id(weather)][1]

    def _width(self) -> int:
        if self._client is None:
            return self._threads
        return max(1, self._present())

    def _present(self) -> int:
        """Return the threads of the cluster's workers.

        Raises
        ------
        CavityError
            If the scheduler is unreachable.
        """
        try:
            return sum(self._client.nthreads().values())
        except Exception as error:  # dask raises many kinds for what is gone
            raise CavityError("the scheduler is no longer reachable; finished cases are saved") from error

    def _ended(self, running: dict[Future[Any], int]) -> list[Future[Any]]:
        """Wait until a job ends; on a cluster, look whether it still has workers."""
        import time

        alone = None
        while True:
            ended, _ = wait(running, timeout=None if self._client is None else _LOOK, return_when=FIRST_COMPLETED)
            if ended:
                return sorted(ended, key=running.__getitem__)
            if self._present():
                alone = None
                continue
            alone = alone or time.monotonic()
            if time.monotonic() - alone > _PATIENCE:
                raise CavityError(f"the cluster has had no workers for {_PATIENCE:g} s; finished cases are saved")


def _is_loss(error: Exception) -> bool:
    """Whether a job failed because its worker went away, not because of the job."""
    from concurrent.futures import CancelledError

    names = {kind.__name__ for kind in type(error).__mro__}
    return isinstance(error, CancelledError) or bool(
        names & {"KilledWorker", "CommClosedError", "FutureCancelledError"}
    )


def _connect(scheduler: str) -> Any:
    """Return a client of the scheduler, or report what is missing."""
    where = "--scheduler"
    try:
        from distributed import Client
    except ImportError:
        raise InputError(
            Fault(where, "dask.distributed is not installed", scheduler, "the extra 'cluster'",
                  'pip install "cavity[cluster]", or leave the option out: threads of this computer are used')
        ) from None  # fmt: skip
    expected = "the address a dask scheduler prints, such as tcp://192.168.0.5:8786"
    try:
        return Client(scheduler, timeout="10s", set_as_default=False)
    except (OSError, ValueError, TypeError, TimeoutError) as error:
        reason = str(error).splitlines()[0][:120] if str(error) else "no answer"
        raise InputError(
            Fault(where, f"the scheduler cannot be reached ({reason})", scheduler[:120], expected,
                  "start one with: dask scheduler; and workers with: dask worker ADDRESS")
        ) from None  # fmt: skip
