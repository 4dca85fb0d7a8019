"""Packages taken along without what a small board has no use for."""

from __future__ import annotations

import sys
from collections.abc import Iterator
from contextlib import contextmanager
from inspect import iscoroutinefunction
from types import ModuleType
from typing import Any

# OpenSSL, 4 MB: hashlib takes its sums where it can, asyncio its sockets; both do without. Whoever
# speaks to a weather service imports ssl for itself.
OPENSSL = ("_hashlib", "ssl", "_ssl")


@contextmanager
def out_of_sight(*names: str) -> Iterator[None]:
    """Keep packages from being imported meanwhile, but for those that are there already.

    sqlite-utils takes what it can see of numpy and pandas, for column types nobody here uses: 49 MB
    of a small board's memory.
    """
    hidden = [name for name in names if name not in sys.modules]
    blocked: dict[str, Any] = dict.fromkeys(hidden)  # None there: an import fails
    sys.modules.update(blocked)
    try:
        yield
    finally:
        for name in hidden:
            sys.modules.pop(name, None)


@contextmanager
def little_of_asyncio() -> Iterator[None]:
    """Let APScheduler have the one function of asyncio that it uses, if asyncio is not there yet.

    All of asyncio takes 1.1 MB.
    """
    if "asyncio" in sys.modules:
        yield
        return
    stand_in: Any = ModuleType("asyncio")
    stand_in.iscoroutinefunction = iscoroutinefunction
    sys.modules["asyncio"] = stand_in
    try:
        yield
    finally:
        del sys.modules["asyncio"]


with out_of_sight(*OPENSSL):
    from hashlib import sha256

__all__ = ["OPENSSL", "little_of_asyncio", "out_of_sight", "sha256"]
