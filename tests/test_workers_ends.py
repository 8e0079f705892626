"""verify/workers: ends of every kind, after which nothing is left, and what is seen of them."""

import multiprocessing
import os
import signal
import subprocess
import sys
import time
from collections.abc import Callable, Iterator
from contextlib import suppress
from pathlib import Path
from typing import Any

import psutil
import pytest
import worker_tasks as do
from commands import ROOT, environment
from worker_tasks import Doing, Task

from verify.workers import Limits, Lost, Workers, start

POSIX = pytest.mark.skipif(os.name == "nt", reason="Windows has no such signals")
Begin = Callable[..., subprocess.Popen[str]]
SOON_S = 20.0  # for something to happen that happens in a moment on a machine with nothing to do
WITH_WORKERS = """
import worker_tasks as do
from verify.workers import Limits, Workers, start, watched
start.METHOD = {method!r} or start.METHOD
watched.PATIENCE_S = 3600.0  # whatever has to be waited for takes an hour
print("begun", flush=True)
try:
    with Workers(do.Doing, 2, lambda _: Limits(3600.0, 10**9)) as workers:
        for result in workers.run({tasks}, None):
            print(result, flush=True)
except KeyboardInterrupt:
    print("stopped")
"""  # a script that would begin all over where it were imported


def plenty(_: Task) -> Limits:
    return Limits(60.0, 10**9)


def no_answer(index: int, question: Any) -> Any:
    raise AssertionError(f"task {index} asked {question}")


def wait_until(true: Callable[[], bool]) -> None:
    end = time.monotonic() + SOON_S
    while not true():
        assert time.monotonic() < end
        time.sleep(0.005)


def has_ended(process: psutil.Process | int) -> bool:
    """Whether a process is gone, or dead and waits for its parent to see it."""
    try:
        process = psutil.Process(process) if isinstance(process, int) else process
        return not process.is_running() or process.status() == psutil.STATUS_ZOMBIE
    except psutil.NoSuchProcess:
        return True


def kill(process: int | Lost) -> None:
    """Kill a worker and see it dead."""
    assert isinstance(process, int)
    os.kill(process, signal.SIGKILL)
    wait_until(lambda: has_ended(process))


@pytest.fixture
def begin() -> Iterator[Begin]:
    """Starts Python programs, each in a session of its own as from a terminal of its own."""
    begun = []

    def one(*arguments: str, folder: Path = ROOT, modules: Path = ROOT) -> subprocess.Popen[str]:
        places = [str(place) for place in (ROOT, ROOT / "tests", modules)]
        program = subprocess.Popen(
            [sys.executable, *arguments],
            stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True, cwd=folder,
            env=environment(PYTHONPATH=os.pathsep.join(places)), start_new_session=True,
        )  # fmt: skip
        begun.append(program)
        return program

    yield one
    for program in begun:
        if os.name != "nt":
            with suppress(ProcessLookupError, PermissionError):  # nothing is left, as it should be
                os.killpg(program.pid, signal.SIGKILL)
        program.kill()
        program.communicate()


def with_workers(tasks: str, method: str = "") -> str:
    """A program that does tasks and prints their results."""
    return WITH_WORKERS.format(tasks=tasks, method=method)


def begin_hanging(
    begin: Begin, hang: str, method: str
) -> tuple[subprocess.Popen[str], list[psutil.Process]]:
    """Start a program whose two workers hang; it, and all processes below it."""
    program = begin("-c", with_workers(f"[(do.echo, 'kept'), *[(do.{hang},)] * 5]", method))
    assert program.stdout is not None
    assert [program.stdout.readline() for _ in range(2)] == ["begun\n", "kept\n"]
    return program, psutil.Process(program.pid).children(recursive=True)


def below() -> dict[int, str]:
    """Status of all processes that this one has started, and they."""
    return {one.pid: one.status() for one in psutil.Process().children(recursive=True)}


@POSIX
def test_a_worker_killed_between_tasks_loses_none() -> None:
    with Workers(Doing, 1, plenty) as workers:
        (first,) = workers.run([(do.process,)], no_answer)
        kill(first)
        (second,) = workers.run([(do.process,)], no_answer)
        kill(second)
        third, last = workers.run([(do.process,), (do.echo, 3)], no_answer)
        assert len({first, second, third}) == 3
        assert last == 3


@POSIX
@pytest.mark.parametrize(
    ("size", "result"), [(10, bytes(10)), (5_000_000, Lost("its decoder died (signal 9)"))]
)
def test_a_result_counts_where_all_of_it_was_sent(
    size: int, result: bytes | Lost, tmp_path: Path
) -> None:
    """The worker dies after it, or while no more goes into the pipe because nobody reads."""
    tally = tmp_path / "tally"
    tasks: list[Task] = [(do.echo, 0), (do.dies_soon, tally, size), (do.echo, 2), (do.echo, 3)]
    with Workers(Doing, 1, plenty) as workers:
        run = workers.run(tasks, no_answer)
        assert next(run) == 0
        (worker,) = (child.pid for child in multiprocessing.active_children())
        assert worker is not None
        wait_until(lambda: has_ended(worker))
        assert list(run) == [result, 2, 3]
    assert tally.stat().st_size == 1  # nobody has tried again


