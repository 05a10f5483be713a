"""Where an interrupt comes at a bad moment: it still ends the command, with nothing but a word."""

from __future__ import annotations

import signal
import sys
import time
from contextlib import suppress

import pytest

from gainwright_cli import interruption
from gainwright_cli import list as list_command
from gainwright_cli.interruption import one_interrupt_ends_it
from gainwright_cli.main import main


class HalfBuilt:
    """Interrupted before it has what its destructor asks for."""

    def __init__(self):
        signal.raise_signal(signal.SIGINT)
        self.owner = True

    def __del__(self):
        assert self.owner


class InterruptedWhileItGoes:
    def __del__(self):
        signal.raise_signal(signal.SIGINT)


class FailsWhileItGoes:
    def __del__(self):
        raise ValueError("planted")


class PassedOver:
    """As a library does that tries what else there is when something cannot be loaded."""

    def __init__(self):
        with suppress(BaseException):
            signal.raise_signal(signal.SIGINT)


def let_go(kind):
    kind()
    time.sleep(60)  # what is lost is raised again long before


@pytest.fixture(autouse=True)
def little_patience(monkeypatch):
    monkeypatch.setattr(interruption, "PATIENCE_S", 0.05)


@pytest.fixture(autouse=True)
def default_answer():
    before = signal.signal(signal.SIGINT, signal.default_int_handler)
    yield
    signal.signal(signal.SIGINT, before)


@pytest.fixture
def complaints(monkeypatch):
    found = []
    monkeypatch.setattr(sys, "unraisablehook", lambda trouble: found.append(trouble.exc_type))
    return found


@pytest.mark.parametrize("kind", [HalfBuilt, InterruptedWhileItGoes, PassedOver])
def test_the_interrupt_arrives_and_nothing_complains(kind, complaints):
    # Half an object goes only when the interrupt that holds it is forgotten.
    with one_interrupt_ends_it(), pytest.raises(KeyboardInterrupt):
        let_go(kind)
    assert complaints == []


@pytest.mark.parametrize(
    ("kind", "complaint"),
    [(HalfBuilt, AttributeError), (InterruptedWhileItGoes, KeyboardInterrupt)],
)
def test_without_it_there_is_a_complaint(kind, complaint, complaints):
    with suppress(KeyboardInterrupt):
        kind()
    assert complaints == [complaint]


def test_any_other_trouble_of_a_destructor_is_still_told(complaints):
    with one_interrupt_ends_it():
        FailsWhileItGoes()
    assert complaints == [ValueError]


def turns_an_interrupt_into_its_own_error(options):
    try:
        signal.raise_signal(signal.SIGINT)
    except KeyboardInterrupt:
        raise ImportError("planted") from None


def test_an_error_that_an_interrupt_made_is_no_mistake_of_ours(monkeypatch, capsys):
    monkeypatch.setattr(list_command, "run", turns_an_interrupt_into_its_own_error)
    assert main(["list"]) == 130
    assert capsys.readouterr().err == "gainwright: interrupted; nothing was left half written\n"


def test_an_ignored_interrupt_stays_ignored():
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    with one_interrupt_ends_it():
        signal.raise_signal(signal.SIGINT)
    assert signal.getsignal(signal.SIGINT) is signal.SIG_IGN


def test_what_was_there_before_is_there_again():
    hook = sys.unraisablehook
    with one_interrupt_ends_it():
        assert sys.unraisablehook is not hook
    assert sys.unraisablehook is hook
    assert signal.getsignal(signal.SIGINT) is signal.default_int_handler
