"""What was wrong in the shipped procedures once, point by point, and the tests that hold that it is not so again."""

from __future__ import annotations

import ast
from pathlib import Path

import pytest

HERE = Path(__file__).parent
F, W, E, H = "test_families.py", "test_whole_routine.py", "test_every_family.py", "test_how_much_work.py"
HELD = {
    "checks that change something came before the row as found": [
        (F, "test_nothing_is_turned_checked_or_cleaned_before_the_engine_was_read_as_found"),
        (W, "test_nothing_changes_the_engine_before_it_was_read_as_found"),
    ],
    "a stop was passed, and heard of at the end": [
        (E, "test_a_stop_opens_its_gate_on_the_spot_and_what_ends_there_is_on_the_sheet"),
    ],
    "eight degrees three times went on as if it were hot": [
        (F, "test_an_engine_that_stays_cold_opens_the_gate_and_does_not_go_on_as_if_hot"),
    ],
    "after waiting for parts a cold engine was read": [
        (E, "test_the_day_after_it_waited_for_parts_it_is_warmed_before_a_running_reading"),
    ],
    "everybody went back to zero": [
        (F, "test_the_technician_is_asked_how_far_back_in_every_family"),
        (H, "test_a_recheck_keeps_the_heat_and_leaves_what_stands_on_the_last_sheet"),
        (H, "test_what_is_not_near_right_is_trimmed_though_a_recheck_was_chosen_and_told_why"),
    ],
    "screws were seated twice, plugs out twice, contact and crack two steps": [
        (W, "test_screws_whose_count_is_fresh_are_not_seated_a_second_time"),
        (H, "test_the_screens_keys_and_waits_of_a_healthy_engine"),
    ],
    "a screw that does nothing was called right": [
        (E, "test_a_screw_that_does_nothing_and_stays_so_is_named_at_its_place_and_never_ends_ok"),
        (E, "test_a_screw_that_was_put_right_is_set_like_the_others_and_its_finding_gone"),
        (F, "test_a_jet_nut_that_nobody_notices_is_tried_again_before_a_part_is_blamed"),
    ],
    "the last speed was not judged, the brakes not tried": [
        (F, "test_far_off_its_speed_at_the_hand_over_is_a_stop"),
        (F, "test_off_its_speed_at_the_last_look_it_is_set_and_looked_at_once_more"),
        (F, "test_brakes_that_are_not_right_end_before_the_drive"),
    ],
    "right figures were the file's, not the job's": [
        ("test_right_for_this_job.py", "test_1200_on_a_job_for_1200_is_not_called_high"),
        ("test_right_for_this_job.py", "test_no_airflow_is_called_right"),
        (F, "test_a_bank_fed_by_gravity_is_asked_for_no_fuel_pressure"),
    ],
    "an airflow gauge was asked for where there is none": [
        (F, "test_a_family_that_can_do_without_an_airflow_gauge_does"),
        (F, "test_without_an_airflow_gauge_a_bank_of_barrels_says_so_before_anything_is_touched"),
        (F, "test_a_motorcycle_bank_asks_for_its_vacuum_gauges_before_anything_is_touched"),
    ],
    "a meter at the merged tailpipe lay idle, the limits of a shop too": [
        (F, "test_a_meter_at_the_one_tailpipe_sets_the_one_mixture_screw"),
        (F, "test_a_meter_at_the_merged_tailpipe_sets_no_bank_but_checks_the_whole"),
        (F, "test_co_is_held_against_the_shops_limit_where_one_is_set"),
    ],
    "three lambdas were demanded of a pull that was broken off, and a further one asked for": [
        (F, "test_a_pull_that_was_broken_off_is_an_answer_and_no_further_pull_is_asked_for"),
        (F, "test_lean_in_cruise_leads_to_no_pull"),
        (F, "test_half_way_in_a_pull_comes_from_the_jobs_speed_of_peak_power"),
    ],
    "a plate screw was let go over a running inlet, goggles forgotten": [
        (F, "test_no_plate_screw_is_let_go_over_an_inlet"),
        (F, "test_goggles_go_on_before_the_air_line"),
    ],
    "fire was a ring": [
        (F, "test_of_fire_the_instruction_comes_first_and_put_out_and_mended_it_leads_back_to_the_work"),
        (F, "test_what_cannot_wait_stops_where_it_is_not_mended_and_mended_is_no_ring"),
        (F, "test_a_piston_that_was_freed_at_the_stop_is_dropped_again"),
    ],
    "wheels were chocked and pedals pressed on a motorcycle": [
        (F, "test_a_motorcycle_hears_no_pedal_no_servo_no_chocks_and_no_bodies"),
        (F, "test_after_a_stall_a_motorcycle_is_held_with_the_twist_grip"),
    ],
    "bodies were uncoupled on a single": [(F, "test_a_single_carburettor_is_no_body")],
    "constant depression had a pump, and was clamped after its last row": [
        (F, "test_a_constant_depression_carburettor_has_no_pump_to_shoot_with"),
    ],
    "speed screws were not counted, slack could not be too much": [
        (F, "test_speed_screws_are_counted_as_found_too"),
        (F, "test_a_cable_can_have_too_much_slack"),
    ],
    "progression asked no meter and overturned nothing": [
        (F, "test_progression_asks_the_meter_where_there_is_one"),
        (F, "test_progression_can_overturn_what_the_screws_said_of_the_jets"),
    ],
    "bodies that open apart were left without a word": [
        (F, "test_levers_that_leave_their_stops_apart_are_on_the_sheet"),
        (F, "test_a_stumble_is_no_proof_that_they_open_together"),
    ],
    "numbers had no label, sources led nowhere": [
        ("test_labels.py", ""),
        ("test_numbers.py", "test_the_numbers_of_a_file_are_those_that_were_kept"),
    ],
    "an odd technician led a run nowhere": [
        (E, "test_whoever_does_not_know_is_led_to_an_end_and_what_was_not_taken_is_kept"),
        (E, "test_the_worst_of_everything_ends_and_not_ok"),
        (E, "test_whoever_breaks_off_readings_with_every_symptom_comes_to_an_end"),
    ],
}


@pytest.mark.parametrize("point", HELD)
def test_each_point_has_its_tests(point):
    for file, name in HELD[point]:
        tree = ast.parse((HERE / file).read_text(encoding="utf-8"))
        tests = {node.name for node in tree.body if isinstance(node, ast.FunctionDef) and node.name.startswith("test_")}
        assert (name in tests) if name else tests, f"{file}: {name}"
