"""Waiting for a page's answer, with a line that fails and a server that asks for a retry later."""

from typing import Any

import httpx
import pytest

from scalewitness_cli.approval import by_page
from scalewitness_cli.remote import Refusal, Stopped, Unreachable


class Scripted:
    """A server's answers in order; a code stands for a refusal, None for no answer."""

    def __init__(self, *answers: Any) -> None:
        self.answers = list(answers)

    def post(self, path: str, content: Any) -> Any:
        if path == "devices/authorization":
            return {"device_code": "d", "user_code": "BBBB-CCCC", "verification_uri": "u",
                    "expires_in": 600, "interval": 5}  # fmt: skip
        answer = self.answers.pop(0) if self.answers else "authorization_pending"
        if answer is None:
            raise Unreachable("no answer")
        if isinstance(answer, str):
            problem = {"code": answer, "detail": answer}
            raise Refusal("POST", path, httpx.Response(400, json=problem))
        return answer


def waits(*answers: Any) -> tuple[Any, list[float]]:
    slept: list[float] = []
    made = by_page(Scripted(*answers), "rack", lambda page, code: None, slept.append)  # type: ignore[arg-type]
    return made, slept


def test_it_asks_at_the_interval_and_more_rarely_where_told() -> None:
    made, slept = waits("authorization_pending", "slow_down", "authorization_pending", {"id": "1"})
    assert made == {"id": "1"}
    assert slept == [5, 5, 10, 10]


def test_after_no_answer_it_asks_more_rarely() -> None:
    assert waits(None, None, {"id": "1"})[1] == [5, 10, 20]


@pytest.mark.parametrize("code", ["access_denied", "expired_token"])
def test_a_refusal_ends_it(code: str) -> None:
    with pytest.raises(Stopped, match=code):
        waits(code)


def test_it_does_not_wait_for_ever() -> None:
    with pytest.raises(Stopped, match="in time"):
        waits()
