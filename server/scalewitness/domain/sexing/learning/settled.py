"""What is learned from: animals settled by confirmed proof, and who checked them unknowing."""

from decimal import Decimal

from msgspec import Struct

from scalewitness.domain.observations import Sex
from scalewitness.domain.sexing.evidence import Evidence


class SettledCheck(Struct, frozen=True):
    """One call on a settled animal by somebody who knew no answer and did not make the proof.
    ``grams`` and ``days`` (since hatching) as the record had them at the time, else None. Calls
    that were not blind, not their examiner's own, or of an animal whose code was not read are
    passed over."""

    call: Evidence
    grams: Decimal | None = None
    days: int | None = None


class SettledAnimal(Struct, frozen=True):
    """``collection`` is an opaque key: whose animal it was when it was settled."""

    species: str
    sex: Sex
    collection: str
    checks: tuple[SettledCheck, ...]
