"""A dispute on paper, and in a folder whose receipts anyone can check."""

from collections.abc import Iterator, Mapping, Sequence
from datetime import datetime
from io import BytesIO
from typing import Any
from uuid import UUID
from zipfile import ZIP_DEFLATED, ZipFile

from scalewitness.disclosures.models import Disclosure
from scalewitness.disputes.models import Dispute
from scalewitness.ledger.models import Entry
from scalewitness.ledger.services.receipting import receipt_of
from scalewitness.mail.templatetags.words import day, moment
from scalewitness.pages.papers.drawing import strip_on_paper
from scalewitness.pages.papers.record import call_shown, common, facts_of
from scalewitness.pages.papers.typesetting import pdf
from scalewitness.pages.plots.timeline import Happened, Strip
from scalewitness.pages.receipts.log import log_keys
from scalewitness.receipts.queries import readable
from scalewitness.sales.models import SaleStep

CHECK = (
    "The folder that this paper can be fetched with holds the receipt of every entry named "
    "here. Each proves its place in the log to anyone who has the log's key, without us."
)
READ_ME = """\
What is in here

dossier.pdf   the dispute as the page showed it
receipts/     one file for each entry of the log that it rests on and that you may read

Each receipt proves that the log holds exactly this entry, at that position, and that the log
was signed over it. It does not prove that what the entry says is true.

Check them without any server, with the Python package of Scalewitness:

{commands}

The log's keys, to be compared with what others know of them:

{keys}
"""


def dispute_paper(dispute: Dispute, shown: Mapping[str, Any], now: datetime) -> bytes:
    """``shown``: what the page of the dispute is made from."""
    case, assessment = shown["case"], shown["case"].assessment
    data = common(case, now) | {
        "title": f"Dispute about {shown['title']}",
        "ground": (
            f"{shown['ground']} Opened {moment(dispute.opened_at)}, log position "
            f"{dispute.position}. A dispute is nobody's verdict."
        ),
        "statements": list(_statements(shown)),
        "animal": facts_of(dispute.animal, dispute.animal.name, now),
        "provenance": (
            "Computed by the server, log position "
            f"{case.standing.position if case.standing else 'none'}; parameters "
            f"{assessment.parameters}, rule {assessment.policy}, examiners' records "
            f"{assessment.records}."
        ),
        "weakest": _weakest(shown["weakest"], assessment.favoured),
        "finding": _finding(shown),
        "calls": [call_shown(one) for one in shown["calls"]],
        "lanes": strip_on_paper(shown["who_knew"]),
        "knew": [(day(one.at), one.text, one.proof) for one in _in_order(shown["who_knew"])],
        "letters": [one | {"at": moment(one["at"])} for one in shown["letters"]],
        "check": CHECK,
    }
    return pdf("dispute", data)


def _in_order(strip: Strip) -> list[Happened]:
    return sorted(strip.events, key=lambda one: one.at)


def _statements(shown: Mapping[str, Any]) -> Iterator[dict[str, str]]:
    if shown["note"]:
        opened = shown["dispute"].opened_at
        yield {"who": "Whoever opened it", "at": moment(opened), "text": shown["note"]}
    for one in shown["arrived"]:
        yield {"who": "The buyer, on arrival", "at": moment(one.at), "text": f"{one.in_words}."}
    for one in shown["statements"]:
        text = one["text"] or "The words were erased."
        yield {"who": one["who"], "at": moment(one["at"]), "text": text}


def _weakest(found: Any, favoured: str | None) -> str | None:
    if not found:
        return None
    call, without = found
    return (
        f"Call {call.key}, {call.method.lower()} by {call.who}: {call.call.conclusion}. It speaks "
        f"against what the rest says. Without it the chance of {favoured} would be {without}."
    )


def _finding(shown: Mapping[str, Any]) -> dict[str, Any] | None:
    found, summary = shown["finding"], shown["summary"]
    if not found:
        return None
    facts = [
        ("Outcome", summary.outcome),
        ("Remedy", shown["remedy"]),
        ("On whose word", summary.word),
        ("Report, SHA-256", found.document or "none"),
        (
            "Recorded",
            f"by the {summary.recorder}, {moment(found.at)}, log position {found.position}",
        ),
    ]
    return {"facts": facts, "reasons": shown["reasons_text"] or "The reasons were erased."}


def dispute_folder(dispute: Dispute, paper: bytes, keeper: UUID, now: datetime) -> bytes:
    """A ZIP file with the paper and the receipts of everything that the keeper may read.

    Raises:
        LogContradicted, Fenced: the log cannot vouch for anything now.
    """
    out = BytesIO()
    with ZipFile(out, "w", ZIP_DEFLATED) as folder:
        folder.writestr("dossier.pdf", paper)
        names = []
        for entry in _entries(dispute, keeper, now):
            receipt = receipt_of(entry, now)
            names.append(f"receipts/{receipt.file_name}")
            folder.writestr(names[-1], str(receipt))
        folder.writestr("READ ME.txt", _read_me(names))
    return out.getvalue()


def _read_me(names: Sequence[str]) -> str:
    commands = "\n".join(f"  scalewitness verify {one}" for one in names)
    return READ_ME.format(commands=commands, keys="\n".join(f"  {one}" for one in log_keys()))


def _entries(dispute: Dispute, keeper: UUID, now: datetime) -> list[Entry]:
    owed = Disclosure.objects.filter(animal=dispute.animal_id).values_list("pk", flat=True)
    steps = SaleStep.objects.filter(sale__animals=dispute.animal_id)
    subjects = {dispute.pk, dispute.animal_id, *owed, *steps.values_list("sale", flat=True)}
    rows = list(Entry.objects.filter(about__in=subjects).order_by("position"))
    allowed = readable(keeper, rows, now)
    return [one for one in rows if one.position in allowed]
