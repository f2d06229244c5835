"""The simulator compiled: the functions of `processes/`, `step`, `sight` and `loop` as they stand, member by member.

Compiled code is kept in the cache folder, under a name made from a digest of every source that went into it: an edit
anywhere makes a new folder, so that old code is never run in its place. Members run in two plain threads (numba with
nogil), so a page keeps answering meanwhile. Without numba the numpy form in `loop.run_all` does the same, slower.
"""

from __future__ import annotations

import hashlib
import importlib
import inspect
import types
from collections.abc import Callable, Iterator
from concurrent.futures import ThreadPoolExecutor
from functools import cache
from pathlib import Path
from typing import Any

from leadline.model import evaporation, loop, primitives, sight, step
from leadline.seawater import density, equilibria, oxygen

THREADS = 2
_ROOTS = (loop.run,)


def _modules() -> list[types.ModuleType]:
    """Every module whose functions the kernel may call."""
    import pkgutil

    from leadline.model import draw, layout, processes

    each = [importlib.import_module(f"{processes.__name__}.{m.name}") for m in pkgutil.iter_modules(processes.__path__)]
    return [*each, draw, layout, primitives, evaporation, sight, step, loop, equilibria, oxygen, density]


def digest() -> str:
    """A name for the compiled code: it changes when any source, numba, numpy or Python does."""
    import sys

    import numba
    import numpy

    parts = [numba.__version__, numpy.__version__, sys.version]
    parts += [Path(str(m.__file__)).read_text(encoding="utf-8") for m in _modules() if m.__file__]
    return hashlib.sha256("\0".join(parts).encode()).hexdigest()[:16]


def available() -> bool:
    """Whether the compiler is installed."""
    import importlib.util

    return importlib.util.find_spec("numba") is not None


def is_cached(folder: Path) -> bool:
    """Whether this code was compiled before, so that nobody has to wait."""
    return available() and any((folder / digest()).glob("**/*.nbi"))


def _functions() -> Iterator[Callable[..., Any]]:
    for module in _modules():
        for _, function in inspect.getmembers(module, inspect.isfunction):
            if function.__module__ == module.__name__ and function not in (loop.run, loop.run_all):
                yield function


# no annotations: the compiler wants the arguments named as in its typing lambda, and nothing more
_pick_one = lambda condition, then, otherwise: then if condition else otherwise  # noqa: E731


@cache
def compiled(folder: Path) -> Callable[..., int]:
    """The kernel, ready to be called with `loop.run`'s arguments; compiles at its first call when not cached."""
    import numba
    import numpy as np
    from numba.extending import overload, register_jitable

    place = folder / digest()
    try:
        place.mkdir(parents=True, exist_ok=True)
        keep = True
    except OSError:  # nowhere to keep it: compiled anew each time, and just as right
        keep = False
    numba.config.CACHE_DIR = str(place) if keep else ""  # type: ignore[attr-defined]

    # numpy stands for `math` in compiled code; both lambdas must name their arguments alike
    overload(equilibria.maths)(lambda *values: lambda *values: np)
    overload(primitives.some)(lambda condition: lambda condition: condition)
    overload(primitives.pick)(lambda condition, then, otherwise: _pick_one)
    for function in _functions():
        if function not in (equilibria.maths, primitives.pick, primitives.some):
            register_jitable(forceinline=True)(function)  # a third less time than calls
    # without reference counts (`_nrt`): nothing here makes an array, and counting them costs more than the arithmetic
    how: dict[str, Any] = {"_nrt": False, "fastmath": {"nsz", "arcp", "contract"}}
    found: Callable[..., int] = numba.njit(cache=keep, nogil=True, error_model="numpy", **how)(loop.run)
    return found


def run_members(kernel: Callable[..., int], shared: tuple[Any, ...], each: list[tuple[Any, ...]]) -> list[int]:
    """Run the members in two threads over contiguous blocks; `each` holds a member's own arrays.

    Order and results don't depend on the threads: a member reads and writes its own arrays alone.
    """

    def block(members: list[tuple[Any, ...]]) -> list[int]:
        return [
            kernel(*own[:7], *shared[:8], own[7], own[8], *shared[8:12], own[9], shared[12], own[10], own[11])
            for own in members
        ]

    half = (len(each) + THREADS - 1) // THREADS
    if len(each) < 2:
        return block(each)
    with ThreadPoolExecutor(THREADS) as pool:
        return [code for part in pool.map(block, (each[:half], each[half:])) for code in part]
