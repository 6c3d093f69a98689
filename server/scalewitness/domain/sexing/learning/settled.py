"""What is learned from: animals settled by confirmed proof, and who checked them unknowing."""

from msgspec import Struct

from scalewitness.domain.observations import Sex
from scalewitness.domain.sexing.evidence import Evidence


class SettledAnimal(Struct, frozen=True):
    """``collection`` is an opaque key: whose animal it was when it was settled. ``checks`` are
    the calls on it by those who did not make the proof. Of these the ones that were not blind,
    not their examiner's own, or on an animal whose code was not read are passed over."""

    species: str
    sex: Sex
    collection: str
    checks: tuple[Evidence, ...]
