// The readers behind load_... and check: a tree in, a value out, everything
// that is wrong into the list. A value is only meant to be used when the list
// has stayed empty.
#pragma once

#include <filesystem>
#include <functional>
#include <string>
#include <string_view>
#include <vector>

#include "bench/files/errors.h"
#include "bench/files/files.h"
#include "bench/files/job.h"
#include "bench/files/named_files.h"
#include "bench/files/yaml_tree.h"
#include "bench/files/yaml_walk.h"

namespace tachproof {

Gauge read_gauge(const YamlNode& root, ErrorList& errors);
// `folder`: where relative paths in the file start.
ScenarioFile read_scenario(const YamlNode& root, const std::filesystem::path& folder, ErrorList& errors,
                           NamedFiles::Copies copies = NamedFiles::Copies::beside_the_scenario);
RigFile read_rig(const YamlNode& root, const std::filesystem::path& folder, ErrorList& errors);
Job read_job(const YamlNode& root, const std::filesystem::path& folder, ErrorList& errors);
Wiring read_wiring(const YamlNode& root, ErrorList& errors);
Noise read_noise(const YamlNode& root, const std::filesystem::path& folder, ErrorList& errors);

// ---- parts that several kinds share ----------------------------------------

const std::vector<std::string>& file_kinds();
// `format` and `kind` of a file's mapping. False when it is of another kind or
// format: then nothing else of it is worth reading.
bool read_header(Mapping& file, const std::string& kind, ErrorList& errors);

// A profile's steps, and their rules together: how long, how many. `files`: that steps replay.
std::vector<Step> read_profile(const YamlNode& list, NamedFiles& files, std::vector<LogFacts>& logs,
                               ErrorList& errors, std::vector<SupplyPlace>* supplied = nullptr);
// A {replay: ...} step, with all that it names; nothing where it is unsound.
std::optional<Step> read_replay(Mapping& m, NamedFiles& files, std::vector<LogFacts>& logs,
                                ErrorList& errors);
// The keys of a noise block, wherever it stands; calls finish on the mapping.
Noise read_noise_keys(Mapping& block, NamedFiles& files, ErrorList& errors);
// The lamps and the active level of a wiring, with a tach channel or without.
Wiring read_wiring_keys(Mapping& block, bool with_tach, ErrorList& errors);
// The buttons of a gauge whose windows are read; `windows_sound`: else boundaries are not looked up. `note`
// is told where each of the core's paths is in the file.
using NotePlace = std::function<void(const std::string& path, Place at)>;
void read_buttons(const YamlNode& list, Gauge& gauge, bool windows_sound, const NotePlace& note,
                  ErrorList& errors);
using ReadCue = std::function<void(const YamlNode& show, Cue& into)>;
void read_power_up(const YamlNode& node, Gauge& gauge, const ReadCue& cue, const NotePlace& note,
                   ErrorList& errors);
void read_supply(const YamlNode& node, Gauge& gauge, ErrorList& errors);
// A simulated unit's behaviour. `unit` may be null when its file is unsound:
// then names in faults are not looked up.
Behaviour read_behaviour(const YamlNode& node, const Gauge* unit, ErrorList& errors);

// `check` of a text that is already in memory, as if read from `file`.
CheckedFile check_text(const std::filesystem::path& file, std::string_view text);

}  // namespace tachproof
