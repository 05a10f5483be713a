"""A folder with the exported C, the drivers that call it, and copies with inserted defects."""

from __future__ import annotations

import re
import shutil
import subprocess
import tempfile
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path

from gainwright.language.model import Trial
from gainwright_codegen.host.compiler import Compiler, compilers
from gainwright_codegen.host.tool_run import LIMIT_S
from gainwright_proof.c_checks import plain_reference
from gainwright_proof.c_checks.defects import Defect, machine_defects
from gainwright_proof.c_checks.struct_driver import struct_driver
from gainwright_proof.c_checks.structures import structures

MACHINE_FILE = "gw_machine.c"
"""What the tables of the machine are called here, whatever its name."""
ANY_MACHINE_HEADER = "any_machine.h"
"""Names the object of the machine ``GW_ANY_MACHINE``."""
DRIVER_DIRECTORY = Path(__file__).parent / "driver"
INCLUDE_DIRECTORY = Path(__file__).parent / "include"


@dataclass(frozen=True, slots=True)
class Workspace:
    """A folder ready for the checkers; every file lies in ``folder`` itself."""

    folder: Path
    exported: tuple[str, ...]
    """Names of the exported C files."""

    @property
    def has_machine(self) -> bool:
        return MACHINE_FILE in self.exported

    @property
    def machine_defects(self) -> tuple[Defect, ...]:
        """Defects of the axis and of the tables of its machine; none without a machine."""
        if not self.has_machine:
            return ()
        return machine_defects((self.folder / MACHINE_FILE).read_text(encoding="ascii"))

    def with_defects(self, defects: tuple[Defect, ...]) -> Path:
        """Return a new folder with a copy in which the defects are inserted.

        Raises:
            LookupError: a file has no such text, or has it twice.
        """
        copy = Path(tempfile.mkdtemp(prefix="defect-", dir=self.folder.parent))
        shutil.copytree(self.folder, copy, dirs_exist_ok=True)
        for defect in defects:
            path = copy / defect.file
            path.write_text(defect.applied(path.read_text(encoding="ascii")), encoding="ascii")
        return copy


@contextmanager
def workspace(sources: Mapping[str, bytes], trial: Trial) -> Iterator[Workspace]:
    """Make a workspace of the exported sources of a trial and remove it in the end.

    Raises:
        InputError: no C compiler for preprocessing.
        UnsupportedC: the headers cannot be read.
    """
    with tempfile.TemporaryDirectory(prefix="gainwright-source-") as root:
        folder = Path(root) / "source"
        shutil.copytree(DRIVER_DIRECTORY, folder)
        machines = [n.removesuffix(".c") for n in sources if re.match(r"gw_machine_\w+\.c$", n)]
        sources = {
            MACHINE_FILE if name == f"{machine}.c" else name: content
            for machine in machines[:1] or [""]
            for name, content in sources.items()
        }
        names = tuple(name for name in sources if name.endswith((".c", ".h")))
        for name in names:
            (folder / name).write_bytes(sources[name])
        for machine in machines[:1]:
            text = f'#include "{machine}.h"\n#define GW_ANY_MACHINE {machine}\n'
            (folder / ANY_MACHINE_HEADER).write_text(text, encoding="ascii")
        (folder / plain_reference.FILE).write_text(
            plain_reference.plain_reference(trial), encoding="ascii"
        )
        made = Workspace(folder, names)
        if made.has_machine:
            headers = preprocessed(folder, '#include "gw_evidence.h"\n#include "gw_pulse.h"\n')
            text = struct_driver(structures(headers))
            (folder / "any_structs.c").write_text(text, encoding="ascii")
        yield made


def preprocessed(folder: Path, text: str) -> str:
    """Return a source after the preprocessor, for a machine whose ``int`` has 32 bits.

    Raises:
        InputError: no C compiler.
        LookupError: the preprocessor failed.
    """
    return _preprocessed_by(next(compilers()), folder, text)


def _preprocessed_by(compiler: Compiler, folder: Path, text: str) -> str:
    with tempfile.TemporaryDirectory(prefix="preprocess-", dir=folder.parent) as scratch:
        unit = Path(scratch) / "unit.c"
        unit.write_text(text, encoding="ascii")
        command = [*compiler.command, "-E", "-std=c99", "-nostdinc"]
        words = [*command, f"-I{INCLUDE_DIRECTORY}", f"-I{folder}", str(unit)]
        try:
            result = subprocess.run(
                words, capture_output=True, text=True, errors="replace", check=False,
                timeout=LIMIT_S,
            )  # fmt: skip
        except subprocess.TimeoutExpired as error:
            raise LookupError(f"{compiler} -E: no end after {LIMIT_S:g} s") from error
    if result.returncode != 0:
        raise LookupError(f"{compiler} -E: {result.stderr.strip()[:500]}")
    return result.stdout
