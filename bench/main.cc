#include "bench/commands/command_line.h"
#include "bench/page/all_commands.h"
#include "this_build.h"  // written by bench/install/this_build.cmake

int main(int argc, char** argv) {
  return tachproof::run_command_line({argv + (argc > 0 ? 1 : 0), argv + argc}, tachproof::all_commands,
                                     "commit " TACHPROOF_COMMIT "\nbuilt by " TACHPROOF_BUILT_BY "\n");
}
