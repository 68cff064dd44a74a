// Noise: a block of a scenario, or a file of its own (`format: 1`,
// `kind: noise`, then the same keys).
//
//     jitter_us: 0          white, standard deviation of each edge
//     wander_rpm: 0         speed wander: standard deviation ...
//     wander_s: 0           ... and correlation time; the two go together
//     firing: []            per pulse of the engine cycle, per cent of a pulse
//                           period late (+) or early (-), -40 to 40, mean zero
//     missing: 0            probability of each pulse, 0 to 0.5
//     doubled: 0            likewise
//     doubled_after_us: 300
//     recording: FILE       alone: a recorded signal replayed in place of the
//                           model; relative to the file that names it
#include <cmath>

#include "bench/files/readers.h"
#include "bench/files/replay.h"
#include "core/base/words.h"

namespace tachproof {
namespace {

constexpr std::size_t most_firing = 240;
constexpr double mean_zero_within = 0.01;

std::vector<double> read_firing(const YamlNode& list, ErrorList& errors) {
  std::vector<double> firing;
  double sum = 0;
  for (const YamlNode* item : list.items) {
    double share = 0;
    if (!read_number(*item, "an entry of 'firing'", share, {-40, 40}, errors)) return {};
    firing.push_back(share);
    sum += share;
  }
  const double mean = sum / static_cast<double>(firing.size());
  if (std::abs(mean) > mean_zero_within)
    errors.add(list.at, "'firing' with a mean of " + number_text(std::round(mean * 1e4) / 1e4),
               "a mean of zero, within 0.01");
  return firing;
}

void read_recording(Mapping& block, NamedFiles& files, Noise& noise, ErrorList& errors) {
  std::string name;
  if (!block.text("recording", name, Need::may)) return;
  for (const char* key :
       {"jitter_us", "wander_rpm", "wander_s", "firing", "missing", "doubled", "doubled_after_us"})
    if (block.has(key)) {
      errors.add(block.place("recording"), "'recording' beside '" + std::string(key) + "'",
                 "a recording alone, in place of the model");
      return;
    }
  std::string unread;
  const std::string* text = files.read(name, "edges", max_file_bytes, block.place("recording").line, unread);
  Replay replay = text != nullptr ? replay_of(*text) : Replay(std::move(unread));
  if (const std::string* trouble = std::get_if<std::string>(&replay)) {
    const std::size_t cut = trouble->find("; ");
    errors.add(block.place("recording"), "'" + on_one_line(name) + "': " + trouble->substr(0, cut),
               trouble->substr(cut + 2));
    return;
  }
  noise.replay = std::move(std::get<std::vector<double>>(replay));
}

}  // namespace

Noise read_noise_keys(Mapping& block, NamedFiles& files, ErrorList& errors) {
  Noise noise;
  if (!block.sound()) return noise;
  block.number("jitter_us", noise.jitter_us, {0, 1e6}, Need::may);
  block.number("wander_rpm", noise.wander_rpm, {0, 1000}, Need::may);
  block.number("wander_s", noise.wander_s, {0, 3600, true}, Need::may);
  if (block.has("wander_rpm") != block.has("wander_s")) {
    const std::string there = block.has("wander_rpm") ? "wander_rpm" : "wander_s";
    const std::string other = block.has("wander_rpm") ? "wander_s" : "wander_rpm";
    errors.add(block.place(there), "'" + there + "' without '" + other + "'", "both or neither");
  }
  if (const YamlNode* list = block.list("firing", Need::may, most_firing))
    noise.firing = read_firing(*list, errors);
  block.number("missing", noise.missing, {0, 0.5}, Need::may);
  block.number("doubled", noise.doubled, {0, 0.5}, Need::may);
  block.number("doubled_after_us", noise.doubled_after_us, {0, 1e6, true}, Need::may);
  read_recording(block, files, noise, errors);
  block.finish();
  return noise;
}

Noise read_noise(const YamlNode& root, const std::filesystem::path& folder, ErrorList& errors) {
  Mapping file(root, errors, "a noise file");
  if (!read_header(file, "noise", errors)) return {};
  NamedFiles files(folder, NamedFiles::Copies::beside_the_scenario);
  return read_noise_keys(file, files, errors);
}

}  // namespace tachproof
