"""``gainwright crosscheck``: an exported bundle on real instruction sets, with what it costs."""

from __future__ import annotations

import argparse
from typing import TYPE_CHECKING

from gainwright_cli.console import (
    add_json_option,
    add_out_options,
    console,
    doing,
    print_json,
    refuse,
    refuse_beside,
    refuse_without,
)

if TYPE_CHECKING:
    from gainwright_codegen.crosscheck.run import Crosscheck


FUZZ_S = 60


def add_arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("bundle", metavar="BUNDLE", help="folder that `gainwright export` wrote")
    parser.add_argument(
        "--target",
        action="append",
        metavar="NAME",
        help="only this processor, besides this computer; may be given several times",
    )
    parser.add_argument(
        "--gates",
        action="store_true",
        help="instead: compilers, analysers, MISRA, sanitizers, fuzzing and coverage, as far as "
        "they are installed",
    )
    parser.add_argument(
        "--fuzz",
        type=int,
        metavar="SECONDS",
        help="with --gates: how long both ticks are fuzzed (default: 60)",
    )
    add_out_options(parser, "table, data and picture")
    add_json_option(parser)


def run(arguments: argparse.Namespace) -> int:
    refuse_without("--fuzz", arguments.fuzz is not None, "--gates", arguments.gates)
    others = {"--target": bool(arguments.target), "--out": arguments.out is not None}
    refuse_beside("--gates", arguments.gates, others, "one of them", "leave one out")
    if arguments.gates:
        return _run_gates(arguments)
    from gainwright.result_folder import check_result_folder
    from gainwright_codegen.crosscheck.report import HEADINGS, document, notes, table
    from gainwright_codegen.crosscheck.run import crosscheck
    from gainwright_codegen.crosscheck.targets import TARGETS, USER_TARGETS

    if arguments.out:  # before what takes long
        check_result_folder(arguments.out, force=arguments.force)
    known = {target.name: target for target in (*TARGETS, *USER_TARGETS)}
    wanted = arguments.target or list(known)
    for name in wanted:
        if name not in known:
            expected = f"one of: {', '.join(known)}"
            raise refuse("--target", name, expected, "name one of them, or none for all")
    with doing("building and running the bundle"):
        result = crosscheck(arguments.bundle, [known[name] for name in dict.fromkeys(wanted)])
    if arguments.json:
        print_json(document(result))
    else:
        _print(HEADINGS, table(result), notes(result))
    if arguments.out:
        with doing("drawing the picture"):
            _write(result, arguments.out, arguments.force)
    if not result.identical:
        return 1
    return 0 if len(result.tried) == len(result.outcomes) else 3


def _write(result: Crosscheck, directory: str, force: bool) -> None:
    import json
    from pathlib import Path

    from gainwright.result_folder import result_folder
    from gainwright_codegen.crosscheck.picture import save_picture
    from gainwright_codegen.crosscheck.report import document, markdown, notes

    with result_folder(Path(directory), force=force) as folder:
        page = "\n".join([markdown(result), *notes(result), "", "![](crosscheck.png)", ""])
        (folder / "crosscheck.md").write_text(page, encoding="utf-8")
        text = json.dumps(document(result), indent=2) + "\n"
        (folder / "crosscheck.json").write_text(text, encoding="utf-8")
        save_picture(folder / "crosscheck.png", result)


def _run_gates(arguments: argparse.Namespace) -> int:
    from dataclasses import asdict

    from gainwright_codegen.gates.gates import exit_code, lines, run_gates

    fuzz_s = FUZZ_S if arguments.fuzz is None else arguments.fuzz
    if fuzz_s < 1:
        raise refuse("--fuzz", str(fuzz_s), "1 second or more", "name how many seconds")
    with doing("running the gates"):
        gates = run_gates(arguments.bundle, fuzz_s)
    if arguments.json:
        print_json({"gates": [asdict(gate) for gate in gates]})
    else:
        for line in lines(gates):
            console().print(line, markup=False, highlight=False)
    return exit_code(gates)


def _print(headings, rows, lines) -> None:  # type: ignore[no-untyped-def]
    from rich.table import Table

    grid = Table(*headings, box=None, pad_edge=False)
    for row in rows:
        grid.add_row(*row)
    screen = console()
    screen.print(grid)
    screen.print()
    for line in lines:
        screen.print(line, markup=False)
