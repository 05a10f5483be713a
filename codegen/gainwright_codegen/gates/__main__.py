"""``python -m gainwright_codegen.gates BUNDLE [SECONDS]``: runs every gate that is installed."""

from __future__ import annotations

import sys

from gainwright.errors import InputError
from gainwright_codegen.gates.gates import FUZZ_SECONDS, exit_code, lines, run_gates


def main(words: list[str]) -> int:
    """Print a line per gate; 0 if all pass, 1 if one fails, 3 if only some could be tried."""
    if len(words) not in (1, 2) or (len(words) == 2 and not words[1].isdigit()):
        print("usage: python -m gainwright_codegen.gates BUNDLE [SECONDS OF FUZZING]")
        return 2
    try:
        found = run_gates(words[0], int(words[1]) if len(words) == 2 else FUZZ_SECONDS)
    except InputError as error:
        print(error, file=sys.stderr)
        return 2
    print("\n".join(lines(found)))
    return exit_code(found)


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
