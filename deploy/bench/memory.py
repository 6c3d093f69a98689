"""The memory of processes, shared pages divided among those that share them."""

import psutil


def of_each(root: psutil.Process) -> list[float]:
    """Megabytes of a process and of each that it started, its own first; what ended meanwhile has
    none."""
    found = []
    for one in (root, *root.children(recursive=True)):
        try:
            found.append(one.memory_full_info().pss / 1e6)
        except psutil.NoSuchProcess:
            continue
    return found


def of_all(pid: int) -> float:
    """Megabytes of a process and all that it started together; 0 where it ended."""
    try:
        return sum(of_each(psutil.Process(pid)))
    except psutil.NoSuchProcess:
        return 0.0
