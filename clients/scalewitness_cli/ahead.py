"""Asking for what comes next while what came is looked at."""

import signal
from collections.abc import Iterable, Iterator, Mapping
from threading import Thread

from scalewitness_cli.remote import Api, Json


def answers(api: Api, path: str, questions: Iterable[Mapping[str, str]]) -> Iterator[Json]:
    """What the server answers to each, in order; the next one is asked meanwhile.

    Raises:
        Unreachable, Refusal: as `Api.get`.
    """
    coming: Asked | None = None
    for question in questions:
        following = Asked(api, path, question)
        if coming is not None:
            yield coming.answer()
        coming = following
    if coming is not None:
        yield coming.answer()


class Asked(Thread):
    """Asks at once. What fails there is asked again when the answer is waited for, with patience
    and in that thread: only there is Ctrl-C heard. A daemon, so that nobody who gives up waits for
    it."""

    def __init__(self, api: Api, path: str, question: Mapping[str, str]) -> None:
        super().__init__(daemon=True)
        self._api, self._path, self._question = api, path, question
        self._answer: Json | None = None
        self.start()

    def run(self) -> None:
        # Else this thread may get a signal that the main one, asking the server, then misses.
        signal.pthread_sigmask(signal.SIG_BLOCK, {signal.SIGINT, signal.SIGTERM})
        self._answer = self._api.at_once(self._path, **self._question)

    def at_once(self) -> Json | None:
        """None: it could not be had at the first try."""
        self.join()
        return self._answer

    def answer(self) -> Json:
        """Raises Unreachable, Refusal as `Api.get`."""
        if (found := self.at_once()) is not None:
            return found
        return self._api.get(self._path, **self._question)
