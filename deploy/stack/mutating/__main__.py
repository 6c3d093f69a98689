"""The command: draws mutants, runs each against tests that reach it, says how many were noticed."""

import argparse
import json
import os
import shutil
import subprocess
import sys
import tempfile
import time
from collections import Counter
from collections.abc import Sequence
from math import sqrt
from pathlib import Path
from threading import Thread
from typing import Any

from coverage import CoverageData

from stack.local import ROOT
from stack.mutating import NOT_A_VERDICT, reach
from stack.mutating.drawing import Mutant, draw, files
from stack.mutating.reach import OUTSIDE, Names

HERE = ROOT / ".run" / "mutants"
TESTS = """tests/domain/test_sales.py tests/domain/test_consequences.py
    tests/domain/test_values_and_limits.py tests/intake tests/api tests/letters tests/mail
    tests/breeding tests/clients tests/pages tests/sign_in
    tests/test_asking_for_addresses.py"""
SLOW = """tests/intake/test_race.py tests/intake/test_faults.py tests/intake/test_faults_beside.py
    tests/intake/test_pieces.py tests/pages/test_hundredfold.py tests/pages/test_plots.py
    tests/api/test_every_operation.py tests/api/test_changes_converge.py
    tests/api/test_changes_wait.py tests/api/test_log.py"""
"""What waits, races or takes long: left out, so that fewer mutants are killed, never more."""
LEFT_OUT = (*SLOW.split(), "tests/browser/", "tests/cli/", "tests/deploy/", "tests/journeys/")
EVERY = ("--all", "-m", "not long")
"""Of files that an ordinary run asks some tests of, all but the long."""
BY_CHANCE = "not no_path_pays_before"
"""Property tests have deadlines of their own, which a loaded machine breaks."""
MOST_TESTS = 60
"""For one mutant, besides those of values alone, which take no time (our judgement: the next
hundred add little)."""
SECONDS = 600.0
"""For one mutant; a timeout counts as killed and is listed apart."""
NEEDED = 0.85
COLD = ("server/scalewitness/calls/queries/visibility.py",)
"""Its queries are prepared once a process, so they must be changed before it starts."""
Z = 1.959964
"""Of the normal distribution, for 95 %."""

Job = dict[str, Any]


def main(arguments: Sequence[str]) -> int:
    asked = argparse.ArgumentParser(prog="deploy/mutants", description=__doc__)
    asked.add_argument("--seed", type=int, default=1)
    asked.add_argument("--sample", type=int, default=400)
    asked.add_argument("--processes", type=int, default=2, choices=(1, 2))
    known = "find anew which tests reach what, or what these files reach"
    asked.add_argument("--map", nargs="*", metavar="TESTS", help=known)
    asked.add_argument("--again", type=Path, help="results, whose survivors are run again")
    given = asked.parse_args(arguments)
    HERE.mkdir(parents=True, exist_ok=True)
    if given.map is not None or not (HERE / "reach.json").exists():
        find_reach(given.map or [])
    if given.again:
        drawn, candidates = survivors(given.again), 0
    else:
        drawn, candidates = draw(ROOT, given.seed, given.sample)
    print(f"{len(drawn)} mutants, seed {given.seed}, of {candidates} candidates", flush=True)
    began = time.monotonic()
    done = run(jobs_for(drawn), given.processes)
    return report(done, time.monotonic() - began)


def find_reach(only: Sequence[str]) -> None:
    """Each test with the functions that it runs: the coverage of one run, test by test."""
    settings, found = HERE / "coverage.ini", HERE / "coverage"
    included = "\n    ".join(files(ROOT))
    settings.write_text(f"[run]\nrelative_files = true\ninclude =\n    {included}\n")
    ignored = [f"--ignore={one}" for one in SLOW.split()]
    command = ["pytest", "-q", "-p", "no:randomly", "-p", "no:cacheprovider", "-k", BY_CHANCE,
        "--cov", f"--cov-config={settings}", "--cov-context=test", "--cov-report=", *ignored,
        *EVERY, *(only or TESTS.split())]  # fmt: skip
    subprocess.run(command, env=os.environ | {"COVERAGE_FILE": str(found)}, cwd=ROOT, check=False)
    data = CoverageData(str(found))
    data.read()
    known = reach.load(HERE / "reach.json") if only else {}
    reach.save(reach.joined(known, reach.reach_of(data, ROOT, files(ROOT))), HERE / "reach.json")


def survivors(results: Path) -> list[Mutant]:
    rows = map(json.loads, results.read_text(encoding="utf-8").splitlines())
    return [Mutant(*one["mutant"]) for one in rows if one["verdict"] not in {"killed", "timeout"}]


def jobs_for(drawn: Sequence[Mutant]) -> list[Job]:
    known = reach.load(HERE / "reach.json")
    return [_job(one, known) for one in drawn]


def _job(mutant: Mutant, known: reach.Reach) -> Job:
    source = (ROOT / mutant.path).read_text(encoding="utf-8")
    names = Names(source)
    name, _ = at = names.at(mutant.line)
    beside = reach.naming(ROOT, source, mutant.line, LEFT_OUT) if name == OUTSIDE else []
    return {
        "mutant": [mutant.path, mutant.operator, mutant.occurrence, mutant.line],
        "diff": mutant.diff(source),
        "module": mutant.path.split("/", 1)[1].removesuffix(".py").replace("/", "."),
        "name": name,
        "code": mutant.source(source),
        "tests": beside + reach.tests_for(known, mutant.path, at, MOST_TESTS),
        "seconds": SECONDS,
        "cold": name == OUTSIDE or name in names.making or mutant.path in COLD,
    }


