"""What was made before the day begins is looked at by no collection of garbage while it runs."""

from __future__ import annotations

import gc
from collections.abc import Iterator
from contextlib import contextmanager


@contextmanager
def at_rest() -> Iterator[None]:
    """Set aside all objects there are now, until the end of the context.

    A full collection looks at every object: a hundred thousand of modules and models, a tenth of a second in which no
    line is read and no key is answered, again and again as a day goes on. What the day itself makes is a tenth of that.
    """
    gc.collect()
    gc.freeze()
    try:
        yield
    finally:
        gc.unfreeze()
