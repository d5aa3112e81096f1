"""Keep the imaging library's warnings about odd files out of the log; refusals say what matters."""

import threading
import warnings
from collections.abc import Iterator
from contextlib import contextmanager

_lock = threading.RLock()  # warning filters are global to the process, and pages run in threads


@contextmanager
def quiet_warnings() -> Iterator[None]:
    """Silence Python warnings inside the block, one thread at a time."""
    with _lock, warnings.catch_warnings():
        warnings.simplefilter("ignore")
        yield
