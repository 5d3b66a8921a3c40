"""Which modules have no test file of their own, and which test drives them instead."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Final

DATA: Final = (
    "engine/detectors/base engine/inject/base engine/model/client_id "
    "engine/model/commands engine/model/drill_causes engine/model/drill_truth "
    "engine/model/engine_address engine/model/alarm_limits engine/model/line_results "
    "engine/model/listening engine/model/messages engine/model/tick engine/model/timecode_frames "
    "engine/model/tracks engine/model/snapshot engine/model/fault_rules engine/plan/change "
    "engine/report/content/report_data "
    "engine/report/content/sections engine/report/layout/blocks engine/report/layout/drawing "
    "engine/session/checkpoint engine/session/records engine/sources/base "
    "engine/model/early_signs engine/model/pickups engine/model/round_state engine/pickup/sighting "
    "app/models/break_words app/models/fault_words "
    "app/models/choices app/models/key_bindings app/models/live_input app/style/state_marks "
    "demo_audio/script demo_audio/voices"
)
"""Data, words and interfaces: what they hold is tested where it is used."""

PARTS: Final[Mapping[str, str]] = {
    "engine/model/test_fault_remedies.py": "engine/detectors/registry",
    "engine/alarms/test_book.py": "engine/alarms/evaluate",
    "engine/alarms/test_unheard.py": "engine/alarms/empty_inputs",
    "engine/detectors/test_clock_slip.py": "engine/detectors/first_tracks",
    "engine/detectors/test_clipped.py": "engine/detectors/flat_tops engine/detectors/tops",
    "engine/detectors/test_crackle.py": "engine/detectors/stepped_hops",
    "engine/detectors/test_dead_mic.py": (
        "engine/detectors/band_history engine/detectors/band_power engine/detectors/fall_ends "
        "engine/detectors/quieter_place"
    ),
    "engine/detectors/test_duplicate.py": (
        "engine/detectors/lagged_copies engine/detectors/step_spectra"
    ),
    "engine/detectors/test_dropout.py": (
        "engine/detectors/bursts engine/detectors/gap_shape engine/detectors/quiet_history"
    ),
    "engine/detectors/test_hum.py": "engine/detectors/hum_origin engine/detectors/mains_spectra",
    "engine/detectors/test_noise.py": "engine/detectors/noise_shape",
    "engine/detectors/test_noise_burst.py": "engine/detectors/bright_hops",
    "engine/detectors/test_pair_change.py": "engine/detectors/pair_gains",
    "engine/detectors/test_pair_drift.py": ("engine/detectors/pair_offsets engine/detectors/pairs"),
    "engine/detectors/test_tone_company.py": "engine/detectors/line_up",
    "engine/detectors/test_low.py": "engine/detectors/tick_group",
    "engine/detectors/test_swapped.py": (
        "engine/detectors/own_speech engine/detectors/pack_matches engine/detectors/voice_models"
    ),
    "engine/drill/test_drill_history.py": "engine/drill/history_chart engine/drill/read_log",
    "engine/drill/test_drill_source.py": "engine/drill/quiet_performer",
    "engine/inject/test_every_injector.py": (
        "engine/inject/clipped engine/inject/clock_slip engine/inject/crackle engine/inject/dc "
        "engine/inject/dead_mic "
        "engine/inject/dropout engine/inject/duplicate engine/inject/hum engine/inject/low "
        "engine/inject/muted engine/inject/noise "
        "engine/inject/noise_burst engine/inject/noise_floor engine/inject/pair_drift "
        "engine/inject/polarity engine/inject/receiver engine/inject/registry "
        "engine/inject/shape engine/inject/silent engine/inject/stuck "
        "engine/inject/swapped engine/inject/tone "
        "engine/inject/unexpected"
    ),
    "engine/early_signs/test_sign_watch.py": "engine/early_signs/period engine/early_signs/rules",
    "engine/pickup/test_pickup_meter.py": "engine/pickup/envelope_fit engine/pickup/speaks_alone",
    "engine/pickup/test_pickup_map.py": "engine/pickup/pickup_stretches",
    "engine/line_check/test_checker.py": "engine/line_check/pair_offset engine/line_check/taps",
    "engine/listen/test_mix.py": "engine/listen/limiter engine/listen/resample",
    "engine/pipeline/test_change_plan.py": "engine/alarms/plan_change engine/model/track_remap",
    "engine/pipeline/test_pipeline.py": "engine/pipeline/judge engine/pipeline/watch_snapshot",
    "engine/session/test_plan_history.py": "engine/report/content/coverage_history",
    "engine/sources/test_take_files.py": "engine/sources/take_grouping",
    "engine/pipeline/test_scan.py": "engine/pipeline/scan_document engine/pipeline/scan_result",
    "engine/pipeline/test_take_probe.py": "engine/timecode/code_search",
    "engine/report/content/test_from_session.py": (
        "engine/report/content/logged_figures engine/report/content/logged_timecode "
        "engine/report/content/session_acts engine/report/content/take_words "
        "engine/session/summary"
    ),
    "engine/report/content/test_beside_alarms.py": "engine/report/layout/beside",
    "engine/report/content/test_crew_figures.py": "engine/report/formats/crew_table",
    "engine/report/formats/test_csv_table.py": "engine/report/content/words",
    "engine/report/layout/test_pages.py": (
        "engine/report/layout/anchors engine/report/layout/day engine/report/layout/details "
        "engine/report/layout/instead_cell engine/report/layout/performers "
        "engine/report/layout/severity_marks"
    ),
    "engine/runtime/test_process.py": "engine/runtime/host engine/runtime/spawn",
    "engine/runtime/test_runner.py": "engine/runtime/watch_log",
    "engine/session/test_reader.py": "engine/session/log_file engine/session/rows",
    "engine/session/test_recorder.py": "engine/session/log_lines",
    "engine/verify/test_align.py": "engine/verify/follow engine/verify/traces",
    "engine/verify/test_channel_match.py": "engine/verify/channel_gain",
    "engine/verify/test_verify.py": (
        "engine/verify/channel_verdicts engine/verify/compare_take "
        "engine/verify/fault_match engine/verify/watched_session "
        "engine/verify/result engine/verify/verify_page"
    ),
    "engine/session/test_folders.py": "engine/session/engines engine/session/file_lock",
    "engine/sources/test_sound_file.py": (
        "engine/sources/wav_header engine/sources/sample_format engine/sources/flac_file"
    ),
    "engine/timecode/test_clock.py": "engine/timecode/track_reader",
    "engine/measure/test_level.py": "engine/model/units",
    "engine/measure/test_meter.py": "engine/measure/tick_parts",
    "engine/measure/test_paired_gain.py": (
        "engine/measure/common_gain engine/measure/quiet_moments"
    ),
    "app/cli/test_main.py": (
        "app/cli/arguments app/cli/argument_parts app/cli/watch_arguments app/cli/devices_command "
        "app/cli/plan_command "
        "app/cli/report_command app/cli/watch_json app/cli/display app/cli/scan_jobs "
        "app/cli/scan_text "
        "app/cli/scan_command "
        "app/report/take_scan "
        "app/window/application engine/report/content/from_scan"
    ),
    "end_to_end/test_notifications.py": "app/alerts/notification_service",
    "app/controllers/test_crew_actions.py": "app/models/undo app/views/widgets/prompt",
    "app/controllers/test_drill_controller.py": (
        "app/controllers/drill_score app/views/drill/drill_choice app/views/drill/drill_panel "
        "app/views/drill/qt_drawing app/views/drill/score_page engine/drill/finish "
        "engine/drill/score_sheet"
    ),
    "app/controllers/test_headphones.py": "app/views/listen_bar app/views/widgets/choice",
    "app/controllers/test_line_check_controller.py": (
        "app/models/line_check_words app/views/line_check_page "
        "app/views/line_check_track app/views/widgets/target_bar"
    ),
    "app/controllers/test_opening.py": "app/views/progress_page",
    "app/controllers/test_plan_live.py": "app/models/plan_table app/views/plan/plan_page",
    "app/controllers/test_plan_new.py": "app/views/plan/plan_source",
    "app/controllers/test_round_controller.py": "app/views/round_bar app/views/signs_list",
    "app/controllers/test_share_controller.py": "app/services/page_link app/views/share_page",
    "app/controllers/test_overview_controller.py": (
        "app/views/fleet/overview_page app/views/fleet/overview_table"
    ),
    "app/controllers/test_publish_controller.py": "app/views/fleet/publish_page",
    "app/controllers/test_verify_controller.py": (
        "app/views/verify/recorder_page app/views/verify/verify_timeline"
    ),
    "app/controllers/test_report_controller.py": (
        "app/models/report_subjects app/report/job app/views/report/report_page"
    ),
    "app/fleet/test_publisher.py": "app/fleet/cart_messages",
    "end_to_end/test_broker.py": "app/fleet/site_reader app/fleet/mqtt_link",
    "app/cli/test_terminal.py": "app/cli/watch_text",
    "app/page/test_page_process.py": "app/page/launch",
    "app/report/test_marker_files.py": (
        "app/report/marked_copy engine/report/content/markers engine/report/formats/edl "
        "engine/report/formats/otio engine/report/formats/webvtt"
    ),
    "app/setup/test_bootstrap.py": "app/setup/system_packages",
    "app/style/test_colour_blind.py": "app/style/state_shapes",
    "app/views/board/test_board.py": (
        "app/views/board/board_picture app/views/board/level_picture "
        "app/views/board/row_accessibility app/views/board/row_text"
    ),
    "app/views/glance/test_glance_view.py": (
        "app/controllers/glance_controller app/views/glance/glance_layout "
        "app/views/glance/glance_window"
    ),
    "app/views/test_fix_list.py": "app/views/fix_card",
    "app/models/test_fix_cards.py": "app/models/alarm_card",
    "app/views/test_alarm_strip.py": "app/models/strip_cells",
    "app/window/test_main_window.py": (
        "app/controllers/navigation app/controllers/watch_controller "
        "app/views/watch_page app/views/widgets/bands app/views/widgets/overlay "
        "app/window/window_parts"
    ),
    "app/views/test_history_page.py": "app/controllers/history_controller",
    "app/views/session/test_session_page.py": (
        "app/controllers/session_controller app/views/session/timeline_view"
    ),
    "app/views/test_settings_page.py": "app/controllers/settings_controller",
    "app/views/test_start_page.py": "app/controllers/start_controller app/views/start_parts",
    "app/window/test_watch_stops.py": "app/controllers/closing",
    "end_to_end/test_readme.py": "app/start",
    "demo_audio/test_sound.py": "demo_audio/packs demo_audio/sound_field demo_audio/wave",
    "demo_audio/test_take.py": "demo_audio/render demo_audio/ltc_track",
}
"""Parts of one thing: the test drives them through what they are parts of."""

BY_HAND: Final = "demo_audio/speak"
"""Needs a speech synthesizer that is no part of the project; its output is in the checkout."""

WITHOUT_MODULE: Final[Mapping[str, str]] = {
    "app/cli/test_bad_input": "what any command says of input that it can't use",
    "app/style/test_colour_blind": "colours and shapes of all states together",
    "app/test_readme": "what the README shows of the window",
    "app/views/test_accessible": "every page for a screen reader",
    "app/views/test_scale_factor": "every page at fractions of scale",
    "app/views/test_screenshots": "every page as a picture",
    "app/views/test_tab_stops": "Tab on every page",
    "app/window/test_watch_stops": "the window when its engine ends, hangs or dies",
    "demo_audio/test_sound": "the sound of the demo take",
    "demo_audio/test_take": "the demo take's files",
    "engine/alarms/test_covered": "alarms and who is covered",
    "engine/alarms/test_seen_and_shelved": "what the crew does to alarms",
    "engine/alarms/test_standby": "alarms while nothing rolls",
    "engine/detectors/test_every_detector": "what all detectors have in common",
    "engine/detectors/test_independence": "each detector without each of the others",
    "engine/inject/test_every_injector": "what all injectors have in common",
    "engine/measure/test_ebu_cases": "EBU's own signals through the whole meter",
    "engine/measure/test_references": "the meter against other implementations",
    "engine/pipeline/test_change_plan": "a change of plan through the whole pipeline",
    "engine/runtime/test_change_inputs": "a change of inputs through runner and source",
    "engine/plan/test_planted_mistakes": "mistakes anywhere in a plan",
    "engine/runtime/test_exceptions": "exceptions at any time through all parts of a watch",
    "engine/runtime/test_hung_engine": "a window whose engine hangs",
    "engine/runtime/test_restart": "an engine that goes on with another one's session",
    "engine/sources/test_foreign_takes": "files that other programs wrote, whole",
    "engine/sources/test_foreign_metadata": "metadata that other programs wrote",
}
"""Tests of several modules at once, and what of."""
