"""Comparing what was found with what is there."""


def matched(truth, found, within):
    """Pair true and found sizes kind by kind; ``within(size)`` is how far a found size may be off.

    Gives hits, misses and inventions as lists of (kind, size).
    """
    hits, missed = [], []
    left = {kind: sorted(sizes) for kind, sizes in found.items()}
    for kind, sizes in truth.items():
        for size in sorted(sizes):
            near = min(left.get(kind, ()), key=lambda one: abs(one - size), default=None)
            if near is not None and abs(near - size) <= within(size):
                left[kind].remove(near)
                hits.append((kind, size))
            else:
                missed.append((kind, size))
    invented = [(kind, size) for kind, sizes in left.items() for size in sizes]
    return hits, missed, invented


def clean_bound(size):
    """0.02 mm or 0.2 %, the larger."""
    return max(0.02, 0.002 * size)


def noisy_bound(size):
    """0.05 mm or 2 %, the larger."""
    return max(0.05, 0.02 * size)
