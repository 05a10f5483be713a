"""Compiled parts: which compiler, the cache, and what a user reads when something is wrong."""

from __future__ import annotations

import os
import subprocess
import sys
import time
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

import pytest

from gainwright.errors import InputError
from gainwright_codegen.host import (
    compilation,
    compile_program,
    compile_shared,
    load_library,
    read_sources,
)
from gainwright_codegen.host.cache import DIGEST_FILE, cache_directory
from gainwright_codegen.host.cache_bound import keep_within, note_use
from gainwright_codegen.host.compilation import CompilerLimit

from ..shared.compilers import compiler_parameters

ADDER = {
    "adder.h": "#include <stdint.h>\nint32_t add(int32_t a, int32_t b);\n",
    "src/adder.c": '#include "adder.h"\nint32_t add(int32_t a, int32_t b) { return a + b; }\n',
}
CDEF = "int32_t add(int32_t a, int32_t b);"
EXIT_SEVEN = {"seven.c": "int main(void) { return 7; }\n"}


@pytest.fixture
def own_cache(tmp_path, monkeypatch) -> Path:
    """An empty cache; Zig keeps its big one, which takes long to fill."""
    monkeypatch.setenv("ZIG_GLOBAL_CACHE_DIR", str(cache_directory() / "zig"))
    monkeypatch.setenv("ZIG_LOCAL_CACHE_DIR", str(cache_directory() / "zig"))
    monkeypatch.setenv("GAINWRIGHT_CACHE_DIR", str(tmp_path / "cache"))
    monkeypatch.delenv("GAINWRIGHT_CC", raising=False)
    monkeypatch.delenv("CC", raising=False)
    return tmp_path / "cache"


@pytest.mark.parametrize("variable", ["GAINWRIGHT_CC", "CC"])
@pytest.mark.parametrize("command", compiler_parameters("gcc", "clang", "zig"))
def test_every_compiler_builds_library_and_program(own_cache, monkeypatch, command, variable):
    monkeypatch.setenv(variable, command)
    _, library = load_library(compile_shared(ADDER, name="adder"), CDEF)
    assert library.add(40, 2) == 42
    program = compile_program(EXIT_SEVEN, name="seven")
    assert subprocess.run([program], check=False).returncode == 7


def test_second_build_takes_the_first_one_and_any_change_makes_another(own_cache):
    first = compile_shared(ADDER, name="adder")
    stamp = first.stat().st_mtime_ns
    assert compile_shared(dict(reversed(ADDER.items())), name="adder") == first
    assert first.stat().st_mtime_ns == stamp
    changed_header = {**ADDER, "adder.h": ADDER["adder.h"] + "\n"}
    others = {
        compile_shared(changed_header, name="adder"),
        compile_shared(ADDER, flags=["-DX=1"], name="adder"),
        compile_shared(ADDER, flags=["-DX=2"], name="adder"),
    }
    assert len(others | {first}) == 4
    assert not list(own_cache.glob(".*")), "scratch folders were left behind"