def run(jobs: list[Job], processes: int) -> list[Job]:
    """All of them, and then every test that killed one without any change: it must pass."""
    done: list[Job] = []
    shares = [jobs[number::processes] for number in range(processes)]
    workers = [Thread(target=_work, args=(share, done, str(n))) for n, share in enumerate(shares)]
    for one in workers:
        one.start()
    for one in workers:
        one.join()
    return done


def _work(jobs: list[Job], done: list[Job], name: str) -> None:
    warm, cold = [one for one in jobs if not one["cold"]], [one for one in jobs if one["cold"]]
    found = _warm(warm, f"{name}.warm")
    killing = sorted({one["by"].partition("\n")[0] for one in found if one["verdict"] == "killed"})
    control = [{"tests": [one], "seconds": SECONDS, "code": None} for one in killing]
    wrong = [one for one in _warm(control, f"{name}.control") if one["verdict"] != "survived"]
    for one in wrong:
        print("NO VERDICT: fails unchanged:", one["tests"], one["by"][-300:], flush=True)
    unsound = {one["tests"][0] for one in wrong}
    for one in found:
        if one["by"].partition("\n")[0] in unsound:
            one["verdict"] = "broken"
    done += found
    done += [_cold(one) for one in cold]


def _warm(jobs: list[Job], name: str) -> list[Job]:
    if not jobs:
        return []
    asked, answers = HERE / f"{name}.jobs", HERE / f"{name}.results"
    asked.write_text("\n".join(map(json.dumps, jobs)), encoding="utf-8")
    answers.unlink(missing_ok=True)
    tests = {one for job in jobs for one in job["tests"]}
    chosen = sorted({one.partition("::")[0] for one in tests} | {"tests/intake/test_sales.py"})
    command = [sys.executable, "-m", "pytest", "-q", "-p", "no:randomly", "-p",
        "no:cacheprovider", "-p", "stack.mutating.forks", *EVERY, *chosen]  # fmt: skip
    env = os.environ | {"MUTANTS_JOBS": str(asked), "MUTANTS_RESULTS": str(answers)}
    with (HERE / f"{name}.log").open("wb") as log:
        subprocess.run(command, cwd=ROOT, env=env, stdout=log, stderr=log, check=False)
    found = [json.loads(one) for one in answers.read_text(encoding="utf-8").splitlines()]
    missing = jobs[len(found) :]
    return found + [one | {"verdict": "broken", "by": "not run", "seconds": 0} for one in missing]


def _cold(job: Job) -> Job:
    """In a copy of the tree and a process that starts with the change."""
    began = time.monotonic()
    with tempfile.TemporaryDirectory(prefix="mutant-") as folder:
        tree = Path(folder)
        for part in ("server", "clients", "deploy", "tests", "fixtures_demo"):
            shutil.copytree(ROOT / part, tree / part, ignore=shutil.ignore_patterns("node_modules"))
        shutil.copy(ROOT / "pyproject.toml", tree)
        (tree / job["mutant"][0]).write_text(job["code"], encoding="utf-8")
        command = [sys.executable, "-m", "pytest", "-x", "-q", "-p", "no:randomly", "-p",
            "no:cacheprovider", *EVERY, *job["tests"]]  # fmt: skip
        parts = ("server", "clients", "deploy", "")
        env = os.environ | {"PYTHONPATH": os.pathsep.join(str(tree / one) for one in parts)}
        try:
            ended = subprocess.run(command, cwd=tree, env=env, capture_output=True, text=True,
                timeout=SECONDS, check=False)  # fmt: skip
        except subprocess.TimeoutExpired:
            return job | {"verdict": "timeout", "by": "", "seconds": SECONDS}
    verdicts = {0: "survived", 1: "killed", 2: "killed", 4: "killed"}
    by = "" if ended.returncode == 0 else ended.stdout[-600:] + ended.stderr[-300:]
    broken = any(one in ended.stdout for one in NOT_A_VERDICT)
    verdict = "broken" if broken else verdicts.get(ended.returncode, "broken")
    return job | {"verdict": verdict, "by": by, "seconds": round(time.monotonic() - began, 1)}


def lower_bound(killed: int, of: int) -> float:
    """Wilson's, of the 95 % interval."""
    share = killed / of
    middle = share + Z * Z / (2 * of)
    return (middle - Z * sqrt(share * (1 - share) / of + Z * Z / (4 * of * of))) / (1 + Z * Z / of)


def report(done: list[Job], seconds: float) -> int:
    counts = Counter(one["verdict"] for one in done)
    kept = "\n".join(
        json.dumps({name: one[name] for name in ("mutant", "verdict", "by", "seconds", "diff")})
        for one in done
    )
    (HERE / "results.jsonl").write_text(kept + "\n", encoding="utf-8")
    for one in done:
        if one["verdict"] != "killed":
            print(f"{one['verdict']}  {one['mutant'][0]}:{one['mutant'][3]}\n{one['diff']}\n")
    judged = len(done) - counts["broken"]
    caught = counts["killed"] + counts["timeout"]
    bound = lower_bound(caught, judged) if judged else 0.0
    print(
        f"killed {counts['killed']}, timeout {counts['timeout']}, survived {counts['survived']}, "
        f"no verdict {counts['broken']}; of {judged}: {caught / max(judged, 1):.3f}, at least "
        f"{bound:.3f} (95 %, Wilson); {seconds / 60:.0f} min"
    )
    return 0 if bound >= NEEDED and not counts["broken"] else 1


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
