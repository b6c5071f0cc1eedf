"""How much memory a solve will take, and whether the machine has it."""

from __future__ import annotations

import os
from pathlib import Path

from orient.errors import OrientError

# Measured peak of a solve, set-up included, over parts thick and thin.
BYTES_A_CELL = 12_000
# Leave the rest of the machine some room.
_SHARE = 0.8


def check_memory(cells: int) -> None:
    """Refuse a number of cells that the machine cannot hold.

    Parameters
    ----------
    cells : int
        Cells expected.

    Raises
    ------
    OrientError
        With both numbers.
    """
    free = available_bytes()
    needed = cells * BYTES_A_CELL
    if free is not None and needed > _SHARE * free:
        most = int(_SHARE * free / BYTES_A_CELL)
        most -= most % 10 ** max(len(str(most)) - 2, 0)
        raise OrientError(
            f"{cells:,} cells would take about {needed / 1e9:.1f} GB and this machine has {free / 1e9:.1f} "
            f"GB free: ask for fewer, at most about {most:,}."
        )


def available_bytes() -> int | None:
    """Memory that is free for a new program, in bytes; None where the machine does not say."""
    try:
        for line in Path("/proc/meminfo").read_text().splitlines():
            if line.startswith("MemAvailable:"):
                return int(line.split()[1]) * 1024
    except OSError:
        pass
    try:
        return os.sysconf("SC_PAGE_SIZE") * os.sysconf("SC_PHYS_PAGES") // 2
    except (ValueError, OSError, AttributeError):
        return None
