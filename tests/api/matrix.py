"""The table: each operation of the API once, with what everyone is answered."""

from collections.abc import Callable
from dataclasses import dataclass, field
from datetime import timedelta
from typing import Any

from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey
from django.utils import timezone
from tests.api.stage import PERSONAS, Stage
from tests.pictures import body_of, plain_file
from tests.witnessing import cosigned
from tests.world import PASSWORD, new_id, probing

from scalewitness.domain.moments import rfc3339
from scalewitness.domain.translog.checkpoints import Checkpoint
from scalewitness.domain.translog.notes import signed
from scalewitness.domain.translog.tree import EMPTY_ROOT
from scalewitness.ledger.services.signing import log_signer, sign_checkpoint
from scalewitness_cli.devicekey import DeviceKey

Body = Callable[[Stage], dict[str, Any] | bytes]
"""JSON, or a picture."""

EVERYONE = dict.fromkeys(PERSONAS, 200)
SIGNED_IN = EVERYONE | {"anonymous": 401}
NOBODY = dict.fromkeys(PERSONAS, 404) | {"anonymous": 401}
STEWARDS = ("owner", "partner")
SEES_WHOLE = (*STEWARDS, "viewer", "guest_after")
SEES_SOME = (*SEES_WHOLE, "guest_before")


def to(status: int, *personas: str, **others: int) -> dict[str, int]:
    """``status`` for those named, 404 for the rest, 401 without a token."""
    return NOBODY | dict.fromkeys(personas, status) | others


def all_signed_in(status: int) -> dict[str, int]:
    return dict.fromkeys(PERSONAS, status) | {"anonymous": 401}


@dataclass(frozen=True)
class Row:
    method: str
    path: str
    expected: dict[str, int]
    body: Body | None = None
    headers: dict[str, str] = field(default_factory=dict)

    def __str__(self) -> str:
        return f"{self.method} {self.path}"


def fill(value: Any, ids: dict[str, str]) -> Any:
    if isinstance(value, str):
        return value.format(**ids) if "{" in value else value
    if isinstance(value, dict):
        return {key: fill(inner, ids) for key, inner in value.items()}
    if isinstance(value, list):
        return [fill(inner, ids) for inner in value]
    return value


def plain(**body: Any) -> Body:
    return lambda stage: fill(body, stage.ids) | _fresh(body)


def _fresh(body: dict[str, Any]) -> dict[str, Any]:
    return {"id": str(new_id())} if body.get("id") == "new" else {}


def fact(body: dict[str, Any] | None = None, about: str | None = None, **more: Any) -> Body:
    """An envelope with a fresh id; ``about="new"`` names something new."""

    def build(stage: Stage) -> dict[str, Any]:
        sent: dict[str, Any] = {"id": str(new_id()), **fill(more, stage.ids)}
        if body is not None:
            sent["body"] = fill(body, stage.ids)
        if about is not None:
            sent["about"] = str(new_id()) if about == "new" else fill(about, stage.ids)
        return sent

    return build


def enrolment(stage: Stage) -> dict[str, Any]:
    """The owner's device enrols a key, signed with it."""
    keeper, device = stage.ids["keeper_owner"], stage.ids["device_owner"]
    key = DeviceKey(Ed25519PrivateKey.generate(), keeper=keeper, device=device)
    return key.enrolment(str(new_id()), at())


def recovery_key(stage: Stage) -> dict[str, Any]:
    """Signed with itself; the owner has no device yet that could endorse it."""
    return on_paper(stage).enrolment(str(new_id()), at(), recovery=True)


def recovered(stage: Stage) -> dict[str, Any]:
    body: dict[str, Any] = {"required": False}
    fact = {"id": str(new_id()), "kind": "signatures_required", "at": at(), "body": body}
    signed = on_paper(stage).signed(fact | {"about": stage.ids["keeper_owner"]})
    return fact | {"at": signed["at"], "sig": signed["sig"]}


def on_paper(stage: Stage) -> DeviceKey:
    made = Ed25519PrivateKey.generate()
    return DeviceKey(made, keeper=stage.ids["keeper_owner"], device=stage.ids["sheet"])


