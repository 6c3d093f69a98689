"""What an examiner saw: one typed record per method of sexing a snake.

These are the ``observed`` member of a call, tagged by ``method``. Measures that matter
are decimal strings, so that the log's bytes never depend on a float.
"""

from collections.abc import Mapping
from decimal import Decimal
from types import MappingProxyType
from typing import Annotated, Literal

from msgspec import Meta, Struct

Sex = Literal["male", "female"]
Conclusion = Literal["male", "female", "undetermined"]
Sureness = Literal["certain", "fairly_sure", "unsure"]
Side = Literal["left", "right"]
LifeStage = Literal["hatchling", "juvenile", "adult", "unknown"]
Stop = Literal["resistance", "choice", "aborted"]
Holder = Literal["examiner", "keeper", "second_person", "sedated", "not_held"]
IdentifiedBy = Literal["transponder", "tag", "scale_photo", "keeper_said", "appearance"]
ShedStage = Literal["opaque", "clear", "shed"]
Harm = Literal["bleeding", "swelling", "discharge", "straining", "prolapse", "other"]

HalfScales = Annotated[str, Meta(pattern=r"^(0|[1-9][0-9]?)(\.5)?$")]
Millimetres = Annotated[str, Meta(pattern=r"^(0|[1-9][0-9]?)(\.[0-9]{1,2})?$")]
MOST_COUNTED = 400
"""Scales or young; no snake comes near it (our judgement, an input guard only)."""
Count = Annotated[int, Meta(ge=0, le=MOST_COUNTED)]
MOST_RUN = 96
"""Replicates or controls: the wells of a plate (our judgement, an input guard only)."""
MARKER = r"^[A-Za-z0-9][A-Za-z0-9 ._/-]{0,39}$"
Marker = Annotated[str, Meta(pattern=MARKER)]
"""A locus or primer pair as laboratories write it; never a person."""

DEEPEST = Decimal(30)
"""Subcaudal scales; twice the deepest published range (our judgement, an input guard only)."""
PROBE_MM = (Decimal("0.3"), Decimal("8"))
"""Probe sets run from about 0.8 to 5 mm (common practice, no source); guard set wider."""


class Observed(Struct, frozen=True, forbid_unknown_fields=True, omit_defaults=True):
    """Base of all observations; no method, so it never appears itself."""


class Pass(Observed, frozen=True):
    """One run of the probe on one side.

    ``depth`` in subcaudal scales to the half. ``stopped``: ``resistance`` ended it,
    ``choice`` while still gliding (a lower bound), or it was ``aborted`` (says nothing).
    """

    side: Side
    depth: HalfScales
    stopped: Stop

    @property
    def scales(self) -> Decimal:
        return Decimal(self.depth)


class Probing(Observed, frozen=True, tag_field="method", tag="probing"):
    """A blunt probe beside the tail; no passes when only the conclusion was reported.
    ``unusual``: the examiner insists on a depth that no source gives."""

    passes: tuple[Pass, ...] = ()
    probe_mm: Millimetres | None = None
    unusual: bool = False


class Eversion(Observed, frozen=True, tag_field="method", tag="eversion"):
    """Hemipenes everted by hand in a hatchling, or seen out of their own accord."""

    manner: Literal["manual", "spontaneous"]
    seen: Literal["hemipenes", "nothing", "unclear"]


class Ultrasound(Observed, frozen=True, tag_field="method", tag="ultrasound"):
    seen: Literal["hemipenes", "testes", "ovaries", "follicles", "pockets", "unclear"]


class Radiography(Observed, frozen=True, tag_field="method", tag="radiography"):
    contrast: bool
    seen: Literal["hemipenes", "none", "unclear"]


class Endoscopy(Observed, frozen=True, tag_field="method", tag="endoscopy"):
    """The gonads themselves, seen by endoscope, or ``post_mortem`` in a dissection. ``both``:
    organs of both sexes, in an animal that is neither male nor female."""

    seen: Literal["testes", "ovaries", "both", "unclear"]
    post_mortem: bool = False


