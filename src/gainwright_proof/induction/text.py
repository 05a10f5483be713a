"""SMT-LIB 2.6 as text: literals, connectives and a layout that people can read."""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence

WIDTH = 32
"""Bits of every integer, as in the exported C (``int32_t``)."""
INTEGER_SORT = f"(_ BitVec {WIDTH})"
LINE_LENGTH = 100

_TOKEN = re.compile(r"[()]|[^\s()]+")


def bit_vector(value: int, width: int = WIDTH) -> str:
    """Return an integer as a two's complement literal of ``width`` bits."""
    if value < 0:
        return f"(bvneg (_ bv{-value} {width}))"
    return f"(_ bv{value} {width})"


def conjunction(formulas: Iterable[str]) -> str:
    """Return the ``and`` of any number of formulas."""
    return _joined("and", list(formulas), "true")


def disjunction(formulas: Iterable[str]) -> str:
    """Return the ``or`` of any number of formulas."""
    return _joined("or", list(formulas), "false")


def negation(formula: str) -> str:
    return f"(not {formula})"


def implication(premise: str, conclusion: str) -> str:
    return f"(=> {premise} {conclusion})"


def _joined(connective: str, formulas: Sequence[str], neutral: str) -> str:
    if not formulas:
        return neutral
    return formulas[0] if len(formulas) == 1 else f"({connective} {' '.join(formulas)})"


def symbols_in(text: str) -> frozenset[str]:
    """Return every token of a text that is not a bracket."""
    return frozenset(token for token in _TOKEN.findall(text) if token not in "()")


def pretty(text: str) -> str:
    """Return an S-expression broken into lines of at most about 100 characters."""
    return "\n".join(_lines(_tree(text), 0))


Tree = str | list["Tree"]


def _tree(text: str) -> Tree:
    stack: list[list[Tree]] = [[]]
    for token in _TOKEN.findall(text):
        if token == "(":
            stack.append([])
        elif token == ")":
            closed = stack.pop()
            stack[-1].append(closed)
        else:
            stack[-1].append(token)
    return stack[0][0]


def _flat(tree: Tree) -> str:
    return tree if isinstance(tree, str) else f"({' '.join(map(_flat, tree))})"


def _lines(tree: Tree, indent: int) -> list[str]:
    flat = _flat(tree)
    if isinstance(tree, str) or indent + len(flat) <= LINE_LENGTH or len(tree) < 2:
        return [" " * indent + flat]
    head = _head_length(tree, indent)
    lines = [" " * indent + "(" + " ".join(map(_flat, tree[:head]))]
    for part in tree[head:]:
        # A long chain of ite reads as a list of cases, so it is not indented deeper and deeper.
        chained = tree[0] == "ite" and part is tree[-1]
        lines += _lines(part, indent if chained else indent + 2)
    lines[-1] += ")"
    return lines


def _head_length(tree: list[Tree], indent: int) -> int:
    """Return how many parts stay on the first line."""
    if tree[0] == "define-fun":
        return 4
    if tree[0] == "ite" and indent + len(_flat(tree[:3])) <= LINE_LENGTH:
        return 3
    return 1
