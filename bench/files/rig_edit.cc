#include "bench/files/rig_edit.h"

#include <fmt/format.h>

#include <optional>

#include "bench/files/readers.h"
#include "bench/files/rig_kinds.h"

namespace tachproof {
namespace {

// Places count characters, texts bytes.
std::size_t offset_of(const std::string& text, Place at) {
  std::size_t offset = 0;
  for (int line = 1; line < at.line; ++line) offset = text.find('\n', offset) + 1;
  for (int column = 1; column < at.column; ++column) {
    ++offset;
    while (offset < text.size() && (static_cast<unsigned char>(text[offset]) & 0xc0) == 0x80) ++offset;
  }
  return offset;
}

const YamlNode* value_of(const YamlNode& mapping, const std::string& key) {
  for (const YamlNode::Entry& entry : mapping.entries)
    if (entry.key->text == key) return entry.value;
  return nullptr;
}

// Nothing when the place is not where it is expected to be.
std::optional<std::string> edited(std::string text, const YamlNode& source, const std::string& line) {
  if (const YamlNode* clock = value_of(source, "clock")) {
    const std::size_t open = offset_of(text, clock->at), close = text.find('}', open);
    if (text[open] != '{' || close == std::string::npos) return std::nullopt;
    return text.replace(open, close + 1 - open, line.substr(line.find('{')));
  }
  const std::size_t at = offset_of(text, source.at);
  if (text[at] == '{') return text.insert(at + 1, line + ", ");
  const std::size_t line_start = text.rfind('\n', at) + 1;
  const std::string indent = text.substr(line_start, at - line_start);
  if (indent.find_first_not_of(' ') != std::string::npos) return std::nullopt;
  return text.insert(line_start, indent + line + "\n");
}

bool same(const RigFile::SourcePart& a, const RigFile::SourcePart& b, const std::string& clock) {
  return a.kind == b.kind && a.port == b.port && a.buttons == b.buttons && b.clock &&
         clock_line(*b.clock) == clock;
}

}  // namespace

std::string clock_line(const ClockSetting& clock) {
  return fmt::format("clock: {{fast_ppm: {:.2f}, uncertainty_ppm: {:.2f}, calibrated: {}}}", clock.fast_ppm,
                     clock.uncertainty_ppm, clock.calibrated);
}

std::string rig_with_clock(const std::filesystem::path& file, const ClockSetting& clock) {
  const RigFile before = load_rig(file);
  ErrorList errors(file.string());
  const std::optional<std::string> text = read_file(file, errors);
  const std::optional<YamlTree> tree = text ? parse_yaml(*text, errors) : std::nullopt;
  errors.throw_if_any();
  const YamlNode& source = *value_of(*tree->root, "source");
  if (!find_kind(source_formats(), before.source.kind)->can_calibrate() || before.source.port.empty()) {
    errors.add(source.at, "the source is not a board with a port", "a clock belongs to one board");
    errors.throw_if_any();
  }
  const std::string line = clock_line(clock);
  if (const std::optional<std::string> with = edited(*text, source, line)) {
    ErrorList wrong(file.string());
    const std::optional<YamlTree> after = parse_yaml(*with, wrong);
    if (after && same(before.source, read_rig(*after->root, file.parent_path(), wrong).source, line) &&
        wrong.empty())
      return *with;
  }
  errors.add(source.at, "the clock cannot be written into this line", "by hand: " + line);
  errors.throw_if_any();
  return {};
}

}  // namespace tachproof
