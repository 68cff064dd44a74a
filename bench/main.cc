#include <array>

#include "bench/commands/command.h"
#include "bench/commands/command_line.h"

int main(int argc, char** argv) {
  using namespace tachproof;
  constexpr std::array commands = {CommandMaker{make_run_command},    CommandMaker{make_expect_command},
                                   CommandMaker{make_judge_command},  CommandMaker{make_check_command},
                                   CommandMaker{make_report_command}, CommandMaker{make_speed_command},
                                   CommandMaker{make_ports_command},  CommandMaker{make_calibrate_command}};
  return run_command_line({argv + (argc > 0 ? 1 : 0), argv + argc}, commands);
}
