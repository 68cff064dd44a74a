// What a rig file says of one kind of source or of watcher: the word of its `kind:`, its keys, and how they
// are written. Which kinds there are is not known here: they derive from these classes in bench/rigs, and
// bench/rigs/factory.cc lists them.
#pragma once

#include <filesystem>
#include <optional>
#include <string>
#include <vector>

#include "bench/files/files.h"
#include "bench/files/yaml_walk.h"

namespace tachproof {

class SourceFormat {
 public:
  virtual ~SourceFormat() = default;
  virtual std::string word() const = 0;  // "board"
  // The keys beside `kind`; whoever calls this finishes the mapping. What is wrong goes into `errors`.
  virtual void read(Mapping& keys, RigFile::SourcePart& source, ErrorList& errors) const;
  // The same keys as lines of a file, each from `rig_line`.
  virtual std::string text(const RigFile::SourcePart& source) const;
  // `tachproof calibrate` can compare its clock, and the file holds the correction.
  virtual bool can_calibrate() const { return false; }
};

// How a rig file is being read.
struct RigReading {
  std::filesystem::path folder;  // where its relative paths start
  bool load_unit = true;         // false for a copy that is away from its unit's file
};

class WatchFormat {
 public:
  virtual ~WatchFormat() = default;
  virtual std::string word() const = 0;
  virtual void read(Mapping& keys, const RigReading& reading, RigFile::WatchPart& watch,
                    ErrorList& errors) const = 0;
  virtual std::string text(const RigFile::WatchPart& watch) const = 0;
  // What it watches is software, so that a verdict says nothing of a real unit.
  virtual bool watches_software() const { return false; }
};

class SupplyFormat {
 public:
  virtual ~SupplyFormat() = default;
  virtual std::string word() const = 0;
  virtual void read(Mapping& keys, RigFile::SupplyPart& supply, ErrorList& errors) const = 0;
  virtual std::string text(const RigFile::SupplyPart& supply) const = 0;
};

// All there are, in the order in which a message names them. Defined by the factory.
const std::vector<const SourceFormat*>& source_formats();
const std::vector<const WatchFormat*>& watch_formats();
const std::vector<const SupplyFormat*>& supply_formats();

// The one of this word; null where there is none.
template <class Format>
const Format* find_kind(const std::vector<const Format*>& kinds, const std::string& word) {
  for (const Format* kind : kinds)
    if (kind->word() == word) return kind;
  return nullptr;
}
// Whether a watcher of this word sees software only. A word that is no kind's: no.
bool watches_software(const std::string& word);

// ---- parts that several kinds share ----------------------------------------

// `wiring:` of a watch; nothing where it is missing or no mapping, which `errors` then says.
std::optional<Wiring> read_rig_wiring(Mapping& watch, ErrorList& errors);
// "  key: value # comment\n", under `source:` or `watch:`.
std::string rig_line(const std::string& key, const std::string& value, const std::string& comment = "");
std::string rig_number(double value);
std::string rig_wiring_text(const Wiring& wiring);

}  // namespace tachproof
