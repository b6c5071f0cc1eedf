"""Where the time of a long work goes, and how far it has come."""

from __future__ import annotations

import time
from collections.abc import Callable
from dataclasses import dataclass, field

# Called with a step's name, how much of it is done, and of how much.
Progress = Callable[[str, int, int], None]


@dataclass
class Clock:
    """Seconds by step."""

    laps: dict[str, float] = field(default_factory=dict)
    last: float = field(default_factory=time.perf_counter)

    def lap(self, name: str) -> None:
        """Book the time since the last lap under a name."""
        now = time.perf_counter()
        self.laps[name] = round(now - self.last, 4)
        self.last = now
