"""Work in another process, so that the page answers while a solid is built.

A worker ends by itself when the program that started it is gone, however that ended.
"""

from __future__ import annotations

from collections.abc import Callable
from concurrent.futures.process import BrokenProcessPool
from typing import Any

from partgen.core.errors import InputError, OutsideError
from partgen.core.worker_pool import Pool

LIMIT = 600.0
"""Seconds for one call: a plan of a thousand positions takes some ten."""


class Worker:
    """One process that answers calls of module-level functions, one after the other."""

    def __init__(self) -> None:
        self._pool = Pool("spawn", 1)

    def ask(self, function: Callable[..., Any], *arguments: object) -> Any:  # noqa: ANN401 - whatever it returns
        """What `function(*arguments)` gives over there. Raises what it raised; OutsideError if the process died."""
        from pebble import ProcessExpired

        try:
            return self._pool.schedule(function, *arguments, timeout=LIMIT).result()
        except InputError:
            raise
        except TimeoutError as error:
            raise OutsideError(f"what was to be worked out took more than {LIMIT:.0f} s; try again") from error
        except (BrokenProcessPool, ProcessExpired) as error:
            raise OutsideError("the process that works things out ended; try again") from error
        except Exception as error:  # it belongs to whoever asked
            raise OutsideError(str(error) or type(error).__name__) from error

    def stop(self) -> None:
        """End the process; the next call starts another."""
        self._pool.stop()