@POSIX
def test_nothing_is_left_of_a_pool() -> None:
    """No process, no zombie and no file: only what serves later pools stays, once."""

    def use() -> None:
        tasks = [(do.echo, 0), (do.leaves, 3), (do.asks_and_dies,), *[(do.echo, 1)] * 5]
        with Workers(Doing, 2, plenty) as workers:
            list(workers.run(tasks, lambda *_: None))
        with Workers(Doing, 2, plenty) as workers:
            next(workers.run([(do.echo, 0), *[(do.hangs_in_native_code,)] * 5], no_answer))
        with Workers(do.refusing, 2, plenty) as workers, pytest.raises(FileNotFoundError):
            next(workers.run([(do.echo, 0)], no_answer))

    use()
    wait_until(lambda: psutil.STATUS_ZOMBIE not in below().values())
    before, files = below(), psutil.Process().num_fds()
    for _ in range(3):
        use()
        assert multiprocessing.active_children() == []
        wait_until(lambda: below().keys() == before.keys())
    assert psutil.Process().num_fds() == files


METHODS = pytest.mark.parametrize("method", sorted({"spawn", start.METHOD}))


@POSIX
@METHODS
@pytest.mark.parametrize("hang", ["hangs", "hangs_in_native_code"])
def test_an_interrupt_ends_all_at_once_and_keeps_what_there_was(
    begin: Begin, hang: str, method: str
) -> None:
    program, processes = begin_hanging(begin, hang, method)
    os.killpg(program.pid, signal.SIGINT)  # as a terminal does
    out, err = program.communicate(timeout=SOON_S)
    assert (out, err, program.returncode) == ("stopped\n", "", 0)
    wait_until(lambda: all(map(has_ended, processes)))


@POSIX
@METHODS
def test_an_interrupt_of_a_start_is_as_quiet(begin: Begin, method: str) -> None:
    program = begin("-c", with_workers("[(do.hangs,)] * 3", method))
    assert program.stdout is not None
    program.stdout.readline()
    time.sleep(0.03)
    os.killpg(program.pid, signal.SIGINT)
    out, err = program.communicate(timeout=SOON_S)
    assert (out, err, program.returncode) == ("stopped\n", "", 0)


@POSIX
@METHODS
def test_workers_leave_with_a_main_process_that_was_killed(begin: Begin, method: str) -> None:
    program, processes = begin_hanging(begin, "hangs", method)
    assert len(processes) >= 3
    program.kill()
    assert program.communicate(timeout=SOON_S) == ("", "")  # nobody else holds its outputs
    wait_until(lambda: all(map(has_ended, processes)))


@pytest.mark.parametrize("how", ["script", "module", "line"])
def test_any_way_to_begin_a_program_works_and_none_begins_twice(
    begin: Begin, how: str, tmp_path: Path
) -> None:
    """Also where modules of the same names lie in the working directory."""
    text = with_workers("[(do.echo, at) for at in range(4)]")
    (tmp_path / "pictures" / "verify").mkdir(parents=True)
    for name in ("verify/__init__.py", "pickle.py", "psutil.py", "worker_tasks.py"):
        (tmp_path / "pictures" / name).write_text("raise SystemError(__file__)", encoding="ascii")
    (tmp_path / "program.py").write_text(text, encoding="ascii")
    started = {
        "script": [str(tmp_path / "program.py")],
        "module": ["-P", "-m", "program"],  # -P: not from the working directory
        "line": ["-P", "-c", text],
    }[how]
    program = begin(*started, folder=tmp_path / "pictures", modules=tmp_path)
    out, err = program.communicate(timeout=SOON_S)
    assert (out, err) == ("begun\n0\n1\n2\n3\n", "")


@POSIX
@METHODS
def test_nothing_that_a_worker_prints_is_seen(begin: Begin, method: str) -> None:
    program = begin("-c", with_workers("[(do.prints,), (do.crashes,)] * 2", method))
    out, err = program.communicate(timeout=SOON_S)
    lost = "Lost(reason='its decoder died (signal 11)')"
    assert out.splitlines() == ["begun", "None", lost, "None", lost]
    assert err == ""


@pytest.mark.skipif(start.METHOD != "forkserver", reason="here each worker imports by itself")
def test_what_workers_need_is_imported_once_for_all_and_in_silence(
    begin: Begin, tmp_path: Path
) -> None:
    (tmp_path / "wordy.py").write_text(
        "import pathlib, worker_tasks\n"
        "print('imported', flush=True)\n"
        "pathlib.Path(__file__).with_name('tally').open('a').write('x')\n"
        "class Doing(worker_tasks.Doing): pass\n",
        encoding="ascii",
    )
    text = with_workers("[(do.leaves, 3)] * 4").replace("do.Doing", "wordy.Doing")
    program = begin("-c", "import wordy\n" + text, modules=tmp_path)
    out, err = program.communicate(timeout=SOON_S)
    assert out.startswith("imported\nbegun\nLost")
    assert out.count("imported") == 1
    assert err == ""
    assert (tmp_path / "tally").read_text(encoding="ascii") == "xx"


@POSIX
def test_a_quiet_process_hears_no_interrupt_and_leaves_no_dump(begin: Begin) -> None:
    text = """
import os, resource, signal
from verify.workers.quiet import be_quiet
be_quiet()
os.kill(os.getpid(), signal.SIGINT)
print("seen", flush=True)
os._exit(5 + max(resource.getrlimit(resource.RLIMIT_CORE)))
"""
    program = begin("-c", text)
    assert (*program.communicate(timeout=SOON_S), program.returncode) == ("", "", 5)
