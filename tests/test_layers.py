"""The arrangement of the code: one direction of imports, no circles, nothing heavy at the door."""

from __future__ import annotations

import ast
import subprocess
import sys
from graphlib import CycleError, TopologicalSorter
from pathlib import Path

import pytest

import gainwright
import gainwright_cli
import gainwright_codegen
import gainwright_proof
import gainwright_sim

MAY_IMPORT = {
    gainwright: set(),
    gainwright_codegen: {"gainwright"},
    gainwright_proof: {"gainwright", "gainwright_codegen"},
    gainwright_sim: {"gainwright", "gainwright_codegen"},
    gainwright_cli: {"gainwright", "gainwright_codegen", "gainwright_proof", "gainwright_sim"},
}
PACKAGES = {package.__name__: Path(package.__file__).parent for package in MAY_IMPORT}
ALLOWED = {package.__name__: names for package, names in MAY_IMPORT.items()}
HEAVY = {"scipy", "numpy", "matplotlib", "transitions", "z3", "rich", "cffi"}


def modules() -> dict[str, Path]:
    """Every module of our packages by its dotted name."""
    found = {}
    for name, folder in PACKAGES.items():
        for path in sorted(folder.rglob("*.py")):
            parts = [name, *path.relative_to(folder).with_suffix("").parts]
            found[".".join(part for part in parts if part != "__init__")] = path
    return found


MODULES = modules()


def imported(path: Path) -> set[str]:
    """Modules of ours that a file imports: at its top, inside functions, for type checkers."""
    names: set[str] = set()
    tree = ast.parse(path.read_text(encoding="utf-8"))
    for node in ast.walk(tree):
        if isinstance(node, ast.Import):
            names |= {alias.name for alias in node.names}
        elif isinstance(node, ast.ImportFrom) and node.module is not None:
            assert node.level == 0, f"{path}: relative import"
            for alias in node.names:
                whole = f"{node.module}.{alias.name}"
                names.add(whole if whole in MODULES else node.module)
    return {name for name in names if name.split(".")[0] in PACKAGES}


@pytest.mark.parametrize("module", sorted(MODULES))
def test_imports_point_one_way(module):
    package = module.split(".")[0]
    reached = {name.split(".")[0] for name in imported(MODULES[module])}
    assert reached - {package} <= ALLOWED[package]


def test_no_circles_between_files():
    graph = {
        module: {name for name in imported(path) if name in MODULES and name != module}
        for module, path in MODULES.items()
    }
    try:
        list(TopologicalSorter(graph).static_order())
    except CycleError as error:
        pytest.fail(" -> ".join(error.args[1]))


def test_help_imports_nothing_heavy():
    program = (
        "import sys\nfrom gainwright_cli.main import main\n"
        "try:\n    main(['--help'])\nexcept SystemExit:\n    pass\n"
        "print(sorted(sys.modules), file=sys.stderr)"
    )
    done = subprocess.run(
        [sys.executable, "-c", program], capture_output=True, text=True, check=True
    )
    loaded = set(ast.literal_eval(done.stderr))
    assert "rehearse" in done.stdout
    assert not {name for name in loaded if name.split(".")[0] in HEAVY}
