"""Many examiners' answers on many animals, as the pooled model reads them."""

from collections.abc import Sequence
from typing import Final

import numpy as np
import numpy.typing as npt
from msgspec import Struct
from scipy.sparse import csr_array

FloatArray = npt.NDArray[np.float64]
Integers = Sequence[int] | npt.NDArray[np.integer]

UNKNOWN: Final = -1
"""The class of an animal that nothing has settled."""


class Labels(Struct, frozen=True, eq=False):
    """Answers of ``examiners`` on ``animals``.

    ``given`` has a row for each animal and, for each examiner, one column for each of the
    ``answers``; it counts how often that answer was given. Answer and class of the same
    number are the same word; answers beyond the classes ("undetermined") name none.
    ``times`` is how many animals a row stands for; ``known`` the class of settled animals,
    else ``UNKNOWN``.
    """

    given: csr_array[np.float64]
    animals: int
    examiners: int
    classes: int
    answers: int
    times: FloatArray
    known: npt.NDArray[np.int64]

    @property
    def votes(self) -> FloatArray:
        """How often each class was named for each animal: animals × classes."""
        names = np.tile(np.eye(self.answers, self.classes), (self.examiners, 1))
        return np.asarray(self.given @ names)


def labels(
    animal: Integers,
    examiner: Integers,
    answer: Integers,
    *,
    classes: int = 2,
    answers: int | None = None,
    times: Sequence[float] | FloatArray | None = None,
    known: Integers | None = None,
) -> Labels:
    """Labels from three columns of numbers from 0: who gave which answer on what.

    Repeated answers of one examiner on one animal all count. Raises ValueError for columns
    of different length, an answer out of range or no answers at all.
    """
    rows, who, what = (np.asarray(column, np.int64) for column in (animal, examiner, answer))
    choices = classes if answers is None else answers
    if not rows.size or rows.size != who.size or rows.size != what.size:
        raise ValueError("answers need an animal, an examiner and an answer each")
    if min(rows.min(), who.min(), what.min()) < 0 or what.max() >= choices or choices < 2:
        raise ValueError("animals, examiners and answers are numbered from nought")
    animals = int(rows.max()) + 1 if times is None else len(times)
    examiners = int(who.max()) + 1
    settled = np.full(animals, UNKNOWN) if known is None else np.asarray(known, np.int64)
    return Labels(
        given=_table(rows, who * choices + what, (animals, examiners * choices)),
        animals=animals,
        examiners=examiners,
        classes=classes,
        answers=choices,
        times=np.ones(animals) if times is None else np.asarray(times, np.float64),
        known=settled,
    )


def _table(
    rows: npt.NDArray[np.int64], columns: npt.NDArray[np.int64], shape: tuple[int, int]
) -> csr_array[np.float64]:
    """Built row by row; equal places stay apart, which every product takes as their sum."""
    if (rows[1:] < rows[:-1]).any():
        order = np.argsort(rows, kind="stable")
        rows, columns = rows[order], columns[order]
    starts = np.zeros(shape[0] + 1, np.int32)
    np.cumsum(np.bincount(rows, minlength=shape[0]), out=starts[1:])
    return csr_array((np.ones(rows.size), columns.astype(np.int32), starts), shape=shape)
