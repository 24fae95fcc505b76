"""In which order to go round the rods.

Star order, the rod across right after each rod, is common practice, no source.
"""

from collections.abc import Sequence


def across(rod: int, rods: int) -> int | None:
    """The rod opposite; None on a hoop with an odd number of rods."""
    return (rod - 1 + rods // 2) % rods + 1 if rods % 2 == 0 else None


def star_order(rods: int) -> tuple[int, ...]:
    """Rod numbers so that each pass pulls the hoop down evenly.

    With an even number each rod is followed by the one across, and pairs lie as far from
    the last ones as can be; with an odd number the order jumps almost half way each time.

    Examples
    --------
    >>> star_order(6)
    (1, 4, 2, 5, 3, 6)
    >>> star_order(5)
    (1, 3, 5, 2, 4)
    """
    if rods % 2:
        return tuple((i * (rods // 2)) % rods + 1 for i in range(rods))
    half = rods // 2
    left = list(range(half))
    pairs = [left.pop(0)]
    while left:
        # The pair whose nearest earlier pair is furthest, recent ones counting most.
        def room(p: int) -> tuple[float, int]:
            gaps = [min((p - q) % half, (q - p) % half) for q in pairs]
            return (min(gaps) + 0.5 * gaps[-1], -p)

        best = max(left, key=room)
        left.remove(best)
        pairs.append(best)
    return tuple(r for p in pairs for r in (p + 1, p + 1 + half))


def working_order(turns: Sequence[float]) -> tuple[int, ...]:
    """Rods to be turned, the largest turn first, the rod across right after."""
    rods = len(turns)
    waiting = sorted((i + 1 for i in range(rods) if turns[i]), key=lambda r: -abs(turns[r - 1]))
    order: list[int] = []
    while waiting:
        rod = waiting.pop(0)
        order.append(rod)
        opposite = across(rod, rods)
        if opposite in waiting:
            waiting.remove(opposite)
            order.append(opposite)
    return tuple(order)
