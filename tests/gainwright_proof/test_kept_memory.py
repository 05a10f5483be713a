"""C that remembers something of its own between calls is no step of the trial."""

import pytest

from gainwright.language.load import load_trial
from gainwright.language.shipped import shipped_trial_names, shipped_trial_path
from gainwright_codegen.bundle.stamp import proved_sources
from gainwright_proof.exploration.kept_memory import kept_memory


@pytest.mark.parametrize(
    "text",
    [
        "int calls;",
        "static int calls = 0;",
        "static const int *next;",
        "int f(void)\n{\n    static int calls;\n    return ++calls;\n}",
        "int f(int a)\n{\n    if (a) { static int calls; a = ++calls; }\n    return a;\n}",
        "/* const */ static int calls[2] = {1, 2};",
        "struct gw {\n    int calls;\n} calls;",
        "static const int table[1] = {1};\nint calls;",
    ],
)
def test_what_can_change_is_named(text):
    assert kept_memory({"a.c": text.encode()}).startswith("a.c: ")


@pytest.mark.parametrize(
    "text",
    [
        "static const int table[2] = {1, 2};",
        'static const char *const names[1] = {"int calls;"};',
        "typedef struct {\n    int calls;\n} gw;",
        "#define X int calls;\nint f(int a);\nint f(int a)\n{\n    int b = a;\n    return b;\n}",
        "static inline int f(void)\n{\n    static const int one = 1;\n    return one;\n}",
        "enum gw { A, B };",
        "struct gw {\n    int calls;\n};",
    ],
)
def test_constants_types_and_functions_are_none(text):
    assert kept_memory({"a.c": text.encode()}) is None


@pytest.mark.parametrize("name", shipped_trial_names())
def test_the_shipped_trials_keep_nothing(name):
    assert kept_memory(proved_sources(load_trial(shipped_trial_path(name)))) is None
