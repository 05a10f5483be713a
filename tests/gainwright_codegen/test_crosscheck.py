"""The cross-check on bundles that are sound and on bundles that are not, and what it measures."""

from __future__ import annotations

import importlib.util
import shutil
from pathlib import Path

import pytest

from gainwright.errors import InputError
from gainwright_cli.main import main
from gainwright_codegen.bundle.guide import FIGURES
from gainwright_codegen.crosscheck import run as running
from gainwright_codegen.crosscheck import workload
from gainwright_codegen.crosscheck.elf import ElfFile
from gainwright_codegen.crosscheck.report import HEADINGS, document, markdown, notes, table
from gainwright_codegen.crosscheck.run import Crosscheck, Outcome, crosscheck
from gainwright_codegen.crosscheck.targets import ARM_GCC, TARGETS, USER_TARGETS
from gainwright_codegen.crosscheck.workload import Costs, Instructions

from ..shared.bundles import write_standard_bundle

pytestmark = pytest.mark.usefixtures("scratch_cache")
needs_emulator = pytest.mark.skipif(
    any(importlib.util.find_spec(name) is None for name in ("unicorn", "ziglang")),
    reason="unicorn or ziglang is not installed: pip install 'gainwright[crosscheck]'",
)
BY_NAME = {target.name: target for target in TARGETS}


@pytest.fixture(scope="module")
def bundle(scratch_cache, tmp_path_factory) -> Path:
    folder = tmp_path_factory.mktemp("bundle") / "kiln-shuttle"
    return write_standard_bundle(folder)


def altered(bundle: Path, target: Path, name: str, old: str, new: str) -> Path:
    shutil.copytree(bundle, target)
    text = (target / name).read_text()
    assert text.count(old) == 1
    (target / name).write_text(text.replace(old, new))
    return target


@pytest.fixture(scope="module")
def result(request, bundle) -> Crosscheck:
    if any(importlib.util.find_spec(name) is None for name in ("unicorn", "ziglang")):
        pytest.skip("unicorn or ziglang is not installed")
    return crosscheck(bundle, [BY_NAME[name] for name in request.param])


# Building and counting takes 10 s of processor time each.
ONE = ("Cortex-M4",)
MORE = ("Cortex-M0", "Cortex-M4", "RV32IMC")
each = pytest.mark.parametrize(
    "result", [ONE, pytest.param(MORE, marks=pytest.mark.slow)], indirect=True, ids=len
)
more = pytest.mark.parametrize("result", [MORE], indirect=True, ids=len)


@each
def test_all_processors_give_the_same_bits(result):
    assert result.identical and result.changed == ()
    assert {len(outcome.digest) for outcome in result.outcomes} == {64}
    # A pointer to the machine has 8 bytes on this computer.
    assert len({outcome.axis_bytes for outcome in result.outcomes[1:]}) == 1


@each
def test_what_a_tick_takes(result):
    """On a Cortex-M4 at -O2; what comes up beside filter and pulse is done one thing a tick."""
    costs = {outcome.target: outcome.costs for outcome in result.outcomes[1:]}
    assert costs["Cortex-M4"].control.typical <= 160
    assert costs["Cortex-M4"].control.worst <= 220
    assert costs["Cortex-M4"].control.stack_bytes <= 68
    # A processor without long multiplication calls a function for each product.
    least = 3 * costs["Cortex-M4"].control.typical
    assert "Cortex-M0" not in costs or costs["Cortex-M0"].control.typical > least
    for counted in costs.values():
        assert 0 < counted.control.least <= counted.control.typical <= counted.control.worst
        assert counted.control.typical < counted.sequencer.typical


@each
def test_figures_of_the_guide_are_those_measured(result):
    """Within a tenth: the trial and its evidence change more often than the guide."""
    for outcome in result.outcomes[1:]:
        flash, ram, _, control, sequencer = FIGURES[outcome.target]
        assert sum(size for _, size in outcome.flash) == pytest.approx(flash, rel=0.1)
        assert outcome.axis_bytes == pytest.approx(ram, rel=0.1)
        for said, counted in ((control, outcome.costs.control),
                              (sequencer, outcome.costs.sequencer)):  # fmt: skip
            measured = [counted.least, counted.typical, counted.worst]
            assert measured == pytest.approx([int(n) for n in said.split("/")], rel=0.1)


