"""What the phone says of records of other logs, and whose log its positions are of."""

from typing import Any


def test_a_quote_is_marked_as_another_logs(modules: Any) -> None:
    body = {"origin": "elsewhere.example/log", "size": 1421}
    facts = [
        {"id": "q", "entry": {"kind": "record_quoted", "body": body}},
        {"id": "c", "entry": {"kind": "call_withdrawn", "body": {}}},
    ]
    assert modules("pure/told", "m.quoted(given)", facts) == [
        "What the log elsewhere.example/log says as of its position 1,420 was quoted. It is not "
        "counted here."
    ]


LINE = """(async () => {
  const { state } = await import("/rackside/app/state.js");
  const shown = [];
  for (const [log, text] of given) {
    state.log = log && { key: log };
    document.getElementById = () => ({ textContent: text });
    shown.push(m.whoseLog());
  }
  return shown;
})()"""


def test_whose_log_positions_are_of_stands_once_where_there_are_any(modules: Any) -> None:
    key = "record.example/log+5a3f9c01+Aabc"
    given = [
        [key, "Accepted at position 7, and position 9"],
        [key, "No signal"],
        [None, "position 7"],
    ]
    assert modules("app/shell", LINE, given) == [
        "Positions are of the log record.example/log.",
        "",
        "",
    ]