class Dna(Observed, frozen=True, tag_field="method", tag="dna"):
    """A sex-linked marker. ``system`` is the one the assay assumes; the taxon decides
    whether that is evidence. As far as the laboratory reports it: the ``marker``, how many
    ``replicates`` were run of the sample, and how many of the controls failed."""

    system: Literal["XY", "ZW"]
    sample: Literal["shed", "blood", "swab", "tissue"]
    found: Literal["heterogametic", "homogametic", "failed"]
    marker: Marker | None = None
    replicates: Annotated[int, Meta(ge=1, le=MOST_RUN)] | None = None
    failed_controls: Annotated[int, Meta(ge=0, le=MOST_RUN)] | None = None


class Reproduction(Observed, frozen=True, tag_field="method", tag="reproduction"):
    """Eggs laid or young born: proves the dam, not the male housed with her."""

    event: Literal["laid_eggs", "gave_birth"]
    witnessed: bool
    count: Count | None = None


class Parentage(Observed, frozen=True, tag_field="method", tag="parentage"):
    """A laboratory's test whose young these are: ``young`` were tested. ``sire``: this animal is
    the father of at least one, which another animal had; ``dam_alone``: it is their mother, and
    they have no father. ``…_excluded``: what else could explain a father and was ruled out."""

    found: Literal["sire", "not_sire", "dam_alone", "failed"]
    young: Annotated[int, Meta(ge=1, le=MOST_COUNTED)]
    other_males_excluded: bool
    stored_sperm_excluded: bool
    parthenogenesis_excluded: bool

    @property
    def proves(self) -> Sex | None:
        """The sex that it comes down to; None where it says nothing of that."""
        return PROVED_BY.get(self.found)

    @property
    def all_excluded(self) -> bool:
        """Whether nothing else is left that could explain it; a mother needs no exclusion."""
        excluded = self.other_males_excluded, self.stored_sperm_excluded
        return self.found == "dam_alone" or (all(excluded) and self.parthenogenesis_excluded)


PROVED_BY: Mapping[str, Sex] = MappingProxyType({"sire": "male", "dam_alone": "female"})
"""What a test of parents comes down to, by what it found; nothing else tells the sex."""


class ScaleCount(Observed, frozen=True, tag_field="method", tag="scale_count"):
    subcaudals: Count
    ventrals: Count | None = None


LONGEST_MM = 12_000
"""Longer than any snake measured (our judgement, an input guard only)."""
Length = Annotated[int, Meta(ge=1, le=LONGEST_MM)]


class TailLength(Observed, frozen=True, tag_field="method", tag="tail_length"):
    """Whole millimetres: the tail from the vent on, and the whole animal with its tail."""

    tail_mm: Length
    total_mm: Length


class Visual(Observed, frozen=True, tag_field="method", tag="visual"):
    """An impression from tail shape, spurs, size, a slough plug or its part in a mating."""

    feature: Literal["tail", "spurs", "size", "slough_plugs", "mating", "other"]


class Hearsay(Observed, frozen=True, tag_field="method", tag="statement"):
    """What a seller or earlier keeper said, with no check of one's own."""

    source: Literal["seller", "earlier_keeper", "papers"]


Observation = (
    Probing
    | Eversion
    | Ultrasound
    | Radiography
    | Endoscopy
    | Dna
    | Reproduction
    | Parentage
    | ScaleCount
    | TailLength
    | Visual
    | Hearsay
)

Method = Literal[
    "probing",
    "eversion",
    "ultrasound",
    "radiography",
    "endoscopy",
    "dna",
    "reproduction",
    "parentage",
    "scale_count",
    "tail_length",
    "visual",
    "statement",
]


def method_of(observed: Observation) -> Method:
    """The method word of an observation, as it stands in the log."""
    method: Method = type(observed).__struct_config__.tag  # type: ignore[assignment]
    return method


def saw_both(observed: Observation) -> bool:
    """Whether organs of both sexes were seen: such an animal is neither male nor female."""
    return isinstance(observed, Endoscopy) and observed.seen == "both"
