"""The compiled explorer of one trial: the exported sequencer and the search, in one library."""

from __future__ import annotations

import threading
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from enum import IntEnum
from itertools import pairwise
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from gainwright.language.model import Trial
from gainwright_codegen.host import compile_and_load, flags_for, read_sources
from gainwright_codegen.host.sequencer import CHECKERS
from gainwright_codegen.sources import sequencer_sources
from gainwright_proof.exploration.encoding import Encoding
from gainwright_proof.exploration.kept_memory import kept_memory
from gainwright_proof.exploration.model_source import model_sources
from gainwright_proof.exploration.vectors import StateVectors, Vector

if TYPE_CHECKING:
    from numpy.typing import NDArray

_DIRECTORY = Path(__file__).parent
_NOWHERE = 2**32 - 1
_CALLED = tuple(
    f"gx_{name}.inc" for name in ("search", "notes", "folded", "graph", "waits", "asked")
)
"""Units that include the header of what Python calls."""
_LONGEST_WHOLE_WAIT = 2_000_000
"""Ticks of a wait above which going round a circle once is enough."""


class Result(IntEnum):
    """How a search stands."""

    MORE = 0
    COMPLETE = 1
    TOO_MANY = 2
    NO_MEMORY = 3
    TELLS_APART = 4
    """Nothing may be folded; :meth:`Engine.run` begins anew without."""


class Note(IntEnum):
    """What the search notes the first occurrence of; see ``gx_search.h``."""

    MOMENT = 0
    TICK = 1
    NO_ROW_HELD = 2
    ROWS_HELD = 3
    ROW_TAKEN = 4
    SATURATED = 5
    UNEXPECTED = 6
    CONDITIONS = 7
    SINGLE_MISS = 8


@dataclass(frozen=True, slots=True)
class Place:
    """A node (number of a reachable state with variables) and a vector tried there."""

    node: int
    vector: int


@dataclass(frozen=True, slots=True)
class Figures:
    """Counts of a search; they depend on the trial only, ``bytes`` on the explorer too."""

    nodes: int
    """Reachable combinations of state and variables found, those in folded waits included, as in
    ``edges`` and ``depth``."""
    held: int
    """Those that are nodes of the search."""
    expanded: int
    walked: int
    """Values of timers that are no nodes; each was walked through at least once."""
    ticks: int
    """Calls of the exported step function with the vectors of a node."""
    edges: int
    """Different successors, summed over the nodes."""
    depth: int
    """Ticks from reset to the farthest node."""
    bytes: int
    """Memory held at the end."""


@dataclass(frozen=True, slots=True)
class Wait:
    """Longest time until a formula holds, over all nodes from which the time counts."""

    longest_ticks: int | None
    """None: for ever."""
    late: list[Vector] | None
    """Inputs from reset until the time is over, for the first run that takes too long. It ends
    early where it has gone round a circle, or where no row holds."""


@dataclass(frozen=True, slots=True)
class Probed:
    """What the compiled step did, one element per input vector."""

    rows: NDArray[np.int32]
    """Number of the row, or a negative code."""
    states: NDArray[np.int32]
    variables: NDArray[np.int32]
    """Shape (n, number of variables, at least 1)."""
    outputs: NDArray[np.int32]
    """Shape (n, number of outputs, at least 1)."""


class BrokenGraph(Exception):
    """An edge cannot be gone again: the code of a state does not say everything, or the step does
    not give the same twice."""


class OutOfMemory(Exception):
    """An analysis of the graph found too little memory."""


