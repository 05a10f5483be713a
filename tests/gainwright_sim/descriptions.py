"""Machine descriptions that are right, and single edits that make them wrong."""

from __future__ import annotations

GOOD = """
format = 1
name = "test-belt"
origin = "invented"
[mechanics]
kind = "belt"
motor_inertia_kgm2 = 1.6e-3
gear_ratio = 5.0
pulley_radius_m = 0.04
load_mass_kg = 60.0
belt_tensile_stiffness_n = 3e5
belt_first_length_m = 2.0
belt_second_length_m = 5.0
resonance_damping_ratio = 0.03
[friction]
load_coulomb_n = 20.0
[drive]
control_tick_s = 125e-6
rated_torque_nm = 14.0
torque_limit_nm = 35.0
top_speed_rad_per_s = 300.0
encoder_counts_per_turn = 1048576
[speed_loop]
start_speed_gain_nms_per_rad = 0.7
[motion]
travel_window_m = 0.5
cruise_speed_m_per_s = 0.3
acceleration_m_per_s2 = 1.0
jerk_m_per_s3 = 10.0
"""

CHAIN = (
    GOOD[: GOOD.index("[mechanics]")]
    + """[mechanics]
kind = "chain"
inertias_kgm2 = [1e-3, 2e-3]
stiffnesses_nm_per_rad = [1500.0]
dampings_nms_per_rad = [0.05]
"""
    + GOOD[GOOD.index("[drive]") : GOOD.index("[motion]")]
    + """[motion]
travel_window_rad = 20.0
cruise_speed_rad_per_s = 20.0
acceleration_rad_per_s2 = 200.0
jerk_rad_per_s3 = 2000.0
"""
)


def disturbed(
    lines: str, place: str, remedy: str, cruise: float = 20.0
) -> tuple[str, str, str, str, str]:
    """Return the edit that adds these disturbances, at a cruise speed in rad/s."""
    tail = CHAIN[CHAIN.index("cruise_speed") :]
    faster = tail.replace("= 20.0", f"= {cruise}")
    new = f"{faster}[disturbances]\n{lines}\n"
    return CHAIN, tail, new, f"disturbances.{place}", remedy