@pytest.mark.parametrize("damage", ["truncate", "flip", "no digest", "binary digest", "missing"])
def test_damaged_entry_is_built_again(own_cache, damage):
    product = compile_shared(ADDER, name="adder")
    good = product.read_bytes()
    digest = product.parent / "sha256"
    match damage:
        case "truncate":
            product.write_bytes(good[: len(good) // 2])
        case "flip":
            product.write_bytes(good[:-1] + bytes([good[-1] ^ 255]))
        case "no digest":
            digest.unlink()
        case "binary digest":
            digest.write_bytes(b"\xff\xfe")
        case "missing":
            product.unlink()
    assert compile_shared(ADDER, name="adder") == product
    assert product.read_bytes() == good
    assert not list(own_cache.glob(".*"))


def test_full_cache_drops_what_was_not_used_for_longest(tmp_path):
    root, hours = tmp_path / "cache", 3600
    now = time.time()
    for number, name in enumerate(("oldest", "older", "used", "lately")):
        (root / name).mkdir(parents=True)
        (root / name / "product").write_bytes(bytes(1000))
        (root / name / DIGEST_FILE).write_text("", encoding="utf-8")
        os.utime(root / name, (now, now - (9 - number) * hours))
    os.utime(root / "lately", (now, now))
    (root / "zig").mkdir()
    (root / "zig" / "big").write_bytes(bytes(9000))
    for name, age in ((".building-a", 30), (".building-b", 2)):
        (root / name).mkdir()
        os.utime(root / name, (now, now - age * hours))
    note_use(root / "older" / "product")
    os.utime(root / "older", (now, now - 2 * hours))
    keep_within(root, DIGEST_FILE, most_bytes=4000)
    assert {path.name for path in root.iterdir()} >= {"oldest", "older", "used", "lately", "zig"}
    assert not (root / ".building-a").exists() and (root / ".building-b").exists()
    keep_within(root, DIGEST_FILE, most_bytes=2000)
    assert not (root / "oldest").exists() and not (root / "used").exists()
    keep_within(root, DIGEST_FILE, most_bytes=0)
    # What was used within the hour stays, whatever the size.
    assert {path.name for path in root.iterdir()} == {"lately", "zig", ".building-b"}


def test_entry_that_is_found_again_counts_as_used(own_cache):
    entry = compile_shared(ADDER, name="adder").parent
    os.utime(entry, (0, 0))
    assert compile_shared(ADDER, name="adder").parent == entry
    assert entry.stat().st_mtime > time.time() - 600


def test_many_processes_build_the_same_at_once(own_cache):
    script = (
        "from gainwright_codegen.host import compile_shared, load_library\n"
        f"path = compile_shared({ADDER!r}, name='adder')\n"
        f"print(load_library(path, {CDEF!r})[1].add(1, 2), path)\n"
    )

    def run(_: int) -> str:
        command = [sys.executable, "-c", script]
        return subprocess.run(command, capture_output=True, text=True, check=True).stdout

    with ThreadPoolExecutor(4) as pool:
        answers = set(pool.map(run, range(6)))
    assert len(answers) == 1 and answers.pop().startswith("3 ")
    assert not list(own_cache.glob(".*"))


def test_cache_that_is_a_file_is_named_with_remedy(own_cache):
    own_cache.write_text("not a folder")
    with pytest.raises(InputError, match="GAINWRIGHT_CACHE_DIR") as caught:
        compile_shared(ADDER, name="adder")
    assert str(own_cache) in str(caught.value)


@pytest.mark.skipif(sys.platform == "win32", reason="folder permissions of POSIX")
def test_read_only_cache_serves_what_it_has_and_says_what_it_cannot(own_cache, tmp_path):
    product = compile_shared(ADDER, name="adder")
    # Pytest's and the cache's folders are for their owner only.
    for folder in [product.parent, *tmp_path.parents[:3], tmp_path]:
        folder.chmod(folder.stat().st_mode | 0o055)
    own_cache.chmod(0o555)
    script = (
        "import os, sys\n"
        "from gainwright.errors import InputError\n"
        "from gainwright_codegen.host import compile_shared\n"
        # The superuser may write anywhere, so somebody else has to try.
        "if os.geteuid() == 0: os.setgid(65534); os.setuid(65534)\n"
        f"print(compile_shared({ADDER!r}, name='adder'))\n"
        "try:\n"
        f"    compile_shared({ADDER!r}, flags=['-DOTHER'], name='adder')\n"
        "except InputError as error:\n"
        "    sys.exit(str(error))\n"
    )
    result = subprocess.run(
        [sys.executable, "-c", script], capture_output=True, text=True, check=False
    )
    own_cache.chmod(0o755)
    assert result.stdout.strip() == str(product), result.stderr
    assert result.returncode == 1
    assert "Permission denied" in result.stderr and "GAINWRIGHT_CACHE_DIR" in result.stderr
    assert "Traceback" not in result.stderr


def test_failed_compilation_shows_the_compilers_words_and_leaves_nothing(own_cache):
    with pytest.raises(InputError, match="undeclared_thing"):
        compile_shared({"bad.c": "int f(void) { return undeclared_thing; }\n"}, name="bad")
    assert not [path for path in own_cache.iterdir() if path.name.startswith((".", "bad"))]


@pytest.mark.parametrize("command", ["no-such-compiler-here", "'unclosed", "false"])
def test_demanded_compiler_that_does_not_start(own_cache, monkeypatch, command):
    monkeypatch.setenv("GAINWRIGHT_CC", command)
    with pytest.raises(InputError, match="GAINWRIGHT_CC"):
        compile_shared(ADDER, name="adder")


def _broken_compiler(folder: Path, does: str = 'echo "no C library" >&2; exit 1') -> None:
    folder.mkdir()
    for name in ("cc", "gcc", "clang"):
        script = folder / name
        script.write_text(f'#!/bin/sh\n[ "$1" = --version ] && exit 0\n{does}\n')
        script.chmod(0o755)


@pytest.mark.skipif(sys.platform == "win32", reason="shell script as compiler")
@pytest.mark.parametrize(
    ("does", "found"),
    [
        ("while true; do :; done", "no end after 0.3 s"),
        ("echo cc1: out of memory allocating 65536 bytes; exit 1", "8,000 MB of memory"),
    ],
)
def test_compiler_that_reaches_a_limit_is_ended_and_says_so(
    own_cache, tmp_path, monkeypatch, does, found
):
    """No other compiler is tried: it would take as long."""
    _broken_compiler(tmp_path / "bin", does)
    monkeypatch.setenv("PATH", f"{tmp_path / 'bin'}{os.pathsep}{os.environ['PATH']}")
    monkeypatch.setattr(compilation, "LIMIT_S", 0.3)
    with pytest.raises(CompilerLimit, match=found):
        compile_shared(ADDER, name="adder")
    assert not list(own_cache.glob(".*"))


@pytest.mark.slow
@pytest.mark.skipif(sys.platform == "win32", reason="shell script as compiler")
def test_system_compiler_that_cannot_compile_gives_way_to_zig(own_cache, tmp_path, monkeypatch):
    pytest.importorskip("ziglang")
    _broken_compiler(tmp_path / "bin")
    monkeypatch.setenv("PATH", f"{tmp_path / 'bin'}{os.pathsep}{os.environ['PATH']}")
    _, library = load_library(compile_shared(ADDER, name="adder"), CDEF)
    assert library.add(1, 1) == 2


@pytest.mark.slow
def test_no_system_compiler_at_all_uses_zig(own_cache, tmp_path, monkeypatch):
    pytest.importorskip("ziglang")
    (tmp_path / "empty").mkdir()
    monkeypatch.setenv("PATH", str(tmp_path / "empty"))
    _, library = load_library(compile_shared(ADDER, name="adder"), CDEF)
    assert library.add(1, 1) == 2


def test_library_that_cannot_be_loaded(tmp_path):
    fake = tmp_path / "fake.so"
    fake.write_bytes(b"not a library")
    with pytest.raises(InputError, match=r"fake\.so"):
        load_library(fake, CDEF)


@pytest.mark.parametrize("name", ["/abs.c", "../up.c", "-o.c"])
def test_source_names_stay_inside_the_folder(own_cache, name):
    with pytest.raises(ValueError, match="relative"):
        compile_shared({name: ""})


def test_read_sources_is_sorted_and_relative(tmp_path):
    (tmp_path / "b.c").write_text("b")
    (tmp_path / "a.h").write_text("a")
    (tmp_path / "c.txt").write_text("c")
    assert list(read_sources(tmp_path, "*.c", "*.h")) == ["a.h", "b.c"]