class Engine:
    """A search over one trial, from reset. After the search, threads may share it."""

    def __init__(
        self,
        trial: Trial,
        vectors: Sequence[StateVectors],
        encoding: Encoding,
        most_nodes: int,
        exported: Mapping[str, bytes] | None = None,
        folds: bool = False,
    ) -> None:
        """Compile the explorer; InputError if that fails, OutOfMemory at once if it is short.

        ``exported`` is the C to explore, if it is not what the exporter writes now. With ``folds``,
        values of timers that only lead to the next are not kept one by one (``gx_pass.h``); what is
        found is the same, and so are counts and times.
        """
        self._trial = trial
        self.vectors_by_state = tuple(vectors)
        self.vectors: tuple[Vector, ...] = tuple(v for s in vectors for v in s.vectors)
        explored = _explored_sources(trial, exported)
        self.kept_memory = kept_memory(explored)
        """What the C keeps beside what it is given, if anything."""
        self._ffi, self._library = compile_and_load(
            _one_unit(
                {
                    **explored,
                    **read_sources(_DIRECTORY, "*.h", "*.c"),
                    **model_sources(trial, vectors, encoding),
                }
            ),
            ("gx_graph.h", "gx_asked.h"),
            (*CHECKERS, *flags_for(encoding.codes * max(1, *(len(s.vectors) for s in vectors)))),
            name="explorer",
        )
        self._table = np.array(self.vectors, dtype=np.int32).reshape(len(self.vectors), -1)
        if self._table.shape[1] == 0:
            self._table = np.zeros((len(self.vectors), 1), dtype=np.int32)
        self._most_nodes = most_nodes
        self._search = self._begin(folds)
        self._parents: Any = None
        self._lock = threading.Lock()

    def _begin(self, folds: bool) -> Any:
        self.folds = folds
        # The search reads the table as long as it lives.
        table = self._ffi.from_buffer(f"int32_t[][{self._table.shape[1]}]", self._table)
        search = self._library.gx_search_new(self._most_nodes, folds, table)
        if search == self._ffi.NULL:
            raise OutOfMemory
        return self._ffi.gc(search, self._library.gx_search_free)

    def run(self, nodes: int) -> Result:
        """Expand up to so many nodes more.

        C that tells values of a timer apart that the specification does not is explored one by one,
        from the beginning.
        """
        self._parents = None
        result = Result(self._library.gx_search_run(self._search, nodes))
        if result is Result.TELLS_APART:
            self._search = self._begin(folds=False)
            return Result.MORE
        return result

    @property
    def figures(self) -> Figures:
        return self._figures(standing=False)

    @property
    def standing(self) -> Figures:
        """The same in the middle of a search, at once: without what folded waits stand for."""
        return self._figures(standing=True)

    def _figures(self, standing: bool) -> Figures:
        figures = self._ffi.new("gx_figures *")
        if standing:
            self._library.gx_search_standing(self._search, figures)
        elif not self._library.gx_search_figures(self._search, figures):
            raise OutOfMemory
        return Figures(*(getattr(figures, name) for name in Figures.__dataclass_fields__))

    def nodes_by_state(self) -> tuple[int, ...]:
        """Return how many combinations each state has, in the order of the trial."""
        counts = self._ffi.new("uint64_t[]", len(self._trial.states))
        self._library.gx_search_nodes_in(self._search, counts)
        return tuple(counts)

    def keep_rows(self) -> None:
        """Keep from now on, at reset, which rows lead to each node; OutOfMemory if it is short."""
        if not self._library.gx_search_keep_rows(self._search):
            raise OutOfMemory

    def codes(self) -> NDArray[np.uint64]:
        """Return the code of each node (see :mod:`.encoding`), in the order of discovery; valid as
        long as the engine is."""
        return self._read(self._library.gx_search_codes(self._search), self.figures.held)

    def codes_and_rows(self) -> tuple[NDArray[np.uint64], NDArray[np.uint64]]:
        """Return the code of each node in rising order (see :mod:`.encoding`), and for each of
        them, as four words, the set of rows on a shortest way to it: row n is bit n modulo 256.
        Waits must not be folded."""
        count = self.figures.held
        codes = self._read(self._library.gx_search_codes(self._search), count)
        rows = self._read(self._library.gx_search_rows(self._search), 4 * count).reshape(count, 4)
        order = np.argsort(codes)
        return codes[order], rows[order]

    def _read(self, pointer: Any, words: int) -> NDArray[np.uint64]:
        return np.frombuffer(self._ffi.buffer(pointer, 8 * words), dtype=np.uint64)

    def ticks_by_row(self) -> tuple[int, ...]:
        """Return in how many ticks each row was taken, in the order of the trial."""
        count = len(self._trial.rows)
        return tuple(self._library.gx_search_row_ticks(self._search, k) for k in range(count))

    def situations(self) -> tuple[int, ...]:
        """Return a node of every situation that can be reached, in the order of the states."""
        count = sum(1 + len(state.enough) for state in self.vectors_by_state)
        nodes = self._ffi.new("uint32_t[]", count)
        self._library.gx_search_situations(self._search, nodes)
        return tuple(node for node in nodes if node != _NOWHERE)

    def memory_of(self, node: int) -> tuple[int, tuple[int, ...]]:
        """Return the number of the state of a node, and its variables."""
        memory = self._ffi.new("gw_sequencer *")
        self._library.gx_memory_of(self._search, node, memory)
        return memory.state, tuple(memory.variables[0 : len(self._trial.variables)])

    def probe(self, node: int, inputs: NDArray[np.int32]) -> Probed:
        """Take one step from a node with each of the inputs, whatever they hold; shape (n, slots).

        Outputs are those after the step.
        """
        import numpy as np

        trial, count = self._trial, len(inputs)
        sizes = ((), (), (max(1, len(trial.variables)),), (max(1, len(trial.outputs)),))
        found = [np.zeros((count, *size), dtype=np.int32) for size in sizes]
        arrays = [np.ascontiguousarray(inputs, dtype=np.int32), *found]
        kinds = ["int32_t[]" + "".join(f"[{n}]" for n in array.shape[1:]) for array in arrays]
        pointers = map(self._ffi.from_buffer, kinds, arrays)
        self._library.gx_probe(self._search, node, count, *pointers)
        return Probed(*found)

    def ask_ticks(
        self,
        rows: NDArray[np.int64],
        inputs: NDArray[np.int32],
        before: NDArray[np.int32],
        after: NDArray[np.int32],
    ) -> NDArray[np.uint8]:
        """Return what the search would note of ticks by these rows, shape (n, requirements + 1)."""
        noted = np.zeros((len(rows), len(self._trial.requirements) + 1), dtype=np.uint8)
        given = (rows.astype(np.int32), inputs, before, after)
        self._library.gx_ask_ticks(len(rows), *self._pointers(*given, noted))
        return noted

    def ask_moments(
        self, states: NDArray[np.int64], variables: NDArray[np.int32], outputs: NDArray[np.int32]
    ) -> tuple[NDArray[np.uint8], NDArray[np.uint8]]:
        """Return what the search would note of moments, shape (n, requirements + 1), and whether
        the formulas of ``gx_holds`` hold, shape (n, formulas)."""
        count = len(self._trial.requirements)
        noted = np.zeros((len(states), count + 1), dtype=np.uint8)
        holds = np.zeros((len(states), 2 * count + 2), dtype=np.uint8)
        given = (states.astype(np.int32), variables, outputs)
        self._library.gx_ask_moments(len(states), *self._pointers(*given, noted, holds))
        return noted, holds

    def _pointers(self, *arrays: NDArray[Any]) -> list[Any]:
        kinds = {np.dtype(np.int32): "int32_t[]", np.dtype(np.uint8): "uint8_t[]"}
        return [self._ffi.from_buffer(kinds[a.dtype], np.ascontiguousarray(a)) for a in arrays]

    def first(self, note: Note, subject: int) -> Place | None:
        """Return the first occurrence of something, nearest to reset; None if there is none."""
        return self._place(self._library.gx_search_first(self._search, int(note), subject))

    def holds_after_reset(self, formula: int) -> bool:
        """Return whether a formula (number as in ``gx_holds``) holds before the first tick."""
        return bool(self._library.gx_holds_after_reset(formula))

    def path_to(self, node: int) -> list[Vector]:
        """Return the inputs of a shortest run from reset to a node, one vector per tick."""
        nodes = self._nodes_to(node)
        return self._along(nodes, self._ticks_of(nodes))

    def ticks_to(self, node: int) -> int:
        """Return the length of a shortest run from reset to a node."""
        return sum(self._ticks_of(self._nodes_to(node)))

    def _nodes_to(self, node: int) -> list[int]:
        with self._lock:
            if self._parents is None:
                self._parents = self._ffi.new("uint32_t[]", self.figures.held)
                self._library.gx_parents(self._search, self._parents)
        nodes = [node]
        while self._parents[nodes[-1]] != _NOWHERE:
            nodes.append(self._parents[nodes[-1]])
        return nodes[::-1]

    def _ticks_of(self, nodes: Sequence[int]) -> list[int]:
        between = self._library.gx_ticks_between
        return [between(self._search, a, b) for a, b in pairwise(nodes)]

    def path_over(self, place: Place) -> list[Vector]:
        """Return the inputs of a shortest run from reset to a place, its own tick included."""
        return [*self.path_to(place.node), self.vectors[place.vector]]

    def _along(self, nodes: Sequence[int], ticks: Sequence[int]) -> list[Vector]:
        """Return inputs that lead from each node to the next; BrokenGraph if none do."""
        over = self._library.gx_vector_over
        inputs: list[Vector] = []
        for (a, b), count in zip(pairwise(nodes), ticks, strict=True):
            inputs.append(self._vector(over(self._search, a, b, count, -1)))
            inputs += self._passing(b, count - 1)
        return inputs

    def _passing(self, target: int, ticks: int) -> list[Vector]:
        """Return inputs with which time passes to a node for so many ticks."""
        if ticks == 0:
            return []
        return [self._vector(self._library.gx_pass_vector(self._search, target, ticks))] * ticks

    def _vector(self, number: int) -> Vector:
        if number == _NOWHERE:
            raise BrokenGraph(
                "a step that was found cannot be repeated: the code of a state leaves something "
                "out, or the step does not give the same twice"
            )
        return self.vectors[number]

    def wait_after_moment(self, formula: int, trigger: int, later_ticks: int) -> Wait:
        """Measure the wait for a formula where a trigger holds (numbers as in ``gx_holds``)."""
        waits = self._places()
        wait = self._library.gx_wait_after_moment(
            self._search, formula, trigger, later_ticks, waits
        )
        start = int(wait.first_late)
        late = None
        if start != _NOWHERE:
            late = self.path_to(start) + self._waiting(waits, start, later_ticks)
        return Wait(_longest(wait.longest), late)

    def wait_after_tick(self, requirement: int, later_ticks: int) -> Wait:
        """Measure the wait of a response requirement, the tick that triggers it included."""
        waits, limit = self._places(), later_ticks
        wait = self._library.gx_wait_after_tick(self._search, requirement, limit, waits)
        longest = _longest(wait.longest)
        late = None
        if wait.first_late != _NOWHERE:
            tick = self._library.gx_late_trigger(self._search, requirement, limit, waits)
            late = [*self.path_to(tick.node), self._vector(tick.vector)]
            late += self._passing(tick.target, tick.ticks)[:limit]
            late += self._waiting(waits, tick.target, limit - min(tick.ticks, limit))
        return Wait(None if longest is None else longest + 1, late)

    def _places(self) -> Any:
        return self._ffi.new("uint64_t[]", self.figures.held)

    def _waiting(self, waits: Any, start: int, limit: int) -> list[Vector]:
        """Return inputs of the longest wait from a node, at most so many ticks of it."""
        nodes = self.figures.held
        whole = limit <= _LONGEST_WHOLE_WAIT
        most = max(1, limit if whole else min(limit, nodes))
        path, ticks = self._ffi.new("uint32_t[]", most), self._ffi.new("uint64_t[]", most)
        passed = self._ffi.NULL if whole else self._ffi.new("uint8_t[]", nodes)
        length = self._library.gx_wait_path(
            self._search, waits, start, limit, most, path, ticks, passed
        )
        return self._along([start, *path[0:length]], ticks[0:length])[:limit]

    def stuck(self) -> tuple[int, int | None]:
        """Return how many combinations reach no end, and the nearest node of them."""
        reaches = self._ffi.new("uint8_t[]", self.figures.held)
        first = self._ffi.new("uint32_t[1]")
        count = self._library.gx_stuck(self._search, reaches, first)
        return count, int(first[0]) if count else None

    def _place(self, tick: Any) -> Place | None:
        return None if tick.node == _NOWHERE else Place(tick.node, tick.vector)


def _explored_sources(trial: Trial, exported: Mapping[str, bytes] | None) -> dict[str, bytes]:
    wanted = sequencer_sources(trial)
    return wanted if exported is None else {name: exported[name] for name in wanted}


def _one_unit(sources: Mapping[str, str | bytes]) -> dict[str, str | bytes]:
    """Return sources with all C files included by a single one, their text as it is.

    What is not called from outside is hidden, so that the exported step can be inlined into the
    search even in a shared library.
    """
    renamed = {name.replace(".c", ".inc"): text for name, text in sources.items()}
    # Functions of the C library must be declared before, or they would be hidden too.
    lines = [f"#include <{name}.h>" for name in ("stddef", "stdint", "stdlib", "string")]
    lines += ["#pragma GCC visibility push(hidden)"]
    units = sorted(name for name in renamed if name.endswith(".inc"))
    lines += [f'#include "{name}"' for name in units if name not in _CALLED]
    lines += ["#pragma GCC visibility pop"]
    lines += [f'#include "{name}"' for name in units if name in _CALLED]
    return {**renamed, "explorer.c": "\n".join([*lines, ""])}


def _longest(ticks: int) -> int | None:
    if ticks == -2:
        raise OutOfMemory
    return None if ticks == -1 else ticks
