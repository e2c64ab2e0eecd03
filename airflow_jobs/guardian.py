"""The process that cleans up where the one that started everything was killed.

It reads from a pipe which process groups were started and which have ended. When the pipe
closes without a last word, its writer is gone: what is left is stopped, PostgreSQL last.
"""

import os
import signal
import sys
import time
from collections.abc import Callable, Collection
from pathlib import Path
from typing import Final

from airflow_jobs import embedded

GRACE_SECONDS: Final = 10
GOODBYE: Final = "goodbye"


def stop_groups(leaders: Collection[int], *, grace_seconds: float) -> None:
    """End process groups: their leaders are asked, what is left after a while is killed.

    Parameters
    ----------
    leaders
        Process ids of the groups' leaders.
    grace_seconds
        How long the leaders have, in seconds.
    """
    deadline = time.monotonic() + grace_seconds
    left = [leader for leader in leaders if _signal(os.kill, leader, signal.SIGTERM)]
    while left and time.monotonic() < deadline:
        time.sleep(0.05)
        left = [leader for leader in left if _signal(os.kill, leader, 0)]
    for leader in leaders:
        kill_group(leader)


def kill_group(leader: int) -> None:
    """Kill what is left of a process group.

    Parameters
    ----------
    leader
        Process id of the group's leader, which may have ended.
    """
    _signal(os.killpg, leader, signal.SIGKILL)


def main(postgres_directory: str) -> None:
    """Watch the pipe on standard input.

    Parameters
    ----------
    postgres_directory
        Folder of the embedded PostgreSQL to stop; empty where there is none.
    """
    for number in (signal.SIGINT, signal.SIGTERM, signal.SIGHUP):
        # Whoever signals everything at once signals the starter too, and it says goodbye.
        signal.signal(number, signal.SIG_IGN)
    leaders: list[int] = []
    for line in sys.stdin:
        word, _, leader = line.strip().partition(" ")
        if word == "started":
            leaders.append(int(leader))
        elif word == "ended":
            leaders.remove(int(leader))
        elif word == GOODBYE:
            return
    stop_groups(leaders, grace_seconds=GRACE_SECONDS)
    if postgres_directory:
        embedded.stop(Path(postgres_directory), only_if_unused=True)


def _signal(send: Callable[[int, int], None], leader: int, number: int) -> bool:
    try:
        send(leader, number)
    except ProcessLookupError:
        return False
    return True


if __name__ == "__main__":
    main(sys.argv[1])
