"""Folders of results: foreign files stay, own files are known by a list, changes are noticed."""

from __future__ import annotations

import errno
from pathlib import Path

import pytest

from gainwright.errors import InputError
from gainwright.result_folder import listed_files, result_folder


def write(place: Path, force: bool = False, **files: str) -> None:
    with result_folder(place, force=force) as folder:
        for name, text in files.items():
            path = folder / name.replace("__", "/")
            path.parent.mkdir(parents=True, exist_ok=True)
            path.write_text(text)


def contents(place: Path) -> dict[str, str]:
    return {
        path.relative_to(place).as_posix(): path.read_text()
        for path in sorted(place.rglob("*"))
        if path.is_file() and path.name != "SHA256SUMS"
    }


def test_foreign_files_stay_and_old_files_of_ours_go(tmp_path):
    write(tmp_path / "r", summary="1", tables__a="2")
    (tmp_path / "r" / "notes").write_text("mine")
    write(tmp_path / "r", summary="3")
    assert contents(tmp_path / "r") == {"summary": "3", "notes": "mine"}
    assert set(listed_files(tmp_path / "r")) == {"summary"}
    assert not (tmp_path / "r" / "tables").exists()


def test_a_foreign_file_of_the_same_name_is_not_written_over(tmp_path):
    (tmp_path / "summary").write_text("mine")
    with pytest.raises(InputError, match="summary, not written by gainwright"):
        write(tmp_path, summary="1")
    assert contents(tmp_path) == {"summary": "mine"}
    write(tmp_path, force=True, summary="1")
    assert contents(tmp_path) == {"summary": "1"}


def test_a_changed_file_of_ours_is_noticed_before_any_work(tmp_path):
    write(tmp_path / "r", summary="1")
    (tmp_path / "r" / "summary").write_text("edited by hand")
    with (
        pytest.raises(InputError, match=r"summary, changed since gainwright wrote it"),
        result_folder(tmp_path / "r"),
    ):
        pytest.fail("work was begun")
    assert contents(tmp_path / "r") == {"summary": "edited by hand"}


def test_nothing_is_left_half_written(tmp_path, monkeypatch):
    def full(self, data):
        raise OSError(errno.ENOSPC, "No space left on device")

    with (
        pytest.raises(InputError, match="No space left on device") as caught,
        result_folder(tmp_path / "a" / "b") as folder,
    ):
        (folder / "summary").write_text("1")
        monkeypatch.setattr(Path, "write_bytes", full)
    assert "free some space" in str(caught.value)
    assert not list(tmp_path.iterdir())


def test_an_interrupt_leaves_what_was_there(tmp_path):
    write(tmp_path / "r", summary="1")
    with pytest.raises(KeyboardInterrupt), result_folder(tmp_path / "r") as folder:
        (folder / "summary").write_text("2")
        raise KeyboardInterrupt
    assert contents(tmp_path / "r") == {"summary": "1"}
    assert [path.name for path in tmp_path.iterdir()] == ["r"]


@pytest.mark.parametrize("line", ["../outside", "/outside", "x/../../outside"])
def test_a_list_that_leads_out_of_the_folder_is_not_ours(tmp_path, line):
    (tmp_path / "outside").write_text("mine")
    place = tmp_path / "r"
    place.mkdir()
    (place / "SHA256SUMS").write_text(f"{'0' * 64}  {line}\n")
    with pytest.raises(InputError, match="SHA256SUMS, not written by gainwright"):
        write(place, summary="1")
    assert (tmp_path / "outside").read_text() == "mine"
