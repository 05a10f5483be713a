"""Answers of tools are kept by everything that they depend on, and by nothing less."""

from __future__ import annotations

import pytest

from gainwright_codegen.host.cache import cache_directory, scratch_cache
from gainwright_codegen.host.tool_run import ToolRun
from gainwright_proof.c_checks import esbmc
from gainwright_proof.c_checks.read_files import files_read
from gainwright_proof.inserted_defects.in_tool import IN_TOOL
from gainwright_proof.remembered import digest_of_run, nothing_remembered, remembered


@pytest.fixture(autouse=True)
def _own_cache():
    with scratch_cache():
        yield


PARTS = ("a tool", ("--option", "main.c"), {"main.c": b"int x;", "x.h": b""})


class Tool:
    """Counts its runs."""

    def __init__(self, exit_code: int | None = 0) -> None:
        self.runs = 0
        self.exit_code = exit_code

    def __call__(self) -> ToolRun:
        self.runs += 1
        return ToolRun(f"run {self.runs}\n", self.exit_code)


def test_the_same_question_is_asked_once():
    tool, digest = Tool(), digest_of_run(*PARTS)
    assert remembered(digest, tool) == remembered(digest, tool) == ToolRun("run 1\n", 0)


@pytest.mark.parametrize(
    "other",
    [
        ("another tool", *PARTS[1:]),
        (PARTS[0], ("--option", "-D", "main.c"), PARTS[2]),
        (PARTS[0], ("--optionmain.c",), PARTS[2]),
        (*PARTS[:2], {"main.c": b"int y;", "x.h": b""}),
        (*PARTS[:2], {"main.c": b"", "x.h": b"int x;"}),
        (*PARTS[:2], {"main.c": b"int x;"}),
    ],
)
def test_another_question_is_asked(other):
    tool = Tool()
    remembered(digest_of_run(*PARTS), tool)
    assert remembered(digest_of_run(*other), tool).output == "run 2\n"


def test_nothing_is_believed_where_nothing_is_to_be():
    tool, digest = Tool(), digest_of_run(*PARTS)
    remembered(digest, tool)
    with nothing_remembered():
        with nothing_remembered(ask_again=False):
            assert remembered(digest, tool).output == "run 2\n"
        assert remembered(digest, tool).output == "run 3\n"
    assert remembered(digest, tool).output == "run 1\n"


@pytest.mark.parametrize("ended", [None, -9])
def test_a_run_that_was_ended_is_not_kept(ended):
    tool, digest = Tool(ended), digest_of_run(*PARTS)
    remembered(digest, tool)
    assert remembered(digest, tool).output == "run 2\n"


def test_a_damaged_answer_is_asked_again():
    tool, digest = Tool(), digest_of_run(*PARTS)
    remembered(digest, tool)
    (path,) = cache_directory().glob("run-*/run.json")
    path.write_text(path.read_text().replace("run 1", "run 7"))
    assert remembered(digest, tool).output == "run 2\n"


def test_headers_of_headers_are_read_too(tmp_path):
    (tmp_path / "main.c").write_text('#include <stdint.h>\n#include "one.h"\n#include <math.h>\n')
    (tmp_path / "one.h").write_text('  # include "two.h"\n')
    (tmp_path / "two.h").write_text('#include "one.h"\n')
    (tmp_path / "other.c").write_text("int x;\n")
    assert sorted(files_read(tmp_path, ["main.c"])) == ["main.c", "one.h", "stdint.h", "two.h"]
    (tmp_path / "two.h").write_text("#include NAME\n")
    assert "other.c" in files_read(tmp_path, ["main.c"])


@pytest.mark.skipif(esbmc.executable() is None, reason="ESBMC is not installed")
def test_an_answer_about_other_bytes_is_noticed():
    (defect,) = [d for d in IN_TOOL if d.kind == "remembered answers"]
    assert defect.noticed_by() == ("c_source/reset_as_specified",)
