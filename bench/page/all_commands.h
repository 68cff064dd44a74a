// Every command of the program, in the order of its own page: for main.cc, and for the manual pages and the
// completion that are made of what the commands say of themselves.
#pragma once

#include "bench/commands/command_line.h"
#include "bench/page/serve.h"

namespace tachproof {

inline constexpr CommandMaker all_commands[] = {
    make_run_command,      make_survey_command, make_grade_command,    make_plan_command,
    make_deadband_command, make_noise_command,  make_expect_command,   make_judge_command,
    make_check_command,    make_report_command, make_history_command,  make_compare_command,
    make_diagnose_command, make_accept_command, make_settings_command, make_speed_command,
    make_teach_command,    make_ports_command,  make_rig_command,      make_calibrate_command,
    make_serve_command};

}  // namespace tachproof