# Name of the case: (text, old, new, place of the problem, words of the remedy).
EDITS = {
    "wrong unit of inertia": (
        GOOD, "motor_inertia_kgm2 = 1.6e-3", "motor_inertia_gcm2 = 16e3",
        "mechanics.motor_inertia_gcm2", "write motor_inertia_kgm2, value times 1e-07"),
    "slip of name and unit": (
        GOOD, "motor_inertia_kgm2 = 1.6e-3", "inertia_gcm2 = 16e3",
        "mechanics.inertia_gcm2", "motor_inertia_kgm2"),
    "unit left out": (
        GOOD, "pulley_radius_m", "pulley_radius", "mechanics.pulley_radius", "pulley_radius_m"),
    "millimetres": (
        GOOD, "pulley_radius_m = 0.04", "pulley_radius_mm = 40.0",
        "mechanics.pulley_radius_mm", "write pulley_radius_m, value times 0.001"),
    "revolutions per minute": (
        GOOD, "top_speed_rad_per_s = 300.0", "top_speed_rpm = 3000",
        "drive.top_speed_rpm", "write top_speed_rad_per_s, value times 0.10472"),
    "microseconds": (
        GOOD, "control_tick_s = 125e-6", "control_tick_us = 125",
        "drive.control_tick_us", "write control_tick_s, value times 1e-06"),
    "negative inertia": (
        GOOD, "1.6e-3", "-1.6e-3", "mechanics.motor_inertia_kgm2", "positive"),
    "zero inertia in a chain": (
        CHAIN, "[1e-3, 2e-3]", "[1e-3, 0.0]", "mechanics.inertias_kgm2[1]", "check the value"),
    "not a number": (GOOD, "14.0", "nan", "drive.rated_torque_nm", "finite"),
    "infinite": (GOOD, "60.0", "inf", "mechanics.load_mass_kg", "finite"),
    "beyond any float": (GOOD, "60.0", "1" + "0" * 400, "mechanics.load_mass_kg", "finite"),
    "infinite integral time": (
        GOOD, "[motion]", "integral_time_s = inf\n[motion]",
        "speed_loop.integral_time_s", "0 means none"),
    "number in quotes": (GOOD, "= 14.0", '= "14.0"', "drive.rated_torque_nm", "14.0 without"),
    "text for a number": (GOOD, "= 14.0", '= "big"', "drive.rated_torque_nm", "give a number"),
    "boolean for a number": (GOOD, "= 14.0", "= true", "drive.rated_torque_nm", "give a number"),
    "list for a number": (GOOD, "= 14.0", "= [14.0]", "drive.rated_torque_nm", "give a number"),
    "date for a number": (GOOD, "= 14.0", "= 1979-05-27", "drive.rated_torque_nm", "number"),
    "number for a list": (
        CHAIN, "[1500.0]", "1500.0", "mechanics.stiffnesses_nm_per_rad", "[1500.0]"),
    "fraction of a count": (
        GOOD, "1048576", "1048576.5", "drive.encoder_counts_per_turn", "whole number"),
    "tick in milliseconds": (GOOD, "125e-6", "0.125", "drive.control_tick_s", "unit"),
    "no delay": (
        GOOD, "[speed_loop]", "torque_delay_ticks = 0\n[speed_loop]",
        "drive.torque_delay_ticks", "check the value"),
    "unknown key with a near one": (
        GOOD, "gear_ratio", "gear_rato", "mechanics.gear_rato", "did you mean gear_ratio?"),
    "unknown key": (GOOD, "gear_ratio = 5.0", "colour = 1", "mechanics.colour", "remove colour"),
    "key in the wrong table": (
        GOOD, "[speed_loop]", "gear_ratio = 5.0\n[speed_loop]", "drive.gear_ratio",
        "move it to [mechanics]"),
    "unknown table": (GOOD, "[friction]", "[frictions]", "frictions", "did you mean friction?"),
    "key of another kind": (
        GOOD, "gear_ratio = 5.0", "screw_pitch_m = 0.01", "mechanics.screw_pitch_m", "screw"),
    "unknown kind": (GOOD, '"belt"', '"bolt"', "mechanics.kind", "did you mean 'belt'?"),
    "metres of a load that turns": (
        CHAIN, "travel_window_rad", "travel_window_m", "motion.travel_window_m", "wheel or belt"),
    "same quantity twice": (
        GOOD, "jerk_m_per_s3 = 10.0", "jerk_m_per_s3 = 10.0\njerk_rad_per_s3 = 90.0",
        "motion.jerk_rad_per_s3 and motion.jerk_m_per_s3", "keep only"),
    "required key missing": (
        GOOD, "rated_torque_nm = 14.0", "", "drive.rated_torque_nm", "add rated_torque_nm"),
    "table missing": (
        GOOD, GOOD[GOOD.index("[motion]") :], "", "[motion]",
        "travel_window_rad or travel_window_m and"),
    "load sensor without a resolution": (
        GOOD, "[motion]", "[load_sensor]\ndelay_s = 1e-3\n[motion]",
        "load_sensor.resolution_rad", "add resolution_rad or resolution_m"),
    "load sensor that is late by a second": (
        GOOD, "[motion]", "[load_sensor]\nresolution_m = 1e-6\ndelay_s = 1.0\n[motion]",
        "load_sensor.delay_s", "check the value"),
    "load sensor in metres on a load that turns": (
        CHAIN, "[motion]", "[load_sensor]\nresolution_m = 1e-6\n[motion]",
        "load_sensor.resolution_m", "wheel or belt"),
    "name with blanks": (GOOD, "test-belt", "Test Belt 2", "name", "'test-belt-2'"),
    "empty origin": (GOOD, '"invented"', '" "', "origin", "fill in origin"),
    "another format": (GOOD, "format = 1", "format = 2", "format", "check the value"),
    "five masses": (
        CHAIN, "[1e-3, 2e-3]", "[1e-3, 1e-3, 1e-3, 1e-3, 1e-3]", "mechanics.inertias_kgm2",
        "lump"),
    "springs do not fit the masses": (
        CHAIN, "[1500.0]", "[1500.0, 10.0]", "mechanics.stiffnesses_nm_per_rad", "give 1 values"),
    "torque limit below rated": (GOOD, "35.0", "3.5", "drive.torque_limit_nm", "check both"),
    "torque limit out of fixed point": (GOOD, "35.0", "350", "drive.torque_limit_nm", "both"),
    "moves beyond the torque": (
        GOOD, "acceleration_m_per_s2 = 1.0", "acceleration_m_per_s2 = 100.0", "motion",
        "more slowly"),
    "cruise beyond top speed": (
        GOOD, "cruise_speed_m_per_s = 0.3", "cruise_speed_m_per_s = 30.0", "motion",
        "more slowly"),
    "rotor heavier than the first mass": (
        GOOD, "[speed_loop]", "rotor_inertia_kgm2 = 0.1\n[speed_loop]",
        "drive.rotor_inertia_kgm2", "check both"),
    "elastic without damping": (
        GOOD, "resonance_damping_ratio = 0.03", "", "mechanics.resonance_damping_ratio",
        "add resonance_damping_ratio"),
    "weight without brake": (
        GOOD, "load_coulomb_n = 20.0", "constant_load_force_n = -200.0", "[brake]",
        "add [brake]"),
    "brake too weak": (
        GOOD, "load_coulomb_n = 20.0", "constant_load_force_n = -200.0\n[brake]\n"
        "open_time_s = 0.1\nclose_time_s = 0.1\nholding_torque_nm = 1.0",
        "brake.holding_torque_nm", "stronger brake"),
    "too heavy for the motor": (
        GOOD, "load_coulomb_n = 20.0", "constant_load_force_n = -9000.0", "friction", "gear"),
    "brake weaker than a weight that friction holds": (
        GOOD, "load_coulomb_n = 20.0", "load_coulomb_n = 250.0\nconstant_load_force_n = -200.0\n"
        "[brake]\nopen_time_s = 0.1\nclose_time_s = 0.1\nholding_torque_nm = 1.0",
        "brake.holding_torque_nm", "stronger brake"),
    "travel too short for the speed": (
        GOOD, "travel_window_m = 0.5", "travel_window_m = 0.1", "motion", "0.27 m/s at the load"),
    "negative amplitude": disturbed(
        "cogging_orders = [24.0]\ncogging_per_unit = [-0.01]", "cogging_per_unit[0]", "positive"),
    "order that aliases": disturbed(
        "torque_ripple_orders = [12.0, 1300.0]\ntorque_ripple_per_unit = [0.01, 0.01]",
        "torque_ripple_orders[1]", "below 1256.6"),
    "pole pairs that alias": disturbed(
        "motor_pole_pairs = 190\ncurrent_gain_error = 0.01", "motor_pole_pairs", "below 359.04",
        cruise=70.0),
    "frequency that aliases": disturbed(
        "external_frequency_hz = 4000.0\nexternal_torque_per_unit = 0.01",
        "external_frequency_hz", "4000 Hz"),
    "amplitude without its order": disturbed(
        "cogging_orders = [24.0]\ncogging_per_unit = [0.01, 0.02]", "cogging_per_unit", "give 1"),
    "five orders": disturbed(
        "cogging_orders = [1.0, 2.0, 3.0, 4.0, 5.0]\n"
        "cogging_per_unit = [0.01, 0.01, 0.01, 0.01, 0.01]", "cogging_orders", "largest"),
    "gain error without pole pairs": disturbed(
        "current_gain_error = 0.01", "motor_pole_pairs", "add motor_pole_pairs"),
    "offset without pole pairs": disturbed(
        "current_offset_per_unit = 0.01", "motor_pole_pairs", "add motor_pole_pairs"),
    "interpolation error without lines": disturbed(
        "interpolation_first_order = 0.01", "encoder_lines_per_turn", "add encoder_lines"),
    "more lines than counts": disturbed(
        "encoder_lines_per_turn = 524288", "encoder_lines_per_turn", "262144 lines"),
    "frequency left out": disturbed(
        "external_torque_per_unit = 0.01", "external_frequency_hz", "add external_frequency_hz"),
    "per cent": disturbed(
        "current_noise_percent = 0.5", "current_noise_percent", "value times 0.01"),
    "breakaway below Coulomb": (
        GOOD, "load_coulomb_n = 20.0", "load_coulomb_n = 20.0\nload_breakaway_n = 10.0\n"
        "stribeck_speed_m_per_s = 0.01", "friction.load_breakaway_n", "at least 20"),
    "breakaway without Stribeck speed": (
        GOOD, "load_coulomb_n = 20.0", "load_coulomb_n = 20.0\nload_breakaway_n = 30.0",
        "friction.stribeck_speed_rad_per_s", "add stribeck_speed"),
}  # fmt: skip
