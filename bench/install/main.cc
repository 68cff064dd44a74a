// tachproof-pages FOLDER VERSION DATA_FOLDER: writes manual pages and shell completion, when the program is
// built. It is not installed.
#include <cstdio>
#include <exception>
#include <filesystem>
#include <fstream>
#include <stdexcept>

#include "bench/install/page_texts.h"
#include "bench/page/all_commands.h"

namespace {

void write(const std::filesystem::path& file, const std::string& text) {
  std::ofstream out(file, std::ios::binary);
  if (!(out << text).flush()) throw std::runtime_error(file.string() + " cannot be written");
}

}  // namespace

int main(int argc, char** argv) {
  using namespace tachproof;
  if (argc != 4) {
    std::fputs("tachproof-pages FOLDER VERSION DATA_FOLDER\n", stderr);
    return exit_usage;
  }
  try {
    const std::filesystem::path folder = argv[1], manual = folder / "man1";
    const ManualFacts facts{argv[2], argv[3]};
    std::filesystem::remove_all(manual);  // a page of a command that there is no longer
    std::filesystem::create_directories(manual);
    const std::vector<DescribedCommand> commands = described(all_commands);
    write(manual / "tachproof.1", manual_page(commands, facts));
    for (const DescribedCommand& command : commands)
      write(manual / ("tachproof-" + command.help.name + ".1"), manual_page(command, facts));
    write(folder / "tachproof.bash", bash_completion(commands));
    write(folder / "_tachproof", zsh_completion(commands));
  } catch (const std::exception& e) {
    std::fprintf(stderr, "tachproof-pages: %s\n", e.what());
    return 1;
  }
  return 0;
}
