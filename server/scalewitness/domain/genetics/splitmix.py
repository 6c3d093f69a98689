"""Numbers that look random and hang on a seed alone, whatever asked before."""

STEP = 0x9E3779B97F4A7C15
"""Between the words of a series, which :func:`finalized` makes look random (SplitMix64: Steele, Lea
and Flood 2014, Fast splittable pseudorandom number generators)."""
_WORD = (1 << 64) - 1


def finalized(word: int) -> int:
    """64 bits of the last 64 of a whole number; no two of these come to the same."""
    word &= _WORD
    word = (word ^ (word >> 30)) * 0xBF58476D1CE4E5B9 & _WORD
    word = (word ^ (word >> 27)) * 0x94D049BB133111EB & _WORD
    return word ^ (word >> 31)


def share(word: int) -> float:
    """Of its first 53 bits: at least 0 and below 1."""
    return (word >> 11) * 2.0**-53
