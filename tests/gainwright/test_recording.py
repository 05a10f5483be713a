"""Reading recordings: the three kinds of file, the ways to a speed error, and bad input."""

from __future__ import annotations

import os
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from scipy.io import savemat

from gainwright.errors import InputError
from gainwright.fixed.scaling import signals_per_unit
from gainwright.recording.read import OPTIONS, read_recording
from gainwright.recording.recording import ChannelChoice

COUNT = 400
RATE_HZ = 2000.0
TIMES_S = np.arange(COUNT) / RATE_HZ
TORQUE = 3.0 * np.sin(40.0 * TIMES_S)
SPEED = 20.0 * np.cos(9.0 * TIMES_S)
ARRAYS = {
    "time_s": TIMES_S,
    "torque": TORQUE,
    "speed": SPEED,
    "speed_error": 0.01 * SPEED,
    "wanted": SPEED + 0.5,
    "angle": np.cumsum(SPEED) / RATE_HZ,
    "wanted_angle": np.cumsum(SPEED + 0.5) / RATE_HZ,
}
CHOICE = ChannelChoice("torque", speed_error="speed_error")


def write_csv(path: Path, arrays=ARRAYS, delimiter=",", newline="\n", encoding="utf-8") -> Path:
    rows = [delimiter.join(arrays)]
    rows += [delimiter.join(f"{v:.17g}" for v in row) for row in zip(*arrays.values(), strict=True)]
    path.write_bytes((newline.join(rows) + newline).encode(encoding))
    return path


def write(path: Path, arrays=ARRAYS) -> Path:
    if path.suffix == ".csv":
        return write_csv(path, arrays)
    if path.suffix == ".npz":
        np.savez(path, **arrays)
    else:
        savemat(path, arrays)
    return path


@pytest.mark.parametrize("suffix", ["csv", "npz", "mat", "CSV"])
def test_every_kind_of_file_gives_the_same(tmp_path, suffix):
    path = tmp_path / f"log.{suffix}"
    write_csv(path) if suffix == "CSV" else write(path)
    choice = replace(CHOICE, torque_base=6.0, speed_base=2.0)
    recording = read_recording(path, choice)
    assert recording.sample_rate_hz == pytest.approx(RATE_HZ, rel=1e-12)
    assert recording.torque_per_unit.tolist() == (TORQUE / 6.0).tolist()
    assert recording.speed_error_per_unit.tolist() == (0.01 * SPEED / 2.0).tolist()
    assert (recording.torque_name, recording.speed_error_name) == ("torque", "speed_error")
    assert (recording.samples, recording.duration_s) == (COUNT, pytest.approx(0.2))
    assert recording.torque_raw().dtype == recording.speed_error_raw().dtype == np.int32
    error = signals_per_unit(recording.torque_raw()) - recording.torque_per_unit
    assert np.max(np.abs(error)) <= 2.0**-25


@pytest.mark.parametrize(
    "style",
    [
        {"delimiter": ";"},
        {"delimiter": "\t"},
        {"newline": "\r\n"},
        {"encoding": "utf-8-sig"},
        {"delimiter": " , "},
        {"newline": "\n\n"},
    ],
)
def test_styles_of_csv(tmp_path, style):
    path = write_csv(tmp_path / "log.csv", **style)
    recording = read_recording(path, CHOICE)
    assert recording.torque_per_unit.tolist() == TORQUE.tolist()


def test_quoted_names_and_cells(tmp_path):
    path = tmp_path / "log.csv"
    rows = [f'"{v:.17g}",{v:.17g}' for v in TORQUE]
    path.write_text('"motor torque, Nm","speed"\n' + "\n".join(rows), encoding="utf-8")
    choice = ChannelChoice("motor torque, Nm", speed="speed", sample_rate_hz=RATE_HZ)
    assert read_recording(path, choice).torque_per_unit.tolist() == TORQUE.tolist()


