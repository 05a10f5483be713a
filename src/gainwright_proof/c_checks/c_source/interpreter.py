"""Abstract execution of C functions; calls are followed, loops of known length are unrolled."""

from __future__ import annotations

from pycparser import c_ast

from gainwright_proof.c_checks.c_source.errors import UnsupportedC
from gainwright_proof.c_checks.c_source.expressions import Evaluator
from gainwright_proof.c_checks.c_source.memory import Number, Place, Pointer, State, Value, hull
from gainwright_proof.c_checks.c_source.places import Frame, element_place, member_place
from gainwright_proof.c_checks.c_source.types import (
    ArrayType,
    Interval,
    IntType,
    PointerType,
    StructType,
)

_DEEPEST_CALL = 40
_LONGEST_LOOP = 1000


class Interpreter(Evaluator):
    """Runs functions on all states that the promises allow."""

    def run(self, name: str, arguments: dict[str, Interval] | None = None) -> Interval | None:
        """Run a function from every promised state and check that its structures keep their ranges.

        Args:
            name: the function; its pointers point at one structure each, none shared.
            arguments: narrower ranges of integer parameters.

        Returns:
            Range of the returned integer, None without one.

        Raises:
            UnsupportedC: the function does not exist or is beyond this analysis.
        """
        function = self._function(name, None)
        values: list[Value] = []
        for parameter in function.decl.type.args.params:
            kind = self.program.type_of(parameter.type)
            if isinstance(kind, PointerType):
                values.append(Pointer((f"*{parameter.name}",), kind.target))
            elif isinstance(kind, IntType):
                values.append(Number((arguments or {}).get(parameter.name, kind.range), kind))
            else:
                raise UnsupportedC("a parameter that is neither integer nor pointer", parameter)
        state = State()
        self.written.clear()
        result = self._enter(function, values, state)
        self.frames.append(Frame(name, 0))
        for value in values:
            if isinstance(value, Pointer):
                self._check_kept(Place(value.path, value.target), state, function)
        self.frames.pop()
        return result.range if isinstance(result, Number) else None

    def _check_kept(self, place: Place, state: State, node: c_ast.FuncDef) -> None:
        """Record that every promised member that was written is inside its range."""
        if isinstance(place.type, ArrayType):
            for index in range(place.type.length):
                self._check_kept(element_place(place, index), state, node)
        if not isinstance(place.type, StructType):
            return
        for name in self.program.structs[place.type.name]:
            member = member_place(self.program, self.promises, place, name)
            self._check_kept(member, state, node)
            promised = self.promises.ranges.get(place.type.name, {}).get(name)
            if promised is not None and member.path in self.written:
                text = c_ast.ID(f"{place.type.name}.{name} afterwards", node.decl.coord)
                self.record(text, "promised range", state.values[member.path], promised)

    # --- Calls ----------------------------------------------------------------------------------

    def _function(self, name: str, node: c_ast.Node | None) -> c_ast.FuncDef:
        if name not in self.program.functions:
            raise UnsupportedC(f"function {name} is not in this source", node)
        return self.program.functions[name]

    def call(self, node: c_ast.FuncCall, state: State) -> Value:
        if not isinstance(node.name, c_ast.ID):
            raise UnsupportedC("a call through a pointer", node)
        function = self._function(node.name.name, node)
        arguments = node.args.exprs if node.args else []
        return self._enter(function, [self.evaluate(a, state) for a in arguments], state)

    def _enter(self, function: c_ast.FuncDef, values: list[Value], state: State) -> Value:
        if len(self.frames) > _DEEPEST_CALL:
            raise UnsupportedC("calls nest too deeply", function)
        frame = Frame(function.decl.name, len(self.frames))
        parameters = function.decl.type.args.params if function.decl.type.args else []
        self.frames.append(frame)
        for parameter, value in zip(parameters, values, strict=True):
            self._bind(parameter, value, state)
        rest = self._execute(function.body, state.copy())
        self.frames.pop()
        if rest is not None:
            frame.returns.append((None, rest))
        return self._returned(function, frame, state)

    def _bind(self, parameter: c_ast.Decl, value: Value, state: State) -> None:
        if isinstance(value, Pointer):
            self.frame.pointers[parameter.name] = value
            return
        kind = self.program.type_of(parameter.type)
        if not isinstance(kind, IntType) or not isinstance(value, Number):
            raise UnsupportedC("this parameter", parameter)
        self.frame.types[parameter.name] = kind
        converted = self.converted(parameter, value, kind)
        state.write(self.frame.path(parameter.name), converted.range)

    def _returned(self, function: c_ast.FuncDef, frame: Frame, state: State) -> Value:
        after: State | None = None
        result: Number | None = None
        for value, at in frame.returns:
            after = self.join(after, at)
            if isinstance(value, Number):
                span = value.range if result is None else hull(result.range, value.range)
                result = Number(span, value.type)
        if after is None:
            raise UnsupportedC("a function that never returns", function)
        # Locals are gone; another call at this depth must not see them.
        root = frame.path("")[0]
        after.values = {path: v for path, v in after.values.items() if path[0] != root}
        after.below = {pair for pair in after.below if root not in (pair[0][0], pair[1][0])}
        state.become(after)
        return result

    # --- Statements -----------------------------------------------------------------------------

    def _execute(self, node: c_ast.Node | None, state: State) -> State | None:
        """Return the state after a statement; None if it always returns."""
        match node:
            case None | c_ast.EmptyStatement():
                return state
            case c_ast.Compound():
                return self._block(node.block_items or [], state)
            case c_ast.Decl():
                return self._declare(node, state)
            case c_ast.Assignment():
                self._assign(node, state)
                return state
            case c_ast.If():
                yes, no = self.branches(node.cond, state)
                after_yes = None if yes is None else self._execute(node.iftrue, yes)
                after_no = None if no is None else self._execute(node.iffalse, no)
                return self.join(after_yes, after_no)
            case c_ast.For():
                return self._loop(node, state)
            case c_ast.Return():
                self._return(node, state)
                return None
        self.evaluate(node, state)
        return state

    def _block(self, statements: list[c_ast.Node], state: State) -> State | None:
        after: State | None = state
        for statement in statements:
            if after is None:
                break
            after = self._execute(statement, after)
        return after

    def _declare(self, node: c_ast.Decl, state: State) -> State:
        kind = self.program.type_of(node.type)
        if isinstance(kind, PointerType):
            value = self.evaluate(node.init, state)
            if not isinstance(value, Pointer):
                raise UnsupportedC("a pointer without a first value", node)
            self.frame.pointers[node.name] = value
            return state
        if not isinstance(kind, IntType):
            raise UnsupportedC("a local variable that is no integer", node)
        self.frame.types[node.name] = kind
        if node.init is not None:
            value = self.integer(node.init, state)
            state.write(self.frame.path(node.name), self.converted(node.init, value, kind).range)
        return state

    def _assign(self, node: c_ast.Assignment, state: State) -> None:
        place = self.place(node.lvalue, state)
        value = self.integer(node.rvalue, state)
        if node.op != "=":
            before = self.integer(node.lvalue, state)
            value = self.operation(node, node.op.removesuffix("="), before, value)
        self.store(node, place, value, state)

    def _loop(self, node: c_ast.For, state: State) -> State | None:
        after = self._execute(node.init, state)
        for _ in range(_LONGEST_LOOP):
            if after is None:
                return None
            yes, no = self.branches(node.cond, after)
            if yes is None:
                return no
            if no is not None:
                raise UnsupportedC("a loop whose length is not known", node)
            after = self._execute(node.stmt, yes)
            if after is not None:
                after = self._execute(node.next, after)
        raise UnsupportedC(f"a loop of more than {_LONGEST_LOOP} rounds", node)

    def _return(self, node: c_ast.Return, state: State) -> None:
        value: Value = None
        if node.expr is not None:
            kind = self.program.type_of(self._function(self.frame.function, node).decl.type.type)
            value = self.evaluate(node.expr, state)
            if isinstance(value, Number) and isinstance(kind, IntType):
                value = self.converted(node.expr, value, kind)
        self.frame.returns.append((value, state))
