#include <algorithm>

#include "bench/install/page_texts.h"
#include "bench/rigs/factory.h"

namespace tachproof {
namespace {

using From = Offer::From;

template <class Kinds>
std::vector<std::string> words_of(const Kinds& kinds) {
  std::vector<std::string> words;
  for (const auto* kind : kinds) words.push_back(kind->word());
  return words;
}

// Stable names first.
const Offer serial_ports{From::devices, {"/dev/serial/by-id/*", "/dev/ttyUSB*", "/dev/ttyACM*"}};
const Offer instruments{From::devices,
                        {"/dev/usbtmc*", "/dev/serial/by-id/*", "/dev/ttyUSB*", "/dev/ttyACM*"}};

std::vector<std::string> parts_of(const std::string& text, char between) {
  std::vector<std::string> parts(1);
  for (const char c : text) {
    if (c == between)
      parts.emplace_back();
    else
      parts.back() += c;
  }
  return parts;
}

}  // namespace

// By the words of the help: a name in capitals says what stands in its place, the same in every command.
Offer offered_for(const std::string& command, const Arguments::Argument& argument) {
  const bool option = argument.name.starts_with("--");
  const std::string& name = argument.name;
  const std::string& value = option ? argument.value : argument.name;
  if (option && value.empty()) return {};
  const bool takes_file = value == "FILE";
  if (value == "GAUGE" || (takes_file && (name == "--gauge" || name == "--among" || name == "--unit")))
    return {From::kinds, {"gauge"}};
  if (value == "RIG" || (takes_file && name == "--rig")) return {From::kinds, {"rig"}};
  if (value == "SCENARIO") {
    if (command == "run") return {From::kinds, {"scenario", "job"}};
    return {From::kinds, {"scenario"}};
  }
  if (takes_file && option)
    for (const char* kind : {"scenario", "certificate", "wiring", "regions"})
      if (name == std::string("--") + kind) return {From::kinds, {kind}};
  if (value == "RUN") return {From::run_folders, {}};
  if (value == "FOLDER" || value == "DIR") return {From::folders, {}};
  if (value == "PORT") return serial_ports;
  if (value == "ADDRESS") return instruments;
  if (value == "DEVICE") return {From::devices, {"/dev/video*"}};
  if (value == "CHIP") return {From::devices, {"/dev/gpiochip*"}};
  if (name == "--source") return {From::words, words_of(source_kinds())};
  if (name == "--watch") return {From::words, words_of(watch_kinds())};
  if (value.find('|') != std::string::npos) return {From::words, parts_of(value, '|')};
  if (takes_file || value == "CLIP" || value == "RECORDING" || value == "PLACE" || value.ends_with(".pem"))
    return {From::files, {}};
  return {};
}

std::vector<DescribedCommand> described(std::span<const CommandMaker> commands) {
  std::vector<DescribedCommand> all;
  for (const CommandMaker make : commands) {
    all.push_back({make(), {}, {}});
    all.back().help = all.back().command->help();
    all.back().command->declare(all.back().arguments);
  }
  return all;
}

std::string filled(std::string_view functions, const std::string& cases, const std::string& names) {
  std::string script(functions);
  script.replace(script.find("@COMMANDS@"), 10, cases);
  script.replace(script.find("@NAMES@"), 7, names);
  return script;
}

}  // namespace tachproof
