"""What the record makes of photos that strangers compared: a pure function of values."""

from collections.abc import Iterable

from scalewitness.domain.sexing.evidence import Compared


def after_comparisons(answers: Iterable[tuple[object, Compared]]) -> Compared | None:
    """``answers``: by whom and what, in log order. The last word of each counts, and one who sees
    another animal outweighs all who see the same: friends are easily found (our judgement)."""
    last = dict(answers)
    if not last:
        return None
    return "another" if "another" in last.values() else "same"
