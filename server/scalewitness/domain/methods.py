"""The methods of finding out a snake's sex: what each is called and what it asks.

What an examiner saw is typed in ``observations``; here are the words for it.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Final, Literal

from scalewitness.domain.choices import Choice, Choices
from scalewitness.domain.observations import LONGEST_MM, MOST_COUNTED, MOST_RUN


@dataclass(frozen=True, slots=True)
class Question:
    """What an observation holds under ``name``: asked as ``text``, or ``brief`` where there is
    little room. It may be left out unless ``needed``. ``between``: the least and most of a
    count."""

    name: str
    text: str
    brief: str
    answers: Choices | Literal["yes_or_no", "count", "text"]
    needed: bool = True
    between: tuple[int, int] = (0, MOST_COUNTED)


@dataclass(frozen=True, slots=True)
class Words:
    """``name`` stands alone, ``noun`` in a sentence ("a check by …"), ``caution`` says what can
    be wrong, ``title`` heads a form and ``hint`` stands below it. ``hands_on``: somebody holds
    the animal. ``at_the_rack``: no laboratory and nobody else is needed. ``only_of_a``: whose alone
    it is, so that whoever enters it reports it as theirs."""

    name: str
    noun: str
    caution: str
    title: str = ""
    hint: str = ""
    asks: tuple[Question, ...] = ()
    hands_on: bool = True
    at_the_rack: bool = True
    only_of_a: Literal["laboratory"] | None = None

    @property
    def heading(self) -> str:
        return self.title or self.name


_HEMIPENES = Choice("hemipenes", "Hemipenes")
_TESTES = Choice("testes", "Testes")
_OVARIES = Choice("ovaries", "Ovaries")
_BOTH = Choice("both", "Organs of both sexes", "Both")
_UNCLEAR = Choice("unclear", "Unclear")
MANNERS: Final[Choices] = (Choice("manual", "By hand"), Choice("spontaneous", "Of its own accord"))
EVERTED: Final[Choices] = (_HEMIPENES, Choice("nothing", "Nothing came out", "Nothing"), _UNCLEAR)
CONCLUDED_OF_EVERTED: Final[Mapping[str, tuple[str, ...]]] = {
    "hemipenes": ("male", "undetermined"),
    "nothing": ("female", "undetermined"),
    "unclear": ("undetermined",),
}
"""What may be concluded of what came out, where many are checked in a row: first what is taken to
follow until its examiner says otherwise (common practice, no source)."""


def _seen(*answers: Choice) -> Question:
    return Question("seen", "What did you see?", "What you saw", (*answers, _UNCLEAR))


METHODS: Final[Mapping[str, Words]] = {
    "probing": Words(
        "Probing",
        "probing",
        "Probing: a male that tenses, or whose pockets are plugged or scarred, reads as a "
        "female; force, too thin a probe or deep pockets make a female read as a male.",
        hint="Depth in subcaudal scales, to the half, each side on its own.",
    ),
    "eversion": Words(
        "Everting",
        "bringing out the male organs",
        "Bringing out the male organs: seeing them is strong, seeing nothing is weak, and it "
        "gets weaker as the animal grows. Females of some species show small structures "
        "that look alike.",
        title="Everting by hand, or seen out",
        hint="For hatchlings, by someone who has learnt it. Nothing seen says little.",
        asks=(
            Question(
                "manner",
                "How did it come about?",
                "How",
                MANNERS,
            ),
            Question("seen", "What did you see?", "What came out", EVERTED),
        ),
    ),
    "ultrasound": Words(
        "Ultrasound",
        "ultrasound",
        "Ultrasound: small animals and unclear pictures are misread more easily.",
        asks=(
            _seen(
                _HEMIPENES,
                _TESTES,
                _OVARIES,
                Choice("follicles", "Egg follicles", "Follicles"),
                Choice("pockets", "Female pockets", "Pockets"),
            ),
        ),
    ),
    "radiography": Words(
        "X-ray",
        "an X-ray",
        "X-ray: in the one study of snakes found, one in four answers was wrong.",
        asks=(
            Question("contrast", "With contrast medium?", "With contrast", "yes_or_no"),
            _seen(_HEMIPENES, Choice("none", "No hemipenes", "None")),
        ),
    ),
    "endoscopy": Words(
        "Endoscopy or dissection",
        "endoscopy",
        "Endoscopy and dissection: what remains is a mistaken record or a rare intersex animal.",
        hint="Done by a veterinarian; report it as theirs. A dissection is of an animal that died: "
        "its keeper states that first.",
        asks=(
            Question(
                "seen", "What was seen?", "What was seen", (_TESTES, _OVARIES, _BOTH, _UNCLEAR)
            ),
            Question("post_mortem", "Was it after death?", "After death", "yes_or_no"),
        ),
        at_the_rack=False,
    ),
    "dna": Words(
        "DNA test",
        "a DNA test",
        "DNA: samples get mixed up, a failed test can look like an answer, and rare animals "
        "carry an extra sex chromosome.",
        hint="Evidence only where the species' sex chromosomes are known and the test fits them.",
        asks=(
            Question(
                "system",
                "Which sex chromosomes does the test assume?",
                "Sex chromosomes",
                (
                    Choice("XY", "XY: the male has two kinds"),
                    Choice("ZW", "ZW: the female has two kinds"),
                ),
            ),
            Question(
                "sample",
                "What was sampled?",
                "Sample",
                (
                    Choice("shed", "Shed skin"),
                    Choice("blood", "Blood"),
                    Choice("swab", "Swab"),
                    Choice("tissue", "Tissue"),
                ),
            ),
            Question(
                "found",
                "What did the test show?",
                "Found",
                (
                    Choice("heterogametic", "Two kinds of sex chromosome"),
                    Choice("homogametic", "One kind of sex chromosome"),
                    Choice("failed", "The test failed"),
                ),
            ),
            Question("marker", "Which marker, as they write it?", "Marker", "text", needed=False),
            Question(
                "replicates",
                "How many times was the sample run?",
                "Times run",
                "count",
                needed=False,
                between=(1, MOST_RUN),
            ),
            Question(
                "failed_controls",
                "How many of its controls failed?",
                "Controls that failed",
                "count",
                needed=False,
                between=(0, MOST_RUN),
            ),
        ),
        hands_on=False,
        at_the_rack=False,
    ),
    "reproduction": Words(
        "Eggs or young",
        "finding eggs or young",
        "Eggs or young prove that this animal is female only if it was this animal that "
        "had them; they prove nothing about a male kept with it.",
        hint="Proves that this animal is female. It proves nothing about a male kept with her.",
        asks=(
            Question(
                "event",
                "What happened?",
                "What happened",
                (Choice("laid_eggs", "Laid eggs"), Choice("gave_birth", "Gave birth")),
            ),
            Question("witnessed", "Did you see it happen?", "Did you see it", "yes_or_no"),
            Question("count", "How many?", "How many", "count", needed=False),
        ),
        hands_on=False,
    ),
    "parentage": Words(
        "Parentage test",
        "a parentage test",
        "Parentage test: it proves a father only where another animal is known to have had the "
        "young, and where other males, sperm kept from earlier seasons and young without a father "
        "were each ruled out.",
        hint="A laboratory's test of young against this animal, and against their mother and every "
        "male that was with her. Report it as the laboratory's.",
        asks=(
            Question(
                "found",
                "What did the test show?",
                "Found",
                (
                    Choice("sire", "It is the father of young that another animal had", "Father"),
                    Choice("not_sire", "It is not their father", "Not the father"),
                    Choice(
                        "dam_alone",
                        "It is their mother, and they have no father",
                        "Mother, no father",
                    ),
                    Choice("failed", "The test failed"),
                ),
            ),
            Question(
                "young",
                "How many young were tested?",
                "Young tested",
                "count",
                between=(1, MOST_COUNTED),
            ),
            Question(
                "other_males_excluded",
                "Was every other male that was with their mother ruled out?",
                "Other males ruled out",
                "yes_or_no",
            ),
            Question(
                "stored_sperm_excluded",
                "Was sperm that she kept from earlier seasons ruled out?",
                "Stored sperm ruled out",
                "yes_or_no",
            ),
            Question(
                "parthenogenesis_excluded",
                "Was it ruled out that they have no father?",
                "Young without a father ruled out",
                "yes_or_no",
            ),
        ),
        hands_on=False,
        at_the_rack=False,
        only_of_a="laboratory",
    ),
    "scale_count": Words(
        "Scale count",
        "a scale count",
        "Scale counts overlap between the sexes in most species.",
        title="Counting scales",
        hint="Count the belly scales too: belly less tail scales tells the sexes of some species "
        "apart where neither count does.",
        asks=(
            Question("subcaudals", "Scales under the tail", "Subcaudal scales", "count"),
            Question("ventrals", "Belly scales", "Ventral scales", "count", needed=False),
        ),
    ),
    "tail_length": Words(
        "Tail length",
        "measuring the tail",
        "Tail length: a tail that was broken once and healed reads short, and in most species the "
        "sexes overlap.",
        title="Measuring the tail",
        hint="In whole millimetres, on a whole tail. It is weighed where the tails of both sexes "
        "of the species are on record.",
        asks=(
            Question(
                "tail_mm",
                "The tail from the vent on, in mm",
                "Tail, mm",
                "count",
                between=(1, LONGEST_MM),
            ),
            Question(
                "total_mm",
                "The whole animal with its tail, in mm",
                "Whole length, mm",
                "count",
                between=(1, LONGEST_MM),
            ),
        ),
    ),
    "visual": Words(
        "Looks",
        "the look of the animal",
        "Looks: in many snakes, above all young ones, the sexes look alike; and males court and "
        "mount males too.",
        title="By its looks",
        hint="Weighs little: in many snakes, above all young ones, the sexes look alike.",
        asks=(
            Question(
                "feature",
                "What did you go by?",
                "What you looked at",
                (
                    Choice("tail", "The shape of the tail", "Tail"),
                    Choice("spurs", "The spurs", "Spurs"),
                    Choice("size", "The size", "Size"),
                    Choice("slough_plugs", "Plugs on the shed skin"),
                    Choice("mating", "Its part in a mating that was seen", "A mating"),
                    Choice("other", "Something else"),
                ),
            ),
        ),
        hands_on=False,
    ),
    "statement": Words(
        "A statement",
        "hearsay",
        "What a seller or an earlier keeper said was not checked.",
        title="What someone said",
        hint="Not a check. It counts for little, and repeating it adds little.",
        asks=(
            Question(
                "source",
                "Who said so?",
                "Who said so",
                (
                    Choice("seller", "The seller I had it from"),
                    Choice("earlier_keeper", "An earlier keeper"),
                    Choice("papers", "Papers that came with it"),
                ),
            ),
        ),
        hands_on=False,
        at_the_rack=False,
    ),
}
