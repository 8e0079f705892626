"""A process that nobody looks at: what it prints goes nowhere, and a stop by hand is not for it.

Imported by the process that workers are forked from, this module makes that process quiet, and so
all that are forked from it. That process has the outputs of the program that started it, and
multiprocessing lets it be told nothing but which modules to import: without this one, a library
that warns, or a start cut short by an interrupt, would show on the user's screen or in a report.
"""

import os
import signal
import sys

if sys.platform != "win32":
    import resource

OUTPUTS = 1, 2  # file descriptors of standard output and error; native code writes to these


def be_quiet() -> None:
    """Let this process print nothing, ignore interrupts and leave no memory dump behind."""
    # A terminal interrupts every process of a run at once; only the main one is to leave in order.
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    nothing = os.open(os.devnull, os.O_WRONLY)
    for output in OUTPUTS:
        os.dup2(nothing, output)
    if nothing not in OUTPUTS:
        os.close(nothing)
    if sys.platform != "win32":  # a dump takes seconds, and gigabytes beside the user's files
        resource.setrlimit(resource.RLIMIT_CORE, (0, 0))


if any(word.startswith("from multiprocessing.forkserver import") for word in sys.orig_argv):
    be_quiet()
