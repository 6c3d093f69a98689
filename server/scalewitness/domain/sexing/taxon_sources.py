"""What published sources give of a species, as the taxa keep it."""

from decimal import Decimal
from typing import Final, Literal, get_args

from msgspec import Struct

from scalewitness.domain.observations import Sex
from scalewitness.domain.sexing.parameters import Status

Range = tuple[Decimal, Decimal]
SexSystem = Literal["XY", "ZW", "unknown"]
Level = Literal["species", "genus", "family"]
"""Whose sex chromosomes a statement rests on; ``family`` stands for wider groups too."""
Ground = Literal["published", "learned here", "web page", "from memory", "in general"]
"""What a range rests on, best first; ``learned here`` from this record's own settled animals, ``in
general`` is borrowed from a relative or from all snakes, by whatever source."""
Character = Literal[
    "subcaudals", "ventrals", "ventrals_less_subcaudals", "tail_over_total", "tail_over_body"
]
"""What is counted or measured: scales, or the tail as a share of the whole length or of that
from snout to vent."""

GROUNDS: Final[tuple[Ground, ...]] = get_args(Ground)


class RangeSource(Struct, frozen=True):
    """What one source gives, lowest and highest; None where it gives nothing. ``about`` says
    what it is about where that is not this species."""

    female: Range | None
    male: Range | None
    source: str
    status: Status
    note: str = ""
    about: str = ""

    @property
    def ground(self) -> Ground:
        """What a range from this source rests on."""
        if self.about:
            return "in general"
        return "from memory" if self.status not in GROUNDS else self.status


class Spread(Struct, frozen=True):
    """What one source gives of one sex, in scales or shares: ends, mean, standard deviation or
    standard error, animals counted; None where it does not say."""

    low: Decimal | None = None
    high: Decimal | None = None
    mean: Decimal | None = None
    sd: Decimal | None = None
    se: Decimal | None = None
    n: int | None = None

    @property
    def ends(self) -> Range | None:
        return None if self.low is None or self.high is None else (self.low, self.high)

    @property
    def deviation(self) -> Decimal | None:
        """The standard deviation, from the standard error where only that is given."""
        if self.sd is None and self.se is not None and self.n is not None:
            return self.se * Decimal(self.n).sqrt()
        return self.sd


class CountSource(Struct, frozen=True):
    """What one source gives of one character in either sex; None where it gives nothing."""

    character: Character
    female: Spread | None
    male: Spread | None
    source: str
    status: Status
    note: str = ""

    def of(self, sex: Sex) -> Spread | None:
        return self.male if sex == "male" else self.female

    def as_ranges(self) -> RangeSource:
        """Its ends alone."""
        female, male = (one.ends if one else None for one in (self.female, self.male))
        return RangeSource(female, male, self.source, self.status, self.note)


class Marker(Struct, frozen=True):
    """A DNA test published for this species. ``one_sex_only``: its source found it in one sex
    only, not merely more often; ``males`` and ``females`` tested, None where not known."""

    name: str
    one_sex_only: bool
    males: int | None
    females: int | None
    source: str
    status: Status
    note: str


class Stages(Struct, frozen=True):
    """Hatchling up to and with ``hatchling_*``, adult from ``adult_*`` on; days, grams."""

    hatchling_days: int
    adult_days: int
    hatchling_grams: Decimal | None
    adult_grams: Decimal | None
    status: Status
    note: str
