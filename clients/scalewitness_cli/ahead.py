"""Asking for what comes next while what came is looked at."""

import signal
from collections.abc import Iterable, Iterator, Mapping
from threading import Thread

from scalewitness_cli.remote import Api, Json


def answers(api: Api, path: str, questions: Iterable[Mapping[str, str]]) -> Iterator[Json]:
    """What the server answers to each, in order; the next one is asked meanwhile. One that fails
    there is asked again once it is its turn, with patience and in this thread: only there is
    Ctrl-C heard.

    Raises:
        Unreachable, Refusal: as `Api.get`.
    """
    coming: _Asked | None = None
    for question in questions:
        following = _Asked(api, path, question)
        following.start()
        if coming is not None:
            yield coming.answer()
        coming = following
    if coming is not None:
        yield coming.answer()


class _Asked(Thread):
    """A daemon, so that nobody who gives up waits for it."""

    def __init__(self, api: Api, path: str, question: Mapping[str, str]) -> None:
        super().__init__(daemon=True)
        self._api, self._path, self._question = api, path, question
        self._answer: Json | None = None

    def run(self) -> None:
        # Else this thread may get a signal that the main one, asking the server, then misses.
        signal.pthread_sigmask(signal.SIG_BLOCK, {signal.SIGINT, signal.SIGTERM})
        self._answer = self._api.at_once(self._path, **self._question)

    def answer(self) -> Json:
        self.join()
        if self._answer is None:
            return self._api.get(self._path, **self._question)
        return self._answer
