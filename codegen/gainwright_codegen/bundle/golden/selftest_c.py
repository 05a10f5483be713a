"""Writes the self-test program of a bundle: golden inputs through the sequencer, checksums out."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from gainwright_codegen.bundle.golden.sample import CHECKSUM_FACTOR, CHECKSUM_START
from gainwright_codegen.c_text import banner
from gainwright_codegen.trial_c.expression import c_integer

SELFTEST_FILE = "gw_selftest.c"


@dataclass(frozen=True, slots=True)
class SelfTestPart:
    """One group of golden vectors in the self-test program."""

    includes: tuple[str, ...]
    """Headers it needs."""
    source: str
    """C text. It defines ``static uint32_t FUNCTION(void)``, which prints one line per vector that
    fails through ``GW_SELFTEST_PRINT`` and returns how many failed."""
    function: str


def selftest_source(
    parts: Sequence[SelfTestPart], identities: Sequence[str], checks: Sequence[str]
) -> str:
    """Return the text of ``gw_selftest.c``: all parts and a ``main``.

    Args:
        parts: of the program.
        identities: what it belongs to.
        checks: lines that stop a compiler where files included before are from another export.
    """
    includes = sorted({name for part in parts for name in part.includes})
    calls = [f"    failures += {part.function}();" for part in parts]
    return "\n".join(
        [
            banner(
                "self-test: golden inputs through the exported code on this target. Prints one "
                "line per vector that fails and ends with PASS or FAIL; the exit code is 0 if all "
                "pass. On a target without printf define GW_SELFTEST_PRINT(text, name, number) as "
                "something else; define GW_SELFTEST_NO_MAIN to call gw_selftest_run yourself.",
                identities,
            ),
            "#include <stdint.h>\n",
            *(f'#include "{name}"' for name in includes),
            "",
            *checks,
            PRELUDE,
            *(part.source for part in parts),
            "uint32_t gw_selftest_run(void)\n{\n    uint32_t failures = 0U;\n",
            *calls,
            _ENDING,
        ]
    )


PRELUDE = f"""
#ifndef GW_SELFTEST_PRINT
#include <stdio.h>
#define GW_SELFTEST_PRINT(text, name, number) \\
    ((void)printf("%s %s %lu\\n", (text), (name), (unsigned long)(number)))
#endif

/* Number of vectors that failed; 0 is good. */
uint32_t gw_selftest_run(void);

#define CHECKSUM_START UINT32_C({CHECKSUM_START})

/* FNV-1a with 32 bits, over whole words, so that byte order plays no part. */
static uint32_t checksum_add(uint32_t checksum, uint32_t word)
{{
    return (uint32_t)((checksum ^ word) * UINT32_C({CHECKSUM_FACTOR}));
}}

/* Prints what has failed; returns how many. */
static uint32_t report(uint32_t passed, const char *name, uint32_t number)
{{
    if (passed != 0U) {{
        return 0U;
    }}
    GW_SELFTEST_PRINT("FAIL", name, number);
    return 1U;
}}
"""

_ENDING = """\
    GW_SELFTEST_PRINT((failures == 0U) ? "PASS" : "FAIL", "all; failures", failures);
    return failures;
}

#ifndef GW_SELFTEST_NO_MAIN
int main(void)
{
    return (gw_selftest_run() == 0U) ? 0 : 1;
}
#endif
"""


def numbers(values: Iterable[int]) -> str:
    """Return values as C constants, separated by commas."""
    # An int has 16 bits at least; without macro and spaces the source is a third as long.
    return ",".join(str(v) if abs(v) < 2**15 else c_integer(v) for v in values)