@pytest.mark.slow
@more
def test_what_the_compiler_adds_is_said(result):
    helpers = {outcome.target: outcome.helpers for outcome in result.outcomes}
    assert "__aeabi_lmul" in helpers["Cortex-M0"]
    assert helpers["Cortex-M4"] == helpers["RV32IMC"] == ()


@each
def test_table_and_document(result):
    rows = table(result)
    assert {len(row) for row in rows} == {len(HEADINGS)}
    assert {row[1] for row in rows} == {"yes"}
    assert markdown(result).count("\n") == 2 + len(result.outcomes)
    data = document(result)
    (m4,) = [one for one in data["processors"] if one["processor"] == "Cortex-M4"]
    (row,) = [row for row in rows if row[0] == "Cortex-M4"]
    assert sum(m4["flash_bytes"].values()) == int(row[2]) > 4000
    assert set(m4["flash_bytes"]) == {
        "gw_axis.c", "gw_axis_control.c", "gw_detector.c", "gw_evidence.c",
            "gw_machine_kiln_shuttle.c",
        "gw_sequencer.c", "gw_trial.c",
    }  # fmt: skip
    assert any("gw_trial.c" in line for line in notes(result))


needs_powerpc = pytest.mark.skipif(
    bool(running.user_mode.missing(USER_TARGETS[0])),
    reason="powerpc-linux-gnu-gcc or qemu-ppc is not installed",
)


@pytest.mark.slow
@needs_powerpc
def test_a_processor_with_the_other_byte_order_gives_the_same_numbers(bundle, tmp_path):
    found = crosscheck(bundle, [USER_TARGETS[0]])
    assert found.identical and len(found.outcomes[1].printed) == 64
    assert table(found)[1][1] == "yes"
    # One that reads a word by its first byte, which is the lowest only where bytes are swapped.
    old = "        pulse->next = next + 1;\n"
    new = old + "        torque += (*(const uint8_t *)&pulse->height == 0U) ? 0 : 1;\n"
    new += "        torque -= ((pulse->height & 255) == 0) ? 0 : 1;\n"
    folder = altered(bundle, tmp_path / "altered", "gw_pulse.h", old, new)
    found = crosscheck(folder, [USER_TARGETS[0]])
    assert [found.is_identical(outcome) for outcome in found.outcomes] == [True, False]


@pytest.mark.slow
@pytest.mark.skipif(
    shutil.which(ARM_GCC) is None or importlib.util.find_spec("unicorn") is None,
    reason="arm-none-eabi-gcc or unicorn is not installed",
)
def test_gcc_and_clang_give_the_same_bits(bundle):
    found = crosscheck(bundle, [BY_NAME["Cortex-M4 gcc"]])
    assert found.identical
    costs = found.outcomes[1].costs
    assert costs.control.typical <= 180 and costs.control.worst <= 270
    assert costs.sequencer.worst < 900 and costs.control.stack_bytes <= 88


@pytest.fixture
def fewer_ticks(monkeypatch):
    """All kinds of signal once, for what needs no figures."""
    monkeypatch.setattr(workload, "CONTROL_TICKS", 5 * workload._PHASE_TICKS)


@needs_emulator
@pytest.mark.usefixtures("fewer_ticks")
@pytest.mark.slow
def test_a_processor_that_gives_something_else_is_noticed(bundle, tmp_path):
    """A difference that no golden vector sees: an error of one count in the pulse, ARM only."""
    old = "            torque = gw_pulse_torque(pulse->height, shape->shape[next]);\n"
    new = old + "#ifdef __arm__\n            torque += 1;\n#endif\n"
    folder = altered(bundle, tmp_path / "altered", "gw_pulse.h", old, new)
    found = crosscheck(folder, [BY_NAME["Cortex-M4"]])
    assert [found.is_identical(outcome) for outcome in found.outcomes] == [True, False]
    assert not found.identical
    assert found.changed == ("gw_pulse.h",)
    assert table(found)[1][1] == "NO"
    assert any("Not as exported: gw_pulse.h" in line for line in notes(found))


