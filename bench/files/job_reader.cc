#include <fmt/format.h>

#include <regex>

#include "bench/files/files.h"
#include "bench/files/job.h"
#include "bench/files/readers.h"
#include "core/base/foreign_text.h"

namespace tachproof {
namespace {

constexpr std::size_t most_plays = 20;
constexpr std::size_t longest_pattern = 200;
constexpr const char* played = "a scenario's file, plan, or {survey: {within: 1}}";

// libstdc++ reads the numbers of "{2,4}" and "\1" into an integer without a look at their length.
void refuse_long_numbers(const std::string& pattern) {
  constexpr std::size_t most_digits = 9;
  const auto is_digit = [](char c) { return c >= '0' && c <= '9'; };
  for (std::size_t i = 0; i < pattern.size();) {
    const char mark = pattern[i++];
    if (mark != '{' && mark != '\\') continue;
    const std::size_t from = i;
    std::size_t digits = 0;
    for (; i < pattern.size() && (is_digit(pattern[i]) || (mark == '{' && pattern[i] == ',')); ++i) {
      digits = pattern[i] == ',' ? 0 : digits + 1;
      if (digits > most_digits)
        throw std::regex_error(mark == '{' ? std::regex_constants::error_space
                                           : std::regex_constants::error_complexity);
    }
    if (mark == '\\' && i == from) ++i;  // what it takes the meaning from
  }
}

// The standard library's matcher tries one way after the other, which takes "(a*)*b" longer than anyone
// waits. libstdc++ has a second one that follows all ways at once: its time grows with the text and the
// pattern alone. It knows no references back to a group, and refuses them.
std::regex compiled(const std::string& pattern) {
  refuse_long_numbers(pattern);
  return std::regex(pattern, std::regex_constants::ECMAScript | std::regex_constants::nosubs |
                                 std::regex_constants::__polynomial);
}

class JobReader {
 public:
  JobReader(const std::filesystem::path& folder, ErrorList& errors) : folder_(folder), errors_(errors) {}

  Job read(Mapping& file) {
    file.text("name", job_.name, Need::must);
    named_file(file, "gauge", job_.gauge, Need::must);
    if (const YamlNode* node = file.any("play", Need::must)) plays(*node);
    named_file(file, "rig", job_.rig, Need::must);
    named_file(file, "certificate", job_.certificate, Need::may);
    if (const YamlNode* node = file.any("serial", Need::may)) serial(*node);
    file.finish();
    return std::move(job_);
  }

 private:
  void named_file(Mapping& block, const std::string& key, std::string& into, Need need) {
    std::string name;
    if (block.text(key, name, need))
      exists(block.place(key), key, name, key, "a file, named from the folder of this one", into);
  }

  // `kind` is what the file must be where it says what it is; its own reader says the rest.
  void exists(Place at, const std::string& what, const std::string& name, const std::string& kind,
              const std::string& allowed, std::string& into) {
    into = (folder_ / name).string();
    std::error_code none;
    if (!std::filesystem::is_regular_file(into, none))
      return errors_.add(at, "'" + what + "' names " + on_one_line(name) + ", which is not there", allowed);
    const std::string found = kind_of_file(into);
    if (!found.empty() && found != kind)
      errors_.add(at, "'" + what + "' names " + on_one_line(name) + ", a " + found + " file",
                  "a " + kind + " file");
  }

  void plays(const YamlNode& node) {
    if (node.kind != YamlNode::Kind::list) return play(node);
    if (!is_list(node, "'play'", errors_, most_plays)) return;
    for (const YamlNode* item : node.items) play(*item);
  }

  void play(const YamlNode& node) {
    JobPlay one;
    if (node.kind == YamlNode::Kind::mapping) {
      Mapping block(node, errors_, "what is played");
      if (const YamlNode* survey = block.any("survey", Need::must)) {
        one.what = JobPlay::What::survey;
        Mapping asked(*survey, errors_, "a survey");
        asked.number("within", one.within_rpm, {0, 1000, true}, Need::may);
        asked.finish();
      }
      block.finish();
    } else {
      if (node.kind != YamlNode::Kind::scalar)
        return errors_.add(node.at, "'play' is " + found_text(node), played);
      std::string word;
      if (!read_text(node, "'play'", word, errors_)) return;
      if (word != "plan") {
        one.what = JobPlay::What::scenario;
        exists(node.at, "play", word, "scenario", played, one.file);
      }
    }
    job_.play.push_back(std::move(one));
  }

  void serial(const YamlNode& node) {
    Mapping block(node, errors_, "a serial number");
    if (block.text("pattern", job_.serial_pattern, Need::must)) pattern(block.place("pattern"));
    block.finish();
  }

  void pattern(Place at) {
    if (job_.serial_pattern.size() > longest_pattern)
      return errors_.add(at, fmt::format("'pattern' has {} bytes", job_.serial_pattern.size()),
                         fmt::format("at most {}", longest_pattern));
    try {
      compiled(job_.serial_pattern);
    } catch (const std::regex_error& e) {
      if (e.code() == std::regex_constants::error_complexity)
        errors_.add(at, "'pattern' refers back to a group", "a regular expression without \\1, \\2 ...");
      else if (e.code() == std::regex_constants::error_space)
        errors_.add(at, "'pattern' repeats too much", "one such as \"DR-[0-9]{4}\"");
      else
        errors_.add(at, "'pattern' is no regular expression", "one such as \"DR-[0-9]{4}\"");
    }
  }

  const std::filesystem::path& folder_;
  ErrorList& errors_;
  Job job_;
};

}  // namespace

Job read_job(const YamlNode& root, const std::filesystem::path& folder, ErrorList& errors) {
  Mapping file(root, errors, "a job file");
  if (!read_header(file, "job", errors)) return {};
  return JobReader(folder, errors).read(file);
}

std::optional<std::string> wrong_serial(const Job& job, const std::string& serial) {
  if (serial.size() > longest_serial)
    return fmt::format("the serial number has {} characters; at most {} are allowed", serial.size(),
                       longest_serial);
  if (job.serial_pattern.empty()) return std::nullopt;
  if (serial.empty()) return "this job wants a serial number like " + shown(job.serial_pattern);
  if (std::regex_match(serial, compiled(job.serial_pattern))) return std::nullopt;
  return "'" + shown(serial) + "' is no serial number of this job; one looks like " +
         shown(job.serial_pattern);
}

}  // namespace tachproof
