"""Solver process: reads one request per line, writes one reply per line, as JSON.

Request: ``{"solver": name, "text": script, "effort_s": seconds}``; reply: ``{"answer", "reason"}``.
"""

from __future__ import annotations

import json
import sys
import time

from gainwright_proof.induction.solvers import decide

GUARD = 20.0
"""A solver that counts steps of its own is ended when it takes so many times the time that they
take as a rule."""


def main() -> None:
    for line in sys.stdin:
        request = json.loads(line)
        _limit_processor_time(GUARD * request["effort_s"])
        reply = decide(request["solver"], request["text"], request["effort_s"])
        print(json.dumps({"answer": reply.answer.value, "reason": reply.reason}), flush=True)


def _limit_processor_time(seconds: float) -> None:
    """End this process by a signal when it has computed for so long, where the system can."""
    try:
        import resource

        end = int(time.process_time() + seconds) + 1
        hard = resource.getrlimit(resource.RLIMIT_CPU)[1]
        resource.setrlimit(resource.RLIMIT_CPU, (end, hard))
    except (ImportError, ValueError, OSError):
        return  # Not on this system, or a lower limit is set from outside.


if __name__ == "__main__":
    main()
