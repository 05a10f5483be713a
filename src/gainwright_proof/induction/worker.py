"""Solver process: reads one request per line, writes one reply per line, as JSON.

Request: ``{"solver": name, "text": script, "limit_s": seconds}``; reply: ``{"answer", "reason"}``.
"""

from __future__ import annotations

import json
import sys

from gainwright_proof.induction.solvers import decide


def main() -> None:
    for line in sys.stdin:
        request = json.loads(line)
        reply = decide(request["solver"], request["text"], request["limit_s"])
        print(json.dumps({"answer": reply.answer.value, "reason": reply.reason}), flush=True)


if __name__ == "__main__":
    main()
