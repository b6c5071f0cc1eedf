"""Where the work is done: workers of this machine, or a Dask scheduler that is already there."""

from __future__ import annotations

import gc
import logging
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from tempfile import TemporaryDirectory
from typing import Any

from orient.errors import OrientError

INSTALL = "pip install distributed psutil"
# How the scheduler is asked to hand out work (distributed's own configuration).
CONFIG = {
    # A worker holds the file that it evaluates and no other, so that none waits behind a slow one.
    "distributed.scheduler.worker-saturation": 1.0,
    # A file whose worker was lost twice is set aside.
    "distributed.scheduler.allowed-failures": 1,
    # Evaluations hold their process's memory, not the worker's, and limit it themselves.
    "distributed.worker.memory.target": False,
    "distributed.worker.memory.spill": False,
    "distributed.worker.memory.pause": False,
    "distributed.worker.memory.terminate": False,
    # A scheduler and its workers look at themselves a hundred times a second; on two processors that is a
    # twentieth of what evaluates.
    "distributed.worker.profile.enabled": False,
    "distributed.admin.tick.interval": "500ms",
    "distributed.admin.system-monitor.interval": "5s",
    "distributed.admin.system-monitor.gil.enabled": False,
}
_ANSWERS_WITHIN_S = 15


@contextmanager
def workers(scheduler: str | None, count: int) -> Iterator[Any]:
    """Give a client of the scheduler named, or of workers that are started here.

    Parameters
    ----------
    scheduler : str or None
        Address, such as ``tcp://10.0.0.7:8786``.
    count : int
        How many workers to start where no scheduler is named.

    Yields
    ------
    distributed.Client

    Raises
    ------
    OrientError
        When Dask is not installed, or no scheduler answers.
    """
    try:
        import dask
        from distributed import Client, LocalCluster
    except ImportError:
        raise OrientError(f"Many parts are evaluated on Dask, which is not there: {INSTALL}.") from None

    with dask.config.set(CONFIG), _unlogged():
        if scheduler is not None:
            with _client_of(scheduler, Client) as client:
                _ready(client, scheduler)
                yield client
            return
        with (
            TemporaryDirectory(prefix="orient-") as scratch,
            LocalCluster(
                n_workers=count,
                threads_per_worker=1,
                processes=True,
                host="127.0.0.1",
                memory_limit=0,
                dashboard_address=None,
                worker_dashboard_address=None,
                local_directory=scratch,
                silence_logs=logging.CRITICAL,
            ) as cluster,
            Client(cluster, set_as_default=False) as client,
        ):
            yield client


def _client_of(scheduler: str, make: Any) -> Any:
    try:
        return make(scheduler, timeout=_ANSWERS_WITHIN_S, set_as_default=False)
    except (OSError, ValueError, TimeoutError):
        pass
    # The client that was half made complains once more when it is cleared away.
    heard, sys.unraisablehook = sys.unraisablehook, lambda _: None
    gc.collect()
    sys.unraisablehook = heard
    raise OrientError(
        f"No scheduler answers at {scheduler}: start one with `dask scheduler`, and workers with "
        "`dask worker`, or leave --scheduler out."
    )


def _ready(client: Any, scheduler: str) -> None:
    """See that there are workers, and that the program is installed wherever its work is handed to."""
    try:
        client.wait_for_workers(1, timeout=_ANSWERS_WITHIN_S)
    except TimeoutError:
        raise OrientError(
            f"No worker is connected to {scheduler}: start one with `dask worker {scheduler}`."
        ) from None
    for where, run in (("the scheduler", client.run_on_scheduler), ("a worker", client.run)):
        try:
            # A function of Python itself, since none of ours can be named where ours are missing.
            run(exec, "import orient.fleet.limited")
        except ImportError as error:
            raise OrientError(
                f"{where.capitalize()} of {scheduler} cannot load the program ({error}): install orient with "
                "its extra fleet there too."
            ) from None


@contextmanager
def _unlogged() -> Iterator[None]:
    """Log nothing: what becomes of a worker or a scheduler is told by what becomes of its files."""
    before = logging.root.manager.disable
    logging.disable(logging.CRITICAL)
    try:
        yield
    finally:
        logging.disable(before)
