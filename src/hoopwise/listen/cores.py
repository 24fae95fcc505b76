"""The same work on many taps, spread over the processor's cores.

Threads and not processes: numpy lets go of the interpreter's lock in all that takes long
here, and nothing has to be copied. Results come in the order of the items, so that a sum
over them is the same on any machine.
"""

import os
import threading
from collections.abc import Callable, Sequence
from concurrent.futures import ThreadPoolExecutor
from functools import lru_cache
from typing import Final, TypeVar

Item = TypeVar("Item")
Result = TypeVar("Result")

MOST_THREADS: Final = 4
"""More gain little: the parts that hold the lock are then in each other's way."""
_busy = threading.local()


def on_cores(work: Callable[[Item], Result], items: Sequence[Item]) -> list[Result]:
    """``work`` of each item, in order; one after the other inside work that is spread already.

    The work must not depend on the order in which it is done. What it raises is raised here.
    """
    pool = _pool()
    if pool is None or len(items) < 2 or getattr(_busy, "now", False):
        return [work(item) for item in items]
    return list(pool.map(work, items))


@lru_cache(maxsize=1)
def _pool() -> ThreadPoolExecutor | None:
    count = min(MOST_THREADS, os.cpu_count() or 1)
    if count < 2:
        return None
    return ThreadPoolExecutor(count, thread_name_prefix="hoopwise", initializer=_mark)


def _mark() -> None:
    """A worker that waited for other workers of the same pool could wait for ever."""
    _busy.now = True


if hasattr(os, "register_at_fork"):
    # a forked process inherits the pool but not its threads
    os.register_at_fork(after_in_child=_pool.cache_clear)
