"""How far a run is: a line that is written over on a terminal, one line a minute in a pipe."""

import time
from collections.abc import Callable
from typing import TextIO

#: Time between two lines in a pipe, and between two on a terminal [s].
_PIPE_S = 60.0
_TERMINAL_S = 0.2


class ShownProgress:
    """
    Shows how far a run is, and how long the rest will take.

    Parameters
    ----------
    stream : TextIO
        Where to write.
    clock : callable
        Seconds, from any start [s].
    """

    def __init__(self, stream: TextIO, clock: Callable[[], float] = time.monotonic) -> None:
        self._stream = stream
        self._clock = clock
        self._step = ""
        self._start_s = self._shown_s = 0.0
        self._start_share = 0.0
        self._width = 0

    def __call__(self, step: str, done: int, count: int, share: float) -> None:
        """
        Take in a finished piece.

        Parameters
        ----------
        step : str
            What is being done.
        done, count : int
            Pieces done, and all.
        share : float
            Share of the work that is done [1].
        """
        now_s = self._clock()
        if step != self._step:
            self._step, self._start_s, self._start_share = step, now_s, share
            self._shown_s = now_s
        is_terminal = self._stream.isatty()
        is_last = done == count
        if now_s - self._shown_s < (_TERMINAL_S if is_terminal else _PIPE_S) and not is_last:
            return
        if is_last and not is_terminal and now_s - self._start_s < _PIPE_S:
            return
        self._shown_s = now_s
        text = f"{step}: {done} of {count}{self._rest(now_s, share)}"
        if is_terminal:
            self._stream.write(f"\r{text.ljust(self._width)}" + ("\n" if is_last else ""))
            self._width = 0 if is_last else len(text)
        else:
            self._stream.write(f"{text}\n")
        self._stream.flush()

    def _rest(self, now_s: float, share: float) -> str:
        """Return in words how long the rest will take; nothing before it can be told."""
        done = share - self._start_share
        if done <= 0 or share >= 1:
            return ""
        left_s = (now_s - self._start_s) * (1 - share) / done
        return f", {_words(left_s)} left"


def _words(seconds: float) -> str:
    """Return a length of time, rounded up."""
    if seconds < 60:
        return f"{int(seconds) + 1} s"
    if seconds < 5400:
        return f"{int(seconds / 60) + 1} min"
    return f"{seconds / 3600:.1f} h"