@pytest.mark.parametrize(
    ("channels", "expected", "name"),
    [
        ({"speed_error": "speed_error"}, 0.01 * SPEED, "speed_error"),
        ({"speed": "speed", "speed_reference": "wanted"}, np.full(COUNT, 0.5), "wanted - speed"),
        ({"speed": "speed"}, -SPEED, "0 - speed"),
        (
            {"position": "angle", "position_reference": "wanted_angle"},
            np.r_[0.0, np.full(COUNT - 1, 0.5)],
            "difference of (wanted_angle - angle) over one sample",
        ),
        (
            {"position": "angle"},
            np.r_[0.0, -SPEED[1:]],
            "difference of (0 - angle) over one sample",
        ),
        ({"speed_error": "torque"}, TORQUE, "torque"),
    ],
)
def test_ways_to_a_speed_error(tmp_path, channels, expected, name):
    path = write(tmp_path / "log.npz")
    recording = read_recording(path, ChannelChoice("torque", speed_base=10.0, **channels))
    assert recording.speed_error_per_unit == pytest.approx(expected / 10.0, abs=1e-9)
    assert recording.speed_error_name == name


@pytest.mark.parametrize("shape", [(COUNT,), (COUNT, 1), (1, COUNT)])
@pytest.mark.parametrize("kind", [np.int16, np.uint8, np.float32, bool])
def test_vectors_of_any_shape_and_number_type(tmp_path, shape, kind):
    arrays = ARRAYS | {"torque": (np.arange(COUNT) % 2).astype(kind).reshape(shape)}
    recording = read_recording(write(tmp_path / "log.mat", arrays), CHOICE)
    assert recording.torque_per_unit.tolist() == [0.0, 1.0] * (COUNT // 2)


@pytest.mark.parametrize(
    ("choice", "rate_hz"),
    [
        ({"sample_rate_hz": 2010.0}, 2010.0),
        ({"time": "time_s"}, RATE_HZ),
        ({"time": "time_s", "time_unit_s": 1e-3}, 1000 * RATE_HZ),
        ({"time": "time_s", "sample_rate_hz": 2001.0}, 2001.0),
        ({}, RATE_HZ),
    ],
)
def test_sample_rate_given_or_read(tmp_path, choice, rate_hz):
    recording = read_recording(write(tmp_path / "log.npz"), replace(CHOICE, **choice))
    assert recording.sample_rate_hz == pytest.approx(rate_hz, rel=1e-12)


def test_bad_times_do_no_harm_beside_a_stated_rate(tmp_path):
    path = write(tmp_path / "log.npz", ARRAYS | {"time_s": np.zeros(COUNT)})
    assert read_recording(path, replace(CHOICE, sample_rate_hz=500.0)).sample_rate_hz == 500.0


def test_slow_times_are_taken_where_their_unit_is_stated(tmp_path):
    path = write(tmp_path / "log.npz", ARRAYS | {"time_s": 1000.0 * TIMES_S})
    choice = replace(CHOICE, time_unit_s=1.0)
    assert read_recording(path, choice).sample_rate_hz == pytest.approx(2.0)


@pytest.mark.parametrize(
    ("motion", "expected"),
    [({}, None), ({"speed": "speed"}, SPEED), ({"position": "angle"}, np.r_[0.0, SPEED[1:]])],
)
def test_motion_beside_a_speed_error(tmp_path, motion, expected):
    recording = read_recording(write(tmp_path / "log.npz"), replace(CHOICE, **motion))
    assert recording.speed_error_name == "speed_error"
    if expected is None:
        assert recording.speed_per_unit is None
    else:
        assert recording.speed_per_unit == pytest.approx(expected, abs=1e-9)


def test_times_with_jitter_and_coarse_digits_are_uniform_enough(tmp_path):
    times = np.round(TIMES_S + np.random.default_rng(2).normal(0, 5e-6, COUNT), 5)
    path = write(tmp_path / "log.csv", ARRAYS | {"time_s": times})
    assert read_recording(path, CHOICE).sample_rate_hz == pytest.approx(RATE_HZ, rel=1e-3)


def changed(name: str, index: int, value: float) -> dict[str, np.ndarray]:
    array = ARRAYS[name].copy()
    array[index] = value
    return ARRAYS | {name: array}


BAD_ARRAYS = {
    "lost sample": (
        {name: np.delete(array, 57) for name, array in ARRAYS.items()},
        {},
        ("time_s", "a step of 0.001 s among steps of 0.0005 s", "uniform", "--rate"),
    ),
    "times fall back": (
        changed("time_s", 9, 0.0),
        {},
        ("time_s", "a step of", "uniform", "resample"),
    ),
    "constant times": (
        ARRAYS | {"time_s": np.ones(COUNT)},
        {},
        ("time_s", "followed by", "times that rise", "--rate"),
    ),
    "rate contradicts times": (
        ARRAYS,
        {"time": "time_s", "sample_rate_hz": 8000.0},
        ("2000 Hz", "8000 Hz", "--time-unit"),
    ),
    "rate contradicts times that were not asked for": (
        ARRAYS,
        {"sample_rate_hz": 8000.0},
        ("time_s and --rate", "2000 Hz", "8000 Hz"),
    ),
    "times in milliseconds beside a rate": (
        ARRAYS | {"time_s": 1000.0 * TIMES_S},
        {"sample_rate_hz": RATE_HZ},
        ("2 Hz by the sample times", "the sample times are milliseconds: state --time-unit 0.001"),
    ),
    "times in milliseconds": (
        ARRAYS | {"time_s": 1000.0 * TIMES_S},
        {},
        ("2 Hz if the sample times are seconds", "--time-unit 0.001 for milliseconds"),
    ),
    "times in milliseconds by their name": (
        ARRAYS | {"t_ms": 10.0 * TIMES_S},
        {"time": "t_ms"},
        ("milliseconds by their name", "state --time-unit 0.001"),
    ),
    "no rate at all": (
        {name: array for name, array in ARRAYS.items() if name != "time_s"},
        {},
        ("no --rate", "time_s", "--rate 8000", "speed_error 400"),
    ),
    "NaN": (changed("torque", 6, np.nan), {}, ("torque", "nan (1 such samples)", "finite")),
    "infinity": (changed("speed_error", 8, np.inf), {}, ("speed_error", "inf", "finite")),
    "NaN in times": (changed("time_s", 3, np.nan), {}, ("time_s", "nan", "finite")),
    "missing name": (
        ARRAYS,
        {"torque": "torqe"},
        ("--torque torqe", "no such name", "torque 400", "write --torque torque"),
    ),
    "two missing names": (
        ARRAYS,
        {"torque": "current", "speed_error": "lag"},
        ("--torque current", "--speed-error lag"),
    ),
    "missing times": (ARRAYS, {"time": "clock"}, ("--time clock", "no such name")),
    "too short": (
        {name: array[:40] for name, array in ARRAYS.items()},
        {},
        ("40 samples", "at least 100", "record for longer"),
    ),
    "no speed error": (ARRAYS, {"speed_error": None}, ("none of them", "--speed-error")),
    "two motions": (
        ARRAYS,
        {"position": "angle", "speed": "speed"},
        ("--speed and --position", "--speed-error, --speed or --position"),
    ),
    "reference alone": (
        ARRAYS,
        {"speed_reference": "wanted"},
        ("--speed-reference", "without --speed"),
    ),
    "position reference alone": (
        ARRAYS,
        {"position_reference": "wanted_angle"},
        ("--position-reference", "without --position"),
    ),
    "zero base": (ARRAYS, {"torque_base": 0.0}, ("--torque-base", "0.0", "above 0")),
    "negative base": (ARRAYS, {"speed_base": -3.0}, ("--speed-base", "-3.0", "above 0")),
    "NaN rate": (ARRAYS, {"sample_rate_hz": np.nan}, ("--rate", "nan", "above 0")),
    "infinite unit": (ARRAYS, {"time_unit_s": np.inf}, ("--time-unit", "inf", "above 0")),
    "out of range": (
        ARRAYS | {"torque": 50.0 * TORQUE},
        {},
        ("torque", "per unit", "below 16", "--torque-base"),
    ),
    "speed out of range": (
        ARRAYS,
        {"speed_error": None, "speed": "speed"},
        ("speed error", "up to 20 per unit", "--speed-base"),
    ),
}


@pytest.mark.parametrize("suffix", ["csv", "npz", "mat"])
@pytest.mark.parametrize("case", BAD_ARRAYS)
def test_bad_content_is_one_clear_error(tmp_path, case, suffix):
    arrays, choice, words = BAD_ARRAYS[case]
    path = write(tmp_path / f"log.{suffix}", arrays)
    expect_error(path, replace(CHOICE, **choice), words)


def expect_error(path: Path, choice: ChannelChoice, words) -> str:
    with pytest.raises(InputError) as caught:
        read_recording(path, choice)
    text = str(caught.value)
    for word in (str(path), *words):
        assert word in text, text
    for problem in caught.value.problems:
        assert problem.found and problem.expected and problem.remedy
    return text


BAD_ARRAYS_ONLY = {
    "matrix": (np.zeros((COUNT, 2)), ("400x2", "a vector")),
    "scalar": (np.array(3.0), ("1 samples",)),
    "text": (np.array(["a"] * COUNT), ("text", "real numbers")),
    "complex": (np.ones(COUNT) * 1j, ("complex numbers", "real numbers")),
    "other length": (np.ones(COUNT + 1), ("torque has 401", "same number of samples")),
}


@pytest.mark.parametrize("suffix", ["npz", "mat"])
@pytest.mark.parametrize("case", BAD_ARRAYS_ONLY)
def test_bad_arrays(tmp_path, case, suffix):
    array, words = BAD_ARRAYS_ONLY[case]
    path = write(tmp_path / f"log.{suffix}", ARRAYS | {"torque": array})
    expect_error(path, CHOICE, words)


def test_times_of_another_length(tmp_path):
    path = write(tmp_path / "log.npz", ARRAYS | {"time_s": TIMES_S[:-1]})
    expect_error(path, CHOICE, ("399 times for 400 samples", "--rate"))


def test_pickled_objects_are_refused_unread(tmp_path):
    path = tmp_path / "log.npz"
    np.savez(path, torque=np.array([{}], dtype=object))
    expect_error(path, CHOICE, ("allow_pickle", "numeric arrays"))


def test_matlab_structure_is_not_a_channel(tmp_path):
    path = tmp_path / "log.mat"
    savemat(path, ARRAYS | {"torque": {"inner": TORQUE}})
    expect_error(path, CHOICE, ("a structure", "speed_error 400"))


HEADER = "time_s,torque,speed_error\n"
ROWS = "".join(f"{k / 1000},0.1,0.2\n" for k in range(200))
TOP_ROWS, OTHER_ROWS = ROWS[: ROWS.index("0.1,0.1,0.2")], ROWS[ROWS.index("0.1,0.1,0.2") :]
BAD_FILES = {
    "cell.csv": (
        f"{HEADER}{TOP_ROWS}0.1,fast,0.2\n{OTHER_ROWS}".encode(),
        ("column torque, row 102", "'fast'", "decimal point"),
    ),
    "empty_cell.csv": (
        f"{HEADER}{TOP_ROWS}0.1,,0.2\n{OTHER_ROWS}".encode(),
        ("column torque, row 102", "''"),
    ),
    "short_row.csv": (
        f"{HEADER}{TOP_ROWS}0.1\n{OTHER_ROWS}".encode(),
        ("column torque, row 102", "no such cell"),
    ),
    "decimal_comma.csv": (
        (HEADER + ROWS).replace(",", ";").replace(".", ",").encode(),
        ("column torque, row 2", "'0,1'", "the file has decimal commas"),
    ),
    "decimal_commas_between_commas.csv": (
        (HEADER + "0,001,0,1,0,2\n" * 200).encode(),
        ("row 2", "6 cells under 3 names", "the file has decimal commas"),
    ),
    "too_wide.csv": (
        (HEADER + ROWS.replace("0.2", "0.2,7")).encode(),
        ("row 2", "4 cells under 3 names", "give each column a name"),
    ),
    "no_header.csv": (ROWS.encode(), ("row 1", "numbers only", "header row")),
    "blank_header.csv": (b"\n" + ROWS.encode(), ("row 1", "no names")),
    "twice.csv": (
        b"time_s,torque,torque\n" + ROWS.encode(),
        ("row 1", "'torque' more than once", "rename"),
    ),
    "header_only.csv": (HEADER.encode(), ("0 samples", "at least 100")),
    "binary.csv": (bytes(range(256)) * 20, ("UTF-8",)),
    "null.csv": (b"\0" * 500, ("UTF-8",)),
    "late_binary.csv": ((HEADER + ROWS).encode() + b"\xff\xfe\xfd", ("UTF-8",)),
    "empty.csv": (b"", ("an empty file",)),
    "empty.mat": (b"", ("an empty file",)),
    "text.mat": (b"no such luck\n" * 40, ("version 4 to 7.2",)),
    "text.npz": (b"no such luck\n" * 40, ("no archive", "numpy.savez")),
    "noise.mat": (np.random.default_rng(1).bytes(5000), ("version 4 to 7.2",)),
    "version_7_3.mat": (
        b"MATLAB 7.3 MAT-file".ljust(512) + b"\x89HDF\r\n\x1a\n" + bytes(600),
        ("version 7.3 (HDF5)", "-v7"),
    ),
    "hdf5.mat": (b"\x89HDF\r\n\x1a\n" + bytes(600), ("version 7.3 (HDF5)", "-v7")),
    "log.xlsx": (b"PK\x03\x04", ("suffix '.xlsx'", ".csv, .npz, .mat", "export")),
    "log": (b"1,2", ("no suffix", "export")),
}


@pytest.mark.parametrize("name", BAD_FILES)
def test_bad_file_is_one_clear_error(tmp_path, name):
    content, words = BAD_FILES[name]
    path = tmp_path / name
    path.write_bytes(content)
    expect_error(path, CHOICE, words)


@pytest.mark.parametrize("suffix", ["npz", "mat"])
def test_damaged_files_never_give_a_traceback(tmp_path, suffix):
    """Cut anywhere, or with bytes changed: read as before, or refused as an InputError."""
    whole = write(tmp_path / f"log.{suffix}").read_bytes()
    path = tmp_path / f"damaged.{suffix}"
    rng = np.random.default_rng(11)
    refused = 0
    for _ in range(120):
        damaged = bytearray(whole[: rng.integers(1, len(whole))] if rng.random() < 0.3 else whole)
        for index in rng.integers(0, len(damaged), 4):
            damaged[index] = rng.integers(0, 256)
        path.write_bytes(damaged)
        try:
            read_recording(path, CHOICE)
        except InputError:
            refused += 1
    assert refused > 20


def test_missing_file_names_a_similar_one(tmp_path):
    write(tmp_path / "shuttle_run.csv")
    expect_error(tmp_path / "shutle_run.csv", CHOICE, ("No such file", "there is shuttle_run.csv"))


def test_folder_names_what_is_in_it(tmp_path):
    write(tmp_path / "run.csv")
    expect_error(tmp_path, CHOICE, ("a folder", "there is run.csv"))


@pytest.mark.parametrize("name", ["x" * 5000 + ".csv", "nul\0.csv"])
def test_impossible_file_names(tmp_path, name):
    expect_error(tmp_path / name, CHOICE, ("check the name",))


@pytest.mark.skipif(not hasattr(os, "mkfifo"), reason="this system has no named pipes")
def test_pipe_is_refused_without_waiting(tmp_path):
    os.mkfifo(tmp_path / "pipe.csv")
    expect_error(tmp_path / "pipe.csv", CHOICE, ("a device or pipe",))


@pytest.mark.skipif(not hasattr(os, "geteuid") or os.geteuid() == 0, reason="root may read all")
def test_unreadable_file(tmp_path):
    path = write(tmp_path / "log.csv")
    path.chmod(0)
    expect_error(path, CHOICE, ("Permission denied", "right to read"))


def test_every_field_of_the_choice_has_an_option():
    assert set(OPTIONS) == set(ChannelChoice.__dataclass_fields__)
