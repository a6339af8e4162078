"""Saying that code is being compiled, once on each machine, so that nobody takes the wait for a fault."""

from __future__ import annotations

import sys
from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any

SAID = "samestone: compiling once, about {}"


@contextmanager
def announced(wait: str) -> Iterator[None]:
    """While this lasts, the first code that is compiled and not taken from the cache is announced on stderr, with how
    long all of it takes."""
    from numba.core import event

    class Announcer(event.Listener):  # type: ignore[misc,unused-ignore]
        said = False

        def on_start(self, event: Any) -> None:
            if not self.said:
                self.said = True
                print(SAID.format(wait), file=sys.stderr, flush=True)

        def on_end(self, event: Any) -> None:
            """Nothing is left to be said."""

    with event.install_listener("numba:compile", Announcer()):
        yield
