"""Where work on many jobs is done: on this machine's cores, or on a Dask cluster; the callers only know `map`.

A task is a plain function of this package and what it needs, so that where it runs changes nothing of what comes out.
The kernels may not be called from two threads of one process at once, so a worker has one thread.
"""

from __future__ import annotations

import hashlib
import importlib.metadata
import itertools
import os
import re
from collections.abc import Callable, Iterable, Iterator
from concurrent.futures import Executor, ProcessPoolExecutor
from concurrent.futures.process import BrokenProcessPool
from contextlib import contextmanager
from multiprocessing import get_context
from pathlib import Path
from typing import Any, Protocol, TypeVar

from proofpatch.errors import InputError

Asked = TypeVar("Asked")
Found = TypeVar("Found")
FIELD = "cluster"
PATIENCE = 10.0  # s for a scheduler to answer, and for a first worker to be there
ADDRESS = re.compile(r"(\w+://)?\S+:\d+/?")
AT_ONCE = 64  # tasks sent together; thousands of photos are never in memory at once
START = "Start one with: dask worker {} --nthreads 1"


class Each(Protocol):
    """Does a task to each of many, in their order; as `map`."""

    def __call__(self, do: Callable[[Asked], Found], many: Iterable[Asked], /) -> Iterator[Found]:
        """The results, in the order of what was asked."""


@contextmanager
def pool(address: str | None = None) -> Iterator[Executor]:
    """An executor: this machine's cores, or the cluster whose scheduler is at this address.

    Raises:
        InputError: no scheduler answers there, it has no worker, or a worker has no or another proofpatch.
    """
    if address is None:
        with ProcessPoolExecutor(mp_context=get_context("spawn"), initializer=_alone) as found:
            yield found
        return
    client = _client(address)
    try:
        _check_workers(client, address)
        yield client.get_executor(pure=False)
    finally:
        client.close()


@contextmanager
def each_on(address: str | None = None) -> Iterator[Each]:
    """`map` on a pool: results in the order of what was asked, some tasks sent at a time. Errors as `pool`.

    Raises:
        InputError: the workers were lost on the way; what was asked is not done.
    """
    with pool(address) as found:

        def each(do: Callable[[Asked], Found], many: Iterable[Asked]) -> Iterator[Found]:
            rest = iter(many)
            while part := list(itertools.islice(rest, AT_ONCE)):
                try:
                    yield from found.map(do, part)
                except BrokenProcessPool:
                    raise InputError(
                        FIELD, "A worker of this machine ended half-way.", "Is there memory left?"
                    ) from None
                except Exception as trouble:
                    # A worker that is lost is made good by another; this is said when several were lost on one task.
                    if type(trouble).__name__ != "KilledWorker":
                        raise
                    said = "Several workers ended at the same task."
                    raise InputError(FIELD, said, "Have they memory left, and all this proofpatch?") from None

        yield each


def seal() -> str:
    """Of the code and the data of this package: two machines with the same one work out the same."""
    said, root = hashlib.sha256(), Path(__file__).parent
    for path in sorted(one for one in root.rglob("*") if one.suffix in (".py", ".csv", ".toml")):
        said.update(path.relative_to(root).as_posix().encode() + b"\0" + path.read_bytes())
    return said.hexdigest()


def _client(address: str) -> Any:
    try:
        from distributed import Client
    except ImportError:
        said = "A cluster needs the library distributed, which is not installed."
        raise InputError(FIELD, said, 'Install it with: pip install "proofpatch[cluster]"') from None
    said = f"No Dask scheduler answers at {address[:80]!r}."
    silent = InputError(FIELD, said, "Start one with: dask scheduler; it prints its address.")
    if not ADDRESS.fullmatch(address):  # the library would look for it long, and end in a trace of its own
        raise silent
    try:
        return Client(address, timeout=PATIENCE, set_as_default=False)
    except (OSError, ValueError, TypeError, KeyError):
        raise silent from None


def _check_workers(client: Any, address: str) -> None:
    """Whether all workers there are can do it, asked in words that every Python knows: one that lacks proofpatch would
    end at the first word of ours."""
    try:
        client.wait_for_workers(1, timeout=PATIENCE)
    except TimeoutError:
        raise InputError(FIELD, "The cluster has no worker.", START.format(address)) from None
    ours = importlib.metadata.version("proofpatch")
    for worker, version in client.run(importlib.metadata.version, "proofpatch", on_error="return").items():
        if isinstance(version, importlib.metadata.PackageNotFoundError):
            raise InputError(FIELD, f"The worker at {worker} has no proofpatch.", f"Install {ours} there.")
        if version != ours:
            raise InputError(FIELD, f"The worker at {worker} has proofpatch {version}.", f"Install {ours} there.")
    own = seal()
    for worker, theirs in client.run(seal, on_error="return").items():
        if theirs != own:
            said = f"The worker at {worker} has another proofpatch of the same number."
            raise InputError(FIELD, said, "Install the same file on every machine.")
    for worker, known in client.scheduler_info(n_workers=-1)["workers"].items():
        if known["nthreads"] != 1:
            said = f"The worker at {worker} does {known['nthreads']} tasks at once in one process."
            raise InputError(FIELD, said, START.format(address))


def _alone() -> None:
    """One of several workers of this machine: it takes one core, as the others do."""
    os.environ["OPENBLAS_NUM_THREADS"] = "1"
    from proofpatch.physics.elementwise import numba

    if numba is not None:
        numba.set_num_threads(1)
