"""Runs obligations in solver processes: in parallel, with limits of effort, safe from crashes."""

from __future__ import annotations

import json
import signal
import subprocess
import sys
import threading
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from queue import Empty, SimpleQueue

from gainwright_codegen.host.tool_run import MEMORY_LIMIT_MB, limit_memory
from gainwright_proof.induction.solvers import Answer, Reply, limit_reached
from gainwright_proof.verdict import Obligation

_ENDED_BY_LIMIT = -getattr(signal, "SIGXCPU", 0)
_LAST_MOMENT_S = 10.0


@dataclass(frozen=True, slots=True)
class Task:
    obligation: Obligation
    solver: str


def run(
    tasks: Sequence[Task],
    effort_s: float,
    processes: int,
    done: Callable[[Task, Reply], None] = lambda task, reply: None,
) -> list[Reply]:
    """Return the reply to each task, in their order; ``done`` is told of each as it comes.

    ``done`` is called from several threads, one call at a time.
    """
    replies: list[Reply | None] = [None] * len(tasks)
    waiting: SimpleQueue[int] = SimpleQueue()
    for index in range(len(tasks)):
        waiting.put(index)
    lock = threading.Lock()

    def serve() -> None:
        with _Process() as process:
            while True:
                try:
                    index = waiting.get_nowait()
                except Empty:
                    return
                reply = process.ask(tasks[index], effort_s)
                with lock:
                    replies[index] = reply
                    done(tasks[index], reply)

    count = max(1, min(processes, len(tasks)))
    threads = [threading.Thread(target=serve, daemon=True) for _ in range(count)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    return [reply or Reply(Answer.UNKNOWN, "the solver process broke down") for reply in replies]


class _Process:
    """A solver process, started again when it was ended."""

    def __init__(self) -> None:
        self._process: subprocess.Popen[str] | None = None

    def __enter__(self) -> _Process:
        return self

    def __exit__(self, *_: object) -> None:
        self._end()

    def ask(self, task: Task, effort_s: float) -> Reply:
        if self._process is None:
            self._process = subprocess.Popen(
                [sys.executable, "-P", "-m", "gainwright_proof.induction.worker"],
                stdin=subprocess.PIPE,
                stdout=subprocess.PIPE,
                stderr=subprocess.DEVNULL,
                text=True,
                encoding="utf-8",
            )
            limit_memory(self._process.pid, MEMORY_LIMIT_MB)
        process = self._process
        assert process.stdin is not None and process.stdout is not None
        request = {"solver": task.solver, "text": task.obligation.text, "effort_s": effort_s}
        try:
            process.stdin.write(json.dumps(request) + "\n")
            process.stdin.flush()
            line = process.stdout.readline()
        except OSError:
            line = ""
        if line.endswith("\n"):
            reply = json.loads(line)
            return Reply(Answer(reply["answer"]), reply["reason"])
        try:
            # Its end of the pipe is closed a little before it is gone.
            ended = process.wait(_LAST_MOMENT_S)
        except subprocess.TimeoutExpired:
            ended = None
        self._end()
        if ended == _ENDED_BY_LIMIT:
            return Reply(Answer.UNKNOWN, limit_reached(effort_s))
        return Reply(Answer.UNKNOWN, f"the process of {task.solver} broke down")

    def _end(self) -> None:
        if self._process is None:
            return
        self._process.kill()
        self._process.communicate()
        self._process = None
