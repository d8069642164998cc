"""Which test brings about each fault that we know of? `python -m tests.faulttable` writes docs/faults.md.

Faults that the simulated studio draws are read from its own code; what stands here is what else there is.
"""

import sys
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Final

from tests.studio.faults import KINDS
from tests.studio.reach import ACTED

HERE: Final = Path(__file__).parent
DOCS: Final = HERE.parent / "docs" / "faults.md"
VIRTUAL: Final = "studio/test_seeds.py::test_a_drawn_plan_breaks_no_rule"
REAL: Final = ("real/", "stories/")
FAMILIES: Final[Mapping[str, tuple[str, int]]] = {
    # letter: what it is about, how many there are
    "N": ("Network", 22),
    "S": ("Serial lines", 3),
    "D": ("Boxes", 23),
    "P": ("Daemon and machine", 18),
    "B": ("Broker", 10),
    "A": ("Web door", 18),
    "O": ("People", 10),
    "C": ("Copy-off", 7),
}
ALL_OF: Final = ("N", "D", "P")  # families that are to be there whole, unless a row says why it can't


@dataclass(frozen=True, slots=True)
class Row:
    """One fault. `tests`: path below tests/, "::", name. `not_yet`: why there is none, or what of it is left."""

    id: str
    fault: str
    tests: tuple[str, ...] = ()
    not_yet: str = ""

    @property
    def virtual(self) -> list[str]:
        """Names of the studio's faults that are this one."""
        return [name for name, kind in KINDS.items() if self.id in kind.ids]

    @property
    def drawn(self) -> bool:
        """Does the studio draw it, as a fault or as an act?"""
        return bool(self.virtual) or self.id in ACTED

    @property
    def automated(self) -> bool:
        return bool(self.tests) or self.drawn


WIRES: Final = "real/test_bad_wires.py::test_while_rolling"
PRESS: Final = "real/test_bad_wires.py::test_at_the_press"
ODD: Final = "real/test_strange_boxes.py::"
SYSTEM: Final = "real/test_system.py::"
ROLL: Final = "stories/test_roll_all.py::"
TAKES: Final = "shoot/test_takes.py::"
ALARMS: Final = "shoot/test_alarms.py::"
JOURNAL: Final = "control/test_journal.py::"
MQTT: Final = "inlets/test_mqtt.py::"
GUARD: Final = "inlets/http/test_guard.py::"
ACTS: Final = "inlets/http/test_acts.py::"
PEOPLE: Final = "inlets/http/test_people.py::"
SCENES: Final = "shoot/test_scenerun.py::"
BOX: Final = "driverkit/test_box.py::"

INTRODUCTION: Final = f"""\
# Which faults are brought about by which test

Written by `python -m tests.faulttable`; a test sees that it is as the tests are. Paths are below `tests/`.

- **real**: the programs that people start, over real sockets, disks and signals; some 200 kills more: `make kills`.
- **simulated**: the whole daemon on virtual time, under plans of faults drawn from seeds
  (`{VIRTUAL}`, and more of them: `make campaign`). The names are those of `studio/faults.py`.
- **part**: one part of the house alone.

Whatever goes wrong, this holds: nothing that rolls is stopped, no roll is sent twice, what is called *verified* is so,
what is old is shown as old, healthy boxes notice nothing, and what has healed is known again."""
NO_SERIAL: Final = "no box on a serial line is driven yet"
COPIES: Final = "copyoff/"

