"""Any calls whatever, for the properties."""

from hypothesis import strategies as st
from msgspec.structs import replace
from tests.domain.sexing.builders import BALL, BOA, CORN, DAY, MASSASAUGA, SCRUB

from scalewitness.domain.observations import (
    Dna,
    Endoscopy,
    Eversion,
    Hearsay,
    Parentage,
    Pass,
    Probing,
    Radiography,
    Reproduction,
    ScaleCount,
    TailLength,
    Ultrasound,
    Visual,
)
from scalewitness.domain.sexing.evidence import Evidence

SEXES = st.sampled_from(["male", "female"])
TAXA = st.sampled_from([BALL, BOA, CORN, SCRUB, MASSASAUGA])

PASSES = st.builds(
    Pass,
    st.sampled_from(["left", "right"]),
    st.integers(0, 60).map(lambda halves: f"{halves / 2:g}"),
    st.sampled_from(["resistance", "resistance", "choice", "aborted"]),
)
OBSERVATIONS = st.one_of(
    st.builds(Probing, st.lists(PASSES, max_size=4).map(tuple)),
    st.builds(
        Eversion,
        st.sampled_from(["manual", "spontaneous"]),
        st.sampled_from(["hemipenes", "nothing", "unclear"]),
    ),
    st.builds(
        Ultrasound,
        st.sampled_from(["hemipenes", "testes", "ovaries", "follicles", "pockets", "unclear"]),
    ),
    st.builds(Radiography, st.booleans(), st.sampled_from(["hemipenes", "none", "unclear"])),
    st.builds(Endoscopy, st.sampled_from(["testes", "ovaries", "both", "unclear"])),
    st.builds(
        Dna,
        st.sampled_from(["XY", "ZW"]),
        st.just("shed"),
        st.sampled_from(["heterogametic", "homogametic", "failed"]),
        marker=st.sampled_from([None, "CYP2-3"]),
        replicates=st.sampled_from([None, 1, 3]),
        failed_controls=st.sampled_from([None, 0, 1, 2]),
    ),
    st.builds(
        Parentage,
        st.sampled_from(["sire", "sire", "not_sire", "dam_alone", "failed"]),
        st.integers(1, 40),
        *[st.sampled_from([True, True, False])] * 3,
    ),
    st.builds(Reproduction, st.sampled_from(["laid_eggs", "gave_birth"]), st.booleans()),
    st.builds(ScaleCount, st.integers(15, 40), st.one_of(st.none(), st.integers(125, 240))),
    st.builds(TailLength, st.integers(20, 300), st.integers(400, 1500)),
    st.builds(
        Visual, st.sampled_from(["tail", "spurs", "size", "slough_plugs", "mating", "other"])
    ),
    st.builds(Hearsay, st.sampled_from(["seller", "earlier_keeper", "papers"])),
)
KNOWING = st.one_of(
    st.just({"blind": True, "anchored_to": None}),
    st.builds(lambda sex: {"blind": False, "anchored_to": sex}, st.one_of(st.none(), SEXES)),
)


@st.composite
def calls(draw, conclusions=("male", "female", "undetermined"), examiners="abcd"):
    """One call; positions and names are given by the list it goes into."""
    return Evidence(
        call="",
        examiner=draw(st.sampled_from(examiners)),
        role=draw(st.sampled_from(["keeper", "veterinarian", "laboratory", "earlier_keeper"])),
        at=draw(st.integers(0, 8)) * DAY // 4,
        position=0,
        stage=draw(st.sampled_from(["hatchling", "juvenile", "adult", "unknown"])),
        conclusion=draw(st.sampled_from(conclusions)),
        sureness=draw(st.sampled_from(["certain", "fairly_sure", "unsure"])),
        observed=draw(OBSERVATIONS),
        identity=draw(
            st.sampled_from(["confirmed", "confirmed", "tub_tag", "unconfirmed", "mismatch"])
        ),
        compared=draw(st.sampled_from([None, None, None, "same", "another"])),
        interested=draw(st.booleans()),
        report=draw(st.sampled_from(["own", "own", "unconfirmed", "confirmed", "denied"])),
        **draw(KNOWING),
    )


def numbered(drawn):
    return [replace(one, call=f"call-{n}", position=n) for n, one in enumerate(drawn)]


RECORDS = st.lists(calls(), max_size=8).map(numbered)
