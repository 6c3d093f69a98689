"""Readers bring checkpoints that somebody was shown; the operator is told of one that does not
fit."""

import pytest
from structlog.testing import capture_logs
from tests.api.client import Api
from tests.ledger.growing import NOW, append
from tests.ledger.setting_back import sign_and_forget

from scalewitness import settings as configured
from scalewitness.domain.translog.keys import KeyType, Signer
from scalewitness.domain.translog.notes import read_note, signed
from scalewitness.ledger.queries.fence import standing_fence
from scalewitness.ledger.services.signing import log_signer, sign_checkpoint

pytestmark = pytest.mark.django_db


def test_what_the_log_begins_with_fits(nobody: Api) -> None:
    append(3)
    old = sign_checkpoint(NOW).note
    append(300)
    assert nobody.post("/log/met", {"note": old}).body == {"fits": True, "why": None}


@pytest.mark.parametrize(("others", "why"), [(1, "the last 5 are lost"), (9, "It is a fork")])
def test_what_it_signed_and_is_not_is_told_to_its_operator(
    nobody: Api, others: int, why: str
) -> None:
    append(3)
    sign_checkpoint(NOW)
    forgotten = sign_and_forget(6)
    append(others)
    sign_checkpoint(NOW)
    with capture_logs() as told:
        answer = nobody.post("/log/met", {"note": forgotten}).body
    assert answer["fits"] is False
    assert why in answer["why"]
    assert [one["note"] for one in told if one["event"] == "checkpoint_met_contradicts"] == [
        forgotten
    ]
    assert standing_fence() is None  # or whoever has a stolen key could close the log


def test_what_the_log_never_signed_is_refused(nobody: Api) -> None:
    append(1)
    text = read_note(sign_checkpoint(NOW).note).text
    thief = Signer(log_signer().name, KeyType.ED25519, bytes(32))
    assert nobody.post("/log/met", {"note": str(signed(text, thief))}).code == "bad_signature"
    assert nobody.post("/log/met", {"note": "nothing"}).code == "bad_signature"
    assert nobody.post("/log/met", {"note": 5}).code == "wrong_shape"


@pytest.mark.usefixtures("one_minute")
def test_they_come_at_a_measured_pace(nobody: Api) -> None:
    rate = int(configured.REST_FRAMEWORK["DEFAULT_THROTTLE_RATES"]["met"].split("/")[0])
    codes = [nobody.post("/log/met", {}).code for _ in range(rate + 1)]
    assert codes == [*["wrong_shape"] * rate, "throttled"]