@pytest.mark.usefixtures("fewer_ticks")
@pytest.mark.slow
def test_golden_vectors_that_fail_are_counted(bundle, tmp_path, capsys):
    """The command says no with its exit code, whatever the other processors do."""
    old = "x - (2 * (int64_t)past->last)"
    folder = altered(bundle, tmp_path / "altered", "gw_highpass.h", old, "x - (int64_t)past->last")
    found = crosscheck(folder, [])
    assert found.outcomes[0].failed_vectors > 0
    assert not found.identical
    assert main(["crosscheck", str(folder), "--target", "Cortex-M4"]) == 1
    assert "golden vectors fail" in capsys.readouterr().out


def test_a_changed_bundle_that_crashes_does_not_take_the_command_along(bundle, tmp_path, capsys):
    old = "    const int32_t next = pulse->next;\n"
    new = old.replace("pulse->next", "pulse->next + *(volatile int32_t *)0")
    folder = altered(bundle, tmp_path / "altered", "gw_pulse.h", old, new)
    assert main(["crosscheck", str(folder), "--target", "Cortex-M4"]) == 2
    err = capsys.readouterr().err
    assert "gw_pulse.h, not as exported" in err and "its self-test crashes" in err


def test_what_is_missing_is_said(bundle, monkeypatch, capsys):
    monkeypatch.setattr(running.importlib.util, "find_spec", lambda name: None)
    monkeypatch.setattr(running.user_mode, "missing", lambda target: "nothing runs it")
    assert main(["crosscheck", str(bundle)]) == 3
    out = capsys.readouterr().out
    for target in TARGETS:
        package = "unicorn" if target.compiler == ARM_GCC else "ziglang"
        assert f"{target.name} was not tried: the package {package} is not installed." in out
    for target in USER_TARGETS:
        assert f"{target.name} was not tried: " in out


def test_a_folder_without_a_bundle_is_refused(tmp_path, capsys):
    (tmp_path / "SHA256SUMS").write_text("0" * 64 + "  gw_axis.c\n")
    for folder in (tmp_path, tmp_path / "nowhere"):
        with pytest.raises(InputError, match="gainwright export"):
            crosscheck(folder)
    assert main(["crosscheck", str(tmp_path), "--target", "Cortex-M9"]) == 2
    assert "Cortex-M33" in capsys.readouterr().err


def test_a_file_that_is_missing_is_refused(bundle, tmp_path):
    shutil.copytree(bundle, tmp_path / "part")
    (tmp_path / "part" / "gw_pulse.h").unlink()
    with pytest.raises(InputError, match=r"gw_pulse\.h"):
        crosscheck(tmp_path / "part")


def test_table_data_and_picture_are_written(monkeypatch, tmp_path):
    """The figures are invented: nothing is built."""
    costs = Costs(
        Instructions(150, 156, 231, 68),
        Instructions(465, 559, 685, 140),
        (("gw_axis_step", 177), ("gw_trial_look", 71)),
    )
    found = Crosscheck(
        (), (Outcome("this computer", digest="a"), Outcome("one", digest="a", costs=costs))
    )
    monkeypatch.setattr(running, "crosscheck", lambda bundle, targets: found)
    for name in ("a", "b"):
        assert main(["crosscheck", "nowhere", "--out", str(tmp_path / name)]) == 0
    names = {path.name for path in (tmp_path / "a").iterdir()}
    assert names == {"crosscheck.md", "crosscheck.json", "crosscheck.png", "SHA256SUMS"}
    assert "| one | yes |" in (tmp_path / "a" / "crosscheck.md").read_text()
    for name in names:
        assert (tmp_path / "a" / name).read_bytes() == (tmp_path / "b" / name).read_bytes()


def test_only_elf_files_of_32_bits_are_read():
    with pytest.raises(ValueError, match="ELF"):
        ElfFile(b"\x7fELF\x02\x01\x01" + bytes(60))
