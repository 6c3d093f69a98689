"""One fit by crowd-kit, in a process and an environment of its own (see consensus.py).

Arguments: calls.npz, answer.npz, EM steps (0: as it stops by itself).
"""

import json
import sys
import time
from importlib.metadata import version
from math import inf

import numpy as np
import pandas as pd
from crowdkit.aggregation import DawidSkene


def main(calls: str, answer: str, steps: int) -> None:
    """Fit, save prevalence-free answers as arrays, print seconds and steps."""
    with np.load(calls) as given:
        frame = pd.DataFrame(
            {"task": given["animal"], "worker": given["examiner"], "label": given["answer"]}
        )
    model = DawidSkene(n_iter=steps, tol=-inf) if steps else DawidSkene()
    started = time.perf_counter()
    model.fit(frame)
    seconds = time.perf_counter() - started
    posterior = model.probas_.sort_index()[[0, 1]].to_numpy()
    rows = pd.MultiIndex.from_product([sorted(frame["worker"].unique()), [0, 1]])
    tables = model.errors_.reindex(rows, fill_value=0.0)[[0, 1]].to_numpy()
    np.savez(answer, posterior=posterior, tables=tables.reshape(-1, 2, 2).transpose(0, 2, 1))
    versions = {name: version(name) for name in ("crowd-kit", "pandas", "numpy")}
    ran = len(model.loss_history_)
    print(json.dumps({"seconds": seconds, "steps": ran, "versions": versions}))


if __name__ == "__main__":
    main(sys.argv[1], sys.argv[2], int(sys.argv[3]))