ROWS: Final[Sequence[Row]] = (
    Row("N01", "A box refuses the connection", (WIRES, BOX + "test_dials_come_slower_and_slower_up_to_five_seconds")),
    Row("N02", "A dial is swallowed", (WIRES, BOX + "test_a_dial_that_is_swallowed_is_given_up")),
    Row("N03", "A reply is cut after any byte, by reset or by end", (PRESS, WIRES)),
    Row("N04", "Half-open: nothing passes and nobody is told", (WIRES, PRESS)),
    Row("N05", "Replies are lost, requests arrive", (WIRES, PRESS)),
    Row("N06", "Requests are lost, replies would arrive", (WIRES, PRESS)),
    Row("N07", "Everything comes seconds late", (WIRES, PRESS)),
    Row(
        "N08",
        "Delays swing; links clog one by one and heal in any order",
        (ODD + "test_n08_links_that_clog_one_by_one_and_heal_in_any_order_lose_nothing", WIRES, PRESS),
    ),
    Row(
        "N09",
        "Byte by byte; a reply that never ends",
        (WIRES, PRESS, ODD + "test_what_never_ends_is_cut_off_and_costs_nothing"),
    ),
    Row("N10", "Many replies in one piece", (WIRES, PRESS)),
    Row("N11", "A megabyte without a line end", (ODD + "test_what_never_ends_is_cut_off_and_costs_nothing",)),
    Row("N12", "A flood of notices", (ODD + "test_n12_a_flood_of_notices_holds_up_no_roll_and_spoils_no_take",)),
    Row("N13", "Replies come twice", (WIRES, PRESS)),
    Row("N14", "Replies change places; a notice between question and answer", (WIRES,)),
    Row(
        "N15",
        "Bits flip, noise, text in no alphabet",
        (
            WIRES,
            "fuzz/test_fuzz.py::test_bad_frames_harm_no_take",
            "studio/test_flips.py::test_bits_that_turn_on_the_wire_make_no_recording",
        ),
    ),
    Row("N16", "A wrong checksum in a binary frame", not_yet="no box with binary frames is driven yet"),
    Row("N17", "Accepted and let go, again and again", (WIRES,)),
    Row(
        "N18",
        "Somebody else has its only session",
        (ODD + "test_n18_a_recorder_that_talks_to_somebody_else_is_left_to_them",),
    ),
    Row(
        "N19",
        "Another box answers at the address",
        (
            ODD + "test_n19_another_recorder_at_the_address_is_never_driven",
            ODD + "test_n19_what_another_recorder_says_is_not_taken_for_its_own",
            BOX + "test_another_box_than_the_site_says_is_never_driven",
        ),
        "what it says before it is known for another one is shown for that moment",
    ),
    Row("N20", "Datagrams are lost, doubled, forged", not_yet="no box that speaks in datagrams is driven yet"),
    Row(
        "N21",
        "A host name that nobody resolves for a while, or that moves",
        (ODD + "test_n21_a_name_that_nobody_resolves_or_that_moves_holds_up_nobody_and_is_tried_again",),
    ),
    Row(
        "N22",
        "A thousand bytes a second",
        (WIRES, BOX + "test_polls_beyond_the_queue_are_shed_and_the_rest_is_answered"),
    ),
    Row("S01", "Unplugged, and back under another name", not_yet=NO_SERIAL),
    Row("S02", "Noise, half frames, a wrong speed, its own echo", not_yet=NO_SERIAL),
    Row("S03", "A line that takes nothing", not_yet=NO_SERIAL),
    Row("D01", "Busy", (ACTS + "test_a_recorder_that_says_no_is_named_and_the_others_roll_on",)),
    Row(
        "D02",
        "Full or locked medium at the roll",
        ("control/test_commands.py::test_needs_that_are_not_met_refuse_the_roll_and_say_which",),
    ),
    Row(
        "D03",
        "The medium fills during a take",
        (ALARMS + "test_a_medium_that_fills_is_told_at_thirty_at_ten_and_at_three_minutes",),
    ),
    Row(
        "D04", "The input is lost during a take", (ALARMS + "test_a_missing_input_gets_worse_when_the_recorder_rolls",)
    ),
    Row("D05", "Remote is switched off at the front"),
    Row(
        "D06",
        "It reboots while it records",
        ("shoot/test_takes_out_of_sight.py::test_a_deck_that_returns_stopped_ended_its_lane",),
    ),
    Row(
        "D07",
        "It says ok and does not roll",
        (ROLL + "test_a_deck_that_says_ok_and_never_rolls_is_named_and_the_others_roll_on",),
    ),
    Row(
        "D08",
        "It says it records, and nothing advances",
        (ALARMS + "test_a_timecode_that_stands_while_it_rolls_is_told_and_is_the_take_in_danger",),
    ),
    Row(
        "D09",
        "It goes on on its other medium",
        ("shoot/test_takeclips.py::test_a_spill_opens_a_second_lane_in_the_same_take",),
    ),
    Row("D10", "Stopped at its front", (ROLL + "test_a_hand_at_the_box_is_seen_and_said_to_be_one",)),
    Row("D11", "Rolled at its front", (ROLL + "test_a_recorder_rolled_at_its_front_becomes_a_take",)),
    Row(
        "D12", "Its clock jumps", ("shoot/clock/test_interval.py::test_a_clock_that_jumps_is_noticed_and_counted_anew",)
    ),
    Row(
        "D13",
        "Its timecode stands",
        (ALARMS + "test_a_timecode_that_stands_while_it_rolls_is_told_and_is_the_take_in_danger",),
    ),
    Row(
        "D14",
        "Frame rates or drop-frame differ",
        ("shoot/clock/test_clocks.py::test_a_drop_frame_recorder_among_others_is_named_and_so_is_another_rate",),
    ),
    Row(
        "D15",
        "Timecode jumps, midnight, drop-frame edges",
        (
            "model/test_timecode.py::test_a_take_across_midnight_is_one_take",
            "shoot/clock/test_clocks.py::test_across_midnight_nothing_jumps",
        ),
    ),
    Row("D16", "Words that nobody knows yet"),
    Row("D17", "It rolls seconds late", (TAKES + "test_a_late_deck_joins_the_take_that_runs",)),
    Row(
        "D18",
        "One of many refuses",
        (
            ACTS + "test_a_recorder_that_says_no_is_named_and_the_others_roll_on",
            "stories/test_twenty_takes.py::test_twenty_takes_with_random_faults",
        ),
    ),
    Row("D19", "It ignores a stop", ("stories/test_twenty_takes.py::test_twenty_takes_with_random_faults",)),
    Row("D20", "A clip name it does not take as asked"),
    Row("D21", "Tens of thousands of clips", ("drivers/text_deck/test_driver.py::test_a_long_list_is_read_by_pages",)),
    Row(
        "D22", "A thousand notices a second", (ODD + "test_n12_a_flood_of_notices_holds_up_no_roll_and_spoils_no_take",)
    ),
    Row(
        "D23",
        "A route is locked, or shows otherwise",
        ("drivers/block_router/test_driver.py::test_a_locked_output_stays_although_the_router_says_ack",),
    ),
    Row(
        "P01",
        "SIGKILL while recorders roll, at any moment",
        (
            "real/test_kills.py::test_five_kills_while_24_decks_roll_lose_nothing",
            "studio/test_crash_points.py::test_no_rule_breaks_whenever_it_dies",
        ),
    ),
    Row(
        "P02",
        "A start beside recorders that roll",
        ("real/test_kills.py::test_five_kills_while_24_decks_roll_lose_nothing",),
    ),
    Row(
        "P03",
        "SIGTERM, a service's stop, an upgrade",
        (
            "stories/test_serve.py::test_a_daemon_that_ends_while_decks_roll_sends_nothing_and_finds_its_take_again",
            MQTT + "test_a_clean_stop_says_so",
        ),
    ),
    Row(
        "P04",
        "SIGSTOP, or a machine that sleeps",
        (
            SYSTEM + "test_p04_a_pause_shows_nothing_old_as_new_and_sends_nothing_late",
            SYSTEM + "test_p04_what_waited_for_its_box_when_the_machine_stood_still_never_leaves",
        ),
    ),
    Row(
        "P05",
        "The journal's disk is full",
        (
            SYSTEM + "test_p05_a_full_disk_stops_no_roll_and_no_cut_and_is_said",
            JOURNAL + "test_a_full_disk_never_stops_a_roll_and_the_memory_is_written_first_when_it_is_back",
        ),
    ),
    Row(
        "P06",
        "A sync fails",
        (
            SYSTEM + "test_p06_a_sync_that_fails_ends_the_trust_in_its_file_and_is_said",
            JOURNAL + "test_a_failed_sync_ends_the_trust_in_that_file",
        ),
    ),
    Row(
        "P07",
        "A torn end, a flipped bit, a missing file",
        (
            JOURNAL + "test_a_tail_torn_anywhere_keeps_what_is_whole_and_is_named_once",
            JOURNAL + "test_a_flipped_bit_keeps_the_lines_before_it_and_the_other_segments",
            JOURNAL + "test_a_missing_segment_is_named_with_its_records",
        ),
    ),
    Row(
        "P08",
        "The wall clock jumps two hours",
        (
            SYSTEM + "test_p08_two_hours_forth_and_back_move_no_verdict_and_no_order",
            "studio/test_twins.py::test_steps_of_the_wall_clock_change_no_verdict",
        ),
    ),
    Row(
        "P09",
        "A driver of others blocks everything",
        (SYSTEM + "test_p09_a_driver_that_blocks_the_loop_is_named_and_left_alone",),
    ),
    Row("P10", "A driver of others raises", (SYSTEM + "test_p10_a_driver_that_raises_takes_down_its_own_box_alone",)),
    Row(
        "P11",
        "Queues grow",
        (
            BOX + "test_more_commands_than_may_wait_are_refused",
            "inlets/http/test_live.py::test_a_client_that_never_reads_is_let_go",
        ),
    ),
    Row(
        "P12",
        "No file handles are left",
        (SYSTEM + "test_p12_without_handles_for_more_the_boxes_and_who_is_there_are_kept",),
    ),
    Row(
        "P13",
        "Two daemons in one house",
        (
            SYSTEM + "test_p13_a_second_daemon_on_the_same_folder_does_not_start_and_touches_nothing",
            MQTT + "test_a_second_daemon_of_the_same_name_is_told_and_not_fought",
        ),
        "two with different data folders are known from each other over MQTT alone",
    ),
    Row(
        "P14",
        "A site file that is wrong or half written",
        (
            SYSTEM + "test_p14_a_site_file_that_was_spoilt_meanwhile_is_named_and_what_rolls_is_left_alone",
            "site/test_load.py::test_a_mistake_is_told_with_its_place_and_remedy",
        ),
    ),
    Row(
        "P15",
        "Every box is dead at the start",
        (SYSTEM + "test_p15_with_every_box_dead_the_house_opens_and_takes_them_when_they_come",),
    ),
    Row(
        "P16",
        "A tenth of the processor is left",
        (SYSTEM + "test_p16_with_a_tenth_of_the_processor_nothing_untrue_is_said",),
    ),
    Row(
        "P17",
        "It dies again while it finds its feet",
        (
            "real/test_kills.py::test_five_kills_while_24_decks_roll_lose_nothing",
            JOURNAL + "test_power_may_go_again_during_the_start_after_a_power_cut",
        ),
    ),
    Row("P18", "A journal of another version", (JOURNAL + "test_a_journal_of_a_newer_version_is_left_alone",)),
    Row(
        "B01",
        "No broker at the start, or for an hour",
        (MQTT + "test_without_a_broker_the_house_works_and_says_what_is_wrong",),
    ),
    Row(
        "B02",
        "The broker is killed and wiped during a take",
        ("real/test_brokers.py::test_b02_a_broker_that_is_killed_and_wiped_mid_take_gets_everything_back",),
    ),
    Row(
        "B03",
        "The broker takes nothing",
        (
            "real/test_brokers.py::test_b03_a_broker_that_stands_still_holds_up_nobody",
            MQTT + "test_a_frozen_broker_holds_up_nobody_and_is_told",
        ),
    ),
    Row(
        "B04", "A command is retained", (MQTT + "test_a_retained_command_is_refused_and_audited_and_never_carried_out",)
    ),
    Row("B05", "A command comes twice", (MQTT + "test_the_same_id_twice_is_one_take_and_the_same_verdict_twice",)),
    Row("B06", "An old command comes late", (MQTT + "test_a_command_lives_at_most_five_seconds",)),
    Row(
        "B07",
        "A hostile publisher",
        (
            MQTT + "test_hostile_payloads_leave_the_door_and_the_house_at_work",
            MQTT + "test_a_flood_is_refused_but_a_roll_is_not_and_the_journal_is_not_filled",
        ),
    ),
    Row(
        "B08", "Somebody takes our client id", (MQTT + "test_a_second_daemon_of_the_same_name_is_told_and_not_fought",)
    ),
    Row(
        "B09",
        "The will speaks though we are back",
        (
            MQTT + "test_an_old_will_or_a_stranger_does_not_stay_on_the_link_topic",
            "stories/test_mqtt.py::test_kill_9_makes_the_will_speak_and_an_older_off_is_known_by_its_numbers",
        ),
    ),
    Row("B10", "The broker refuses what we publish", (MQTT + "test_publishes_that_the_broker_refuses_are_told",)),
    Row("A01", "Too large a body, header or address", (GUARD + "test_a_body_that_is_too_large_is_not_read",)),
    Row(
        "A02",
        "Nesting, odd numbers, doubled keys, wrong types",
        (
            "fuzz/test_fuzz.py::test_generated_requests_meet_their_rules",
            ACTS + "test_what_is_not_understood_reaches_no_box",
        ),
    ),
    Row(
        "A03",
        "Headers and bodies that drip",
        (GUARD + "test_headers_that_drip_end_the_connection", GUARD + "test_a_body_that_drips_ends_the_connection"),
    ),
    Row(
        "A04",
        "Ten thousand sockets",
        (
            "inlets/http/test_live.py::test_followers_beyond_the_last_place_are_refused",
            GUARD + "test_who_comes_when_all_places_are_taken_is_told",
        ),
    ),
    Row("A05", "A client that stops reading", ("inlets/http/test_live.py::test_a_client_that_never_reads_is_let_go",)),
    Row(
        "A06",
        "Odd signs and endless names",
        (
            ACTS + "test_what_is_not_understood_reaches_no_box",
            "fuzz/test_fuzz.py::test_generated_requests_meet_their_rules",
        ),
    ),
    Row("A07", "Paths in names", (GUARD + "test_an_address_of_nothing_is_a_problem",)),
    Row("A08", "A file that grows when it is read", ("test_yamlfile.py::test_a_bomb_is_refused_before_it_grows",)),
    Row(
        "A09",
        "Passwords are guessed",
        ("control/test_gate.py::test_ten_thousand_guesses_reach_the_hash_at_most_a_hundred_times",),
    ),
    Row(
        "A10",
        "A request is sent again by somebody",
        (ACTS + "test_the_same_key_twice_is_one_take", ACTS + "test_a_key_used_for_something_else_is_refused"),
    ),
    Row(
        "A11",
        "A page from elsewhere acts",
        (GUARD + "test_a_form_on_another_page_may_not_act", GUARD + "test_a_page_from_elsewhere_may_not_ask"),
    ),
    Row("A12", "A name that was made to point here", (GUARD + "test_a_foreign_name_is_answered_before_any_route",)),
    Row("A13", "Lengths that contradict each other", (GUARD + "test_what_is_no_http_is_refused_and_closed",)),
    Row(
        "A14",
        "A viewer acts",
        (PEOPLE + "test_each_caller_at_each_route", PEOPLE + "test_a_viewer_and_nobody_reach_no_box"),
    ),
    Row(
        "A15",
        "A box's address leads elsewhere",
        not_yet="addresses stand in the site file alone, which is its owner's; no door takes one",
    ),
    Row("A16", "Questions that cost much", not_yet="answers are bounded by page; a loop of them is not measured yet"),
    Row("A17", "A client goes after its press", (ACTS + "test_a_client_that_vanishes_leaves_its_command_running",)),
    Row(
        "A18",
        "A formula in a note",
        ("handoff/test_ranges.py::test_text_that_would_break_a_line_or_run_as_a_formula_does_neither",),
    ),
    Row(
        "O01",
        "Roll is pressed twice",
        (
            "control/test_commands.py::test_a_second_roll_on_its_way_joins_the_first_and_shares_its_verdict",
            ROLL + "test_the_same_id_through_two_doors_is_one_take",
        ),
    ),
    Row(
        "O02",
        "Stop is pressed by mistake",
        (PEOPLE + "test_anothers_take_ends_at_the_second_asking_on_every_way_of_http",),
    ),
    Row(
        "O03",
        "Two people want different things",
        (
            "control/test_commands.py::test_the_same_set_joins_and_another_value_overtakes_it",
            PEOPLE + "test_with_a_holder_others_are_told_who_it_is",
        ),
    ),
    Row("O04", "The wrong scene", (SCENES + "test_a_dry_run_lists_everything_and_sends_nothing",)),
    Row("O05", "A scene is edited while it runs", (SCENES + "test_a_run_keeps_its_own_copy_when_the_file_is_edited",)),
    Row(
        "O06",
        "A page of yesterday stops a take",
        (TAKES + "test_a_cut_names_the_take_that_runs", ACTS + "test_a_cut_of_another_take_is_refused"),
    ),
    Row("O07", "A key that is stuck", (ACTS + "test_an_inlet_that_asks_too_often_is_slowed",)),
    Row("O08", "A login ends during a take", (PEOPLE + "test_a_token_that_ends_ends_no_take",)),
    Row(
        "O09",
        "An alarm is forgotten on the shelf",
        (ALARMS + "test_what_is_put_aside_comes_back_at_its_time_with_a_name_and_a_reason",),
    ),
    Row(
        "O10",
        "Somebody far away loses the line",
        not_yet="the feed comes back and no take depends on it; a story over a bad line is not written yet",
    ),
    Row(
        "C01",
        "Source or target goes during a copy",
        (
            COPIES + "test_failures.py::test_a_pulled_cable_is_noticed_and_the_copy_goes_on_when_it_is_back",
            COPIES + "test_targets.py::test_a_server_that_is_lost_in_mid_copy_is_told_and_the_part_gone_on_with",
            COPIES + "test_targets.py::test_a_store_that_is_lost_in_mid_copy_is_told",
        ),
    ),
    Row(
        "C02",
        "The target is full",
        (
            COPIES + "test_kills.py::test_a_full_disk_is_named_and_nothing_on_it_is_lost",
            COPIES + "test_targets.py::test_a_full_disk_there_is_told_as_full",
        ),
    ),
    Row(
        "C03",
        "A bit flips in a copy",
        (
            COPIES + "test_failures.py::test_a_disk_that_lies_is_found_by_reading_back",
            COPIES + "test_mhl_oracle.py::test_both_find_what_was_done",
        ),
    ),
    Row(
        "C04",
        "Power goes during a copy",
        (
            COPIES + "test_kills.py::test_a_kill_at_any_state_costs_no_clip_and_names_no_half_one",
            COPIES + "test_mhl.py::test_a_manifest_that_the_chain_missed_is_taken_in",
        ),
    ),
    Row(
        "C05",
        "Another file of the same name",
        (COPIES + "test_failures.py::test_another_file_in_the_place_stays_and_is_named",),
    ),
    Row(
        "C06",
        "A roll during a copy",
        (COPIES + "test_failures.py::test_nothing_is_read_while_the_deck_records_and_reads_stop_when_it_rolls",),
    ),
    Row(
        "C07",
        "Erased before it is proved",
        (
            "control/test_commands.py::test_only_an_engineer_erases_and_never_from_a_scene",
            COPIES + "test_failures.py::test_all_clips_are_verified_and_named_and_the_source_is_as_before",
        ),
    ),
)


