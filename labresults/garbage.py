"""When the search for circular garbage waits."""

import gc
from collections.abc import Iterator
from contextlib import contextmanager


@contextmanager
def collecting_later() -> Iterator[None]:
    """Let the search for circular garbage wait. Rows in bulk make none, and it would look through them over and over:
    a fifth of the time of a large run. It goes on by whoever found it on, so that acts side by side leave it on.
    """
    was_on = gc.isenabled()
    gc.disable()
    try:
        yield
    finally:
        if was_on:
            gc.enable()
