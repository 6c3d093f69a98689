"""What speaks against checking this animal today. Values in, sentences out."""

from datetime import datetime

from scalewitness.animals.queries import LastNoted
from scalewitness.domain.cautions import reasons_to_wait


def warnings(condition: LastNoted, *, hold_off: bool, now: datetime, steward: bool) -> list[str]:
    """Reasons to wait, the weightiest first; see :func:`reasons_to_wait`."""
    return list(reasons_to_wait(condition, hold_off=hold_off, now=now, steward=steward))
