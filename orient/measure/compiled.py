"""Whether the compiled loops are at hand already, or will be made on this run."""

from __future__ import annotations

from pathlib import Path


def compiled_before() -> bool:
    """True when an earlier run left its compiled column kernel on this machine."""
    from orient.measure.columns import _count

    cache = getattr(_count, "_cache", None)
    folder = getattr(cache, "cache_path", None)
    return folder is not None and any(Path(folder).glob("columns._count-*.nbc"))