def families() -> dict[str, list[Row]]:
    """The rows of each family."""
    return {letter: [row for row in ROWS if row.id[0] == letter] for letter in FAMILIES}


def share(rows: Sequence[Row]) -> str:
    """ "20 of 22, 90 %" """
    done = sum(row.automated for row in rows)
    return f"{done} of {len(rows)}, {100 * done // len(rows)} %"


def text() -> str:
    """docs/faults.md, whole."""
    each = "; ".join(f"{FAMILIES[letter][0].lower()} {share(rows)}" for letter, rows in families().items())
    parts = [INTRODUCTION, f"**{share(ROWS)}** of the faults we know of are automated. {each.capitalize()}."]
    for letter, rows in families().items():
        parts.append(f"## {FAMILIES[letter][0]}")
        lines = ["| | what goes wrong | brought about by | not yet |", "|---|---|---|---|"]
        lines += [f"| {row.id} | {row.fault} | {_by(row)} | {row.not_yet} |" for row in rows]
        parts.append("\n".join(lines))
    return "\n\n".join(parts) + "\n"


def _by(row: Row) -> str:
    told = []
    real = [test for test in row.tests if test.startswith(REAL)]
    rest = [test for test in row.tests if not test.startswith(REAL)]
    if real:
        told.append("**real** " + ", ".join(f"`{test}`" for test in real))
    if row.drawn:
        told.append("**simulated** " + (", ".join(f"`{name}`" for name in row.virtual) or "acts of people and clocks"))
    if rest:
        told.append("**part** " + ", ".join(f"`{test}`" for test in rest))
    return "; ".join(told)


if __name__ == "__main__":
    DOCS.write_text(text(), encoding="utf-8")
    sys.stdout.write(f"{DOCS}: {share(ROWS)} automated.\n")
