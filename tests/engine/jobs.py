"""Jobs for workers of a cluster, in a module that is imported fast."""

import os
import signal
import time
from pathlib import Path


def who(x):
    time.sleep(0.02)
    return x, os.getpid()


def kills_once(x, mark, pid):
    """Kill a process, which may be this one, the first time."""
    if x == 3 and not mark.exists():
        mark.touch()
        os.kill(pid, signal.SIGKILL)
    return who(x)


def notes_program(log):
    """Note the folder of the program that did this job."""
    time.sleep(0.05)
    from edgehold import engine

    with log.open("a") as stream:
        stream.write(f"{Path(engine.__file__).parents[1]}\n")
