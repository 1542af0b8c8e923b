"""How sure a share is that was counted on a sample."""

import math


def wilson(hits: int, count: int, z: float = 1.959964) -> tuple[float, float]:
    """The 95 % score interval of a share (E. B. Wilson, J. Am. Stat. Assoc. 22, 1927)."""
    share, scale = hits / count, 1.0 + z * z / count
    middle = share + z * z / (2 * count)
    half = z * math.sqrt(share * (1 - share) / count + z * z / (4 * count * count))
    return max(0.0, (middle - half) / scale), min(1.0, (middle + half) / scale)
