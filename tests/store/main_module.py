"""The main module set aside while processes are started.

A process that is started anew runs the main module's file again. The dashboard's test runner leaves the dashboard's
own file there, and a child would then run a page instead of its work. A command of the tests, which children need to
find their work in, stays.
"""

from __future__ import annotations

import sys
from collections.abc import Iterator
from contextlib import contextmanager
from types import ModuleType


@contextmanager
def plain_main() -> Iterator[None]:
    """An empty main module, so that a child runs its own work alone."""
    kept = sys.modules["__main__"]
    spec = getattr(kept, "__spec__", None)
    if spec is not None and spec.name.startswith("tests."):
        yield
        return
    sys.modules["__main__"] = ModuleType("__main__")
    try:
        yield
    finally:
        sys.modules["__main__"] = kept