def changed_plan(stage: Stage) -> dict[str, Any]:
    """Of a plan that somebody read before it was changed."""
    item = {"id": str(new_id()), "kind": "pairing_dropped", "at": at(), "body": {}}
    return {"read": [], "items": [item | {"about": stage.ids["pairing"]}]}


def at(**delta: float) -> str:
    return rfc3339(timezone.now() + timedelta(**delta))


def cosignature(stage: Stage) -> dict[str, Any]:
    return cosigned(sign_checkpoint(timezone.now()))


def checkpoint_met(stage: Stage) -> dict[str, Any]:
    """Of the empty log, so that nothing has to be signed for it."""
    signer = log_signer()
    return {"note": str(signed(Checkpoint(signer.name, 0, EMPTY_ROOT).body(), signer))}


VISIT = {
    "collection": "{collection}",
    "guest": "{stranger}",
    "animals": ["{other}"],
    "opens": at(),
    "closes": at(days=2),
}
V1 = {"If-Match": '"v1"'}
ELSEWHERE = "017f22e2-79b0-7cc3-98c4-dc0c0c073990"
"""An animal in another log: any id may be one."""
LINK = dict.fromkeys(PERSONAS, 200)

ROWS = [
    # people
    Row("POST", "keepers", dict.fromkeys(PERSONAS, 202),
        plain(name="New", email="new@keepers.example", password=PASSWORD)),
    Row("GET", "keepers/me", SIGNED_IN),
    Row("PATCH", "keepers/me", SIGNED_IN, plain(name="Renamed"), V1),
    Row("GET", "keepers?email={stranger_email}", SIGNED_IN),
    Row("POST", "devices", dict.fromkeys(PERSONAS, 201),
        plain(email="{stranger_email}", password=PASSWORD, name="tablet")),
    Row("POST", "devices/authorization", EVERYONE, plain(name="new laptop")),
    Row("POST", "devices/token", dict.fromkeys(PERSONAS, 400),
        plain(grant_type="urn:ietf:params:oauth:grant-type:device_code", device_code="none")),
    Row("GET", "devices", SIGNED_IN),
    Row("DELETE", "devices/{device_owner}", to(204, "owner")),
    Row("GET", "devices/{device_owner}/facts", to(200, "owner")),
    Row("POST", "devices/{device_owner}/key", to(201, "owner"), enrolment),
    Row("POST", "recovery-keys/{sheet}", all_signed_in(422) | {"owner": 409}, recovery_key),
    Row("POST", "recovery-keys/{sheet}/facts", all_signed_in(404), recovered),
    Row("PUT", "practitioners/{practitioner}/address", to(204, "owner"),
        plain(email="practice@vets.example")),
    Row("GET", "practitioners", all_signed_in(200)),
    Row("POST", "practitioners", all_signed_in(201), plain(id="new", name="Dr Ilse Brandt")),
    Row("GET", "grants", SIGNED_IN),
    Row("POST", "grants", to(201, "owner"),
        fact({"to": "{stranger}", "role": "viewer"}, about="{collection}")),
    Row("POST", "grants/{grant}/revocation", to(201, "owner", "viewer"), fact()),
    Row("GET", "collections", SIGNED_IN),
    Row("POST", "collections", all_signed_in(201), plain(id="new", name="Shelf")),
    Row("GET", "collections/{collection}", to(200, *STEWARDS)),
    Row("PATCH", "collections/{collection}", to(200, *STEWARDS), plain(name="Other"), V1),
    Row("GET", "collections/{collection}/clutches", to(200, *STEWARDS)),
    Row("POST", "genetics/sex-linked-prior", SIGNED_IN,
        plain(sire=1, dam=0, beside="Y", shows="one_copy")),
    Row("GET", "collections/{collection}/swaps?animals={blind},{sold}", to(200, *STEWARDS)),
    Row("GET", "collections/{collection}/plan?minutes=60", to(200, *STEWARDS)),
    # animals
    Row("GET", "animals", SIGNED_IN),
    Row("POST", "animals", to(201, *STEWARDS),
        fact({"collection": "{collection}", "species": "boa_imperator"}, about="new")),
    Row("GET", "animals/{blind}", to(200, *SEES_SOME)),
    Row("PATCH", "animals/{blind}", to(200, *STEWARDS), plain(rack="B2"), V1),
    Row("GET", "animals/{blind}/history", to(200, *SEES_WHOLE)),
    Row("GET", "animals/{blind}/bundle", to(200, *SEES_WHOLE)),
    Row("GET", "animals/{blind}/plan", to(200, *STEWARDS)),
    Row("POST", "animals/{blind}/what-if", to(200, *SEES_WHOLE),
        plain(method="ultrasound", conclusion="male", role="veterinarian")),
    Row("GET", "animals/{blind}/carries", to(200, *SEES_WHOLE)),
    Row("GET", "animals/{blind}/prospects?mate={other}", to(200, *STEWARDS, "viewer")),
    Row("GET", "animals/{blind}/kinship?with={other}", to(200, *STEWARDS, "viewer")),
    Row("POST", "animals/{blind}/particulars", to(201, *STEWARDS),
        fact({"species": "boa_imperator"})),
    Row("POST", "animals/{blind}/registration-error", to(409, *STEWARDS), fact({})),
    Row("POST", "animals/{blind}/end", to(201, *STEWARDS), fact({"why": "lost"})),
    Row("POST", "animals/{blind}/end/correction", to(409, *STEWARDS),  # nobody says it ended
        fact({"why": "mistake"})),
    Row("POST", "animals/{blind}/linkage", to(422, *STEWARDS),  # no parents on record
        fact({"trait": "coral_glow", "shows": "one_copy", "sire": "{sold}", "dam": "{other}",
              "sire_copies": 1, "dam_copies": 0, "beside": "Y", "recombination": "0.050000",
              "provenance": "keepers_speak_of"})),
    Row("GET", "animals/{blind}/traits", to(200, *SEES_WHOLE)),
    Row("POST", "animals/{blind}/traits", to(201, *SEES_WHOLE),
        fact({"locus": "albino", "says": "does_not_show", "basis": "seen"})),
    Row("GET", "animals/{blind}/quoted", to(200, *SEES_WHOLE)),
    Row("POST", "animals/{blind}/quoted", to(201, *STEWARDS),
        fact({"bundle": "ab" * 32, "origin": "far.example/log", "size": 9, "animal": ELSEWHERE,
              "scheme": "tag", "code": "B1"})),
    Row("GET", "quoted/{quote}/file", to(200, *SEES_WHOLE)),
    Row("PUT", "quoted/{quote}/file", to(415, *(one for one in PERSONAS if one != "anonymous")),
        plain()),
    Row("POST", "traits/{trait}/withdrawal", to(201, "owner"), fact()),
    Row("POST", "animals/{blind}/identifiers", to(201, *STEWARDS),
        fact({"scheme": "tag", "code": "B9"})),
    Row("POST", "animals/{blind}/identifiers/withdrawal", to(422, *STEWARDS),  # it bears no such
        fact({"scheme": "tag", "code": "B99"})),
    Row("GET", "animals/{blind}/joinings", to(200, *STEWARDS)),
    Row("POST", "animals/{blind}/joinings", to(422, *STEWARDS),  # no other bears it
        fact({"code": "985000012345678"})),
    Row("POST", "animals/{blind}/joinings/answers", NOBODY,  # nothing was proposed
        fact({"proposal": "{call}", "agrees": True})),
    Row("POST", "animals/{blind}/joinings/partings", to(422, *STEWARDS),
        fact({"joining": "{call}"})),
    Row("POST", "animals/{blind}/husbandry", to(201, *STEWARDS, "guest_before", "guest_after",
        viewer=201), fact({"noted": {"type": "weight", "grams": "400"}})),
    Row("POST", "animals/{blind}/photos", to(201, *STEWARDS), fact(body_of(plain_file(31, 20)))),
    Row("GET", "photos/{photo}", to(200, *SEES_WHOLE)),
    Row("PUT", "photos/{photo}", to(204, "owner"), lambda stage: plain_file()),
    Row("POST", "animals/{blind}/custody", to(403, "owner"),
        fact({"to": "{collection}", "why": "moved"})),
    # calls
    Row("GET", "animals/{blind}/calls", to(200, *SEES_WHOLE)),
    Row("POST", "animals/{blind}/calls",
        to(422, *STEWARDS, viewer=403, guest_before=201),
        fact(probing("male", "B1") | {"visit": "{visit}"})),
    Row("GET", "animals/{blind}/standing", to(200, *SEES_WHOLE)),
    Row("GET", "calls/{call}", to(200, *SEES_WHOLE)),
    Row("POST", "calls/{call_after}/withdrawal", to(201, "guest_after"), fact({})),
    Row("POST", "calls/{call_after}/refiling", NOBODY, fact()),  # it was this animal's code
    Row("POST", "calls/{call}/comparison",  # whoever may compare is told that it has no photo
        to(422, "viewer", "guest_after", owner=403, partner=403),
        fact({"photo": "{call}", "earlier": "{call}", "answer": "same"})),
    Row("POST", "calls/{call}/objection", to(201, "partner", "viewer", "guest_after", owner=403),
        fact({"ground": "wrong_animal"})),
    # reports: {laid} is the owner's eggs, on the animal that was sold to "buyer"
    Row("POST", "calls/{laid}/answer", NOBODY, fact({"answer": "confirmed"})),
    Row("POST", "calls/{laid}/document",
        to(201, "viewer", "guest_after", owner=403, partner=403), fact({"document": "ab" * 32})),
    Row("POST", "calls/{laid}/witness",
        to(201, "viewer", "guest_after", owner=403, partner=403), fact()),
    Row("POST", "calls/{laid}/witness/withdrawal", NOBODY, fact()),
    Row("GET", "reports", SIGNED_IN),
    Row("GET", "vouchers", SIGNED_IN),
    Row("POST", "keepers/{stranger}/voucher",
        all_signed_in(403) | dict.fromkeys(("owner", "partner", "guest_before", "buyer"), 201),
        fact({})),
    Row("GET", "examiners/{keeper_guest_after}", to(200, *SEES_WHOLE)),
    Row("GET", "collections/{collection}/agreement", to(200, *STEWARDS)),
    Row("GET", "one-examiner", SIGNED_IN),
    Row("POST", "one-examiner/{visit}/objection", NOBODY),
    Row("GET", "held-calls", SIGNED_IN),
    Row("POST", "held-calls/{held}/decision", to(201, *STEWARDS), fact({"admitted": True})),
    # visits
    Row("GET", "visits", SIGNED_IN),
    Row("POST", "visits", to(201, *STEWARDS), fact(VISIT, about="new")),
    Row("GET", "visits/{visit}", to(200, *STEWARDS, "guest_before")),
    Row("GET", "visits/{visit}/sheet", to(200, *STEWARDS, "guest_before")),
    Row("POST", "visits/{invitation}/answer", to(201, "stranger"), fact(accepted=True)),
    Row("POST", "visits/{visit}/cancellation", to(201, *STEWARDS), fact()),
    Row("GET", "invitations", SIGNED_IN),
    Row("POST", "invitations", to(201, *STEWARDS), lambda stage: {
        "id": str(new_id()), "email": "new.keeper@people.example",
        "collection": stage.ids["collection"], "animals": [stage.ids["sold"]],
        "opens": at(), "closes": at(days=3)}),
    Row("GET", "invitations/{by_letter}", to(200, "owner", "viewer")),
    Row("POST", "invitations/{by_letter}/answer", to(201, "viewer"), plain(accepted=True)),
    Row("DELETE", "invitations/{by_letter}", to(204, "owner")),
    # sales
    Row("GET", "sales", SIGNED_IN),
    Row("POST", "sales", to(201, *STEWARDS), plain(
        id="new", collection="{collection}", animals=["{blind}"],
        buyer={"name": "Bo", "email": "bo@buyers.example"})),
    Row("GET", "sales/{sale}", to(200, *STEWARDS)),
    Row("PUT", "sales/{draft}/address", to(200, *STEWARDS), plain(email="bo@buyers.example")),
    Row("POST", "sales/{draft}/offer", to(201, *STEWARDS),
        fact(recheck_days=7, remedy="refund", expires=at(days=5))),
    Row("POST", "sales/{offered}/payment", to(409, *STEWARDS), fact()),
    Row("POST", "sales/{offered}/release", to(409, *STEWARDS), fact(why="paid_back")),
    Row("POST", "sales/{sale}/handover", to(201, *STEWARDS), fact()),
    Row("POST", "sales/{sale}/closing", to(409, *STEWARDS), fact()),
    Row("POST", "sales/{offered}/withdrawal", to(201, *STEWARDS), fact()),
    # the buyer's link: whoever holds the token, with an account or without
    Row("GET", "offers/{offer_token}", LINK),
    Row("POST", "offers/{offer_token}/confirmation", dict.fromkeys(PERSONAS, 201),
        lambda stage: {"id": str(new_id()), **stage.looked()}),
    Row("POST", "offers/{code_token}/code", dict.fromkeys(PERSONAS, 204), plain()),
    Row("PUT", "offers/{disclosure_token}/address", LINK, plain(email="new@buyers.example")),
    Row("PUT", "offers/{disclosure_token}/reminders", dict.fromkeys(PERSONAS, 204),
        plain(wanted=False)),
    Row("POST", "offers/{disclosure_token}/dispute", dict.fromkeys(PERSONAS, 409),
        lambda stage: {"id": str(new_id()), "dispute": str(new_id()),
                       "animal": stage.ids["sold"]}),
    Row("POST", "offers/{disclosure_token}/statement", dict.fromkeys(PERSONAS, 201),
        fact(dispute="{dispute}", statement="It laid eggs.")),
    Row("GET", "offers/{disclosure_token}/arrivals", LINK),
    Row("POST", "offers/{disclosure_token}/arrivals", dict.fromkeys(PERSONAS, 201),
        fact(animal="{sold}", answer="same")),
    Row("GET", "offers/{disclosure_token}/returns", LINK),
    Row("POST", "offers/{disclosure_token}/returns", dict.fromkeys(PERSONAS, 409),
        lambda stage: {"id": str(new_id()), "move": str(new_id()), "answer": "denied"}),
    Row("POST", "offers/{disclosure_token}/release", dict.fromkeys(PERSONAS, 422),
        lambda stage: {"id": str(new_id()), "asked": str(new_id()), "answer": "denied"}),
    Row("GET", "offers/{disclosure_token}/dispute", LINK),
    Row("POST", "offers/{disclosure_token}/finding-answer", dict.fromkeys(PERSONAS, 404),
        fact(dispute="{dispute}", finding="{dispute}", agrees=False)),
    Row("POST", "offers/{offer_token}/refusal", dict.fromkeys(PERSONAS, 201), fact()),
    Row("POST", "offers/{offer_token}/check-request", dict.fromkeys(PERSONAS, 201), fact()),
    Row("DELETE", "offers/{offer_token}/texts", dict.fromkeys(PERSONAS, 204)),
    Row("GET", "offers/{disclosure_token}/disclosure", LINK),
    Row("POST", "offers/{disclosure_token}/acknowledgement", dict.fromkeys(PERSONAS, 201), fact()),
    # disclosures and disputes
    Row("GET", "disclosures", SIGNED_IN),
    Row("GET", "disclosures/{disclosure}", to(200, *STEWARDS, "buyer")),
    Row("POST", "disclosures/{disclosure}/acknowledgement", to(201, "buyer"), fact()),
    # pairings
    Row("GET", "pairings", SIGNED_IN),
    Row("POST", "pairings", to(201, *STEWARDS),
        fact({"sire": "{sold}", "dam": "{other}", "season": 2028}, about="new")),
    Row("GET", "collections/{collection}/seasons/{year}", to(200, *STEWARDS)),
    Row("PATCH", "collections/{collection}/seasons/{year}", to(200, *STEWARDS), plain(),
        headers={"If-Match": '"v0", "v1"'}),
    Row("POST", "collections/{collection}/seasons/{year}/best", to(204, *STEWARDS)),
    Row("POST", "collections/{collection}/seasons/{year}/change", to(409, *STEWARDS), changed_plan),
    Row("POST", "pairings/{pairing}/agreement", to(409, *STEWARDS), fact()),
    Row("POST", "pairings/{pairing}/end", to(201, *STEWARDS), fact()),
    Row("GET", "calendar", SIGNED_IN),
    Row("POST", "pairings/{pairing}/notes", to(201, *STEWARDS),
        fact({"what": "seen_together", "on": at()[:10]})),
    # it is the owner's own, and who else holds the two has their own word
    Row("POST", "season-notes/{season_note}/withdrawal", to(201, "owner", partner=409), fact()),
    Row("GET", "disputes", SIGNED_IN),
    Row("POST", "disputes", to(201, *STEWARDS),
        fact({"animal": "{other}", "ground": "party_objects"}, about="new")),
    Row("GET", "disputes/{dispute}", to(200, *SEES_WHOLE, "buyer")),
    Row("POST", "disputes/{dispute}/statement", to(201, *STEWARDS, "buyer"),
        fact(texts={"statement": "It was probed twice."})),
    Row("POST", "disputes/{dispute}/finding", to(201, *STEWARDS), fact({"outcome": "unresolved"})),
    # there is no finding yet to answer: tests/intake/test_findings.py has who may
    Row("POST", "disputes/{dispute}/finding-answer", NOBODY,
        fact({"finding": "{dispute}", "agrees": False})),
    # receipts: as the facts themselves; {call} is the owner's, {call_after} the guest's own
    Row("GET", "receipts/{call}", to(200, *SEES_WHOLE)),
    Row("GET", "receipts/{call_after}", to(200, *SEES_WHOLE)),
    Row("GET", "receipts/{standing}", to(200, *SEES_WHOLE)),
    Row("GET", "receipts/{offer_fact}", to(200, *STEWARDS)),
    Row("GET", "receipts/{disclosure_fact}", to(200, *STEWARDS, "buyer")),
    Row("GET", "receipts/{grant}", to(200, "owner", "viewer")),
    Row("GET", "proofs?animals={blind}", SIGNED_IN),  # tests/api/test_proofs.py: who gets whose
    Row("GET", "log/map-key", EVERYONE),
    Row("GET", "log/key-changes", EVERYONE),
    Row("GET", "log/freshness", EVERYONE),
    Row("GET", "log/cosigned?witnesses=quiet.example", EVERYONE),
    Row("GET", "offers/{offer_token}/proofs", LINK),
    Row("GET", "offers/{offer_token}/photos/{offered_photo}", LINK),
    Row("GET", "offers/{offer_token}/receipts/{offered_fact}", LINK),
    # the rest
    Row("GET", "species", SIGNED_IN),
    Row("GET", "learned-numbers", SIGNED_IN),
    Row("DELETE", "facts/{call_after}/texts", to(204, "guest_after")),
    Row("GET", "changes", SIGNED_IN),
    Row("POST", "push", SIGNED_IN, plain(items=[])),
    Row("GET", "log/head", EVERYONE),
    Row("GET", "log/checkpoint", EVERYONE),
    Row("GET", "log/inclusion?position=0", EVERYONE),
    Row("GET", "log/consistency?old=1", EVERYONE),
    Row("GET", "log/witnesses", EVERYONE),
    Row("GET", "log/origins", EVERYONE),
    Row("GET", "log/cosignatures", SIGNED_IN),
    Row("POST", "log/cosignatures", all_signed_in(201), cosignature),
    Row("POST", "log/met", EVERYONE, checkpoint_met),
    Row("GET", "schema", EVERYONE),
    Row("GET", "docs", EVERYONE),
]  # fmt: skip
