// What a command line can say of one kind of source or of watcher that a rig is to be made of, and what a
// person at the terminal is asked of it.
#pragma once

#include <filesystem>
#include <memory>
#include <string>
#include <utility>
#include <vector>

#include "bench/commands/command.h"
#include "bench/files/files.h"

namespace tachproof {

struct RigWanted {
  RigFile rig;  // without the wiring of a board's inputs or of GPIO lines
  // Inputs or lines that lamps may be wired to; empty: this watcher has no wires.
  std::vector<std::string> candidates;
};

class KindWords {
 public:
  enum class Part { source, watch };

  virtual ~KindWords() = default;
  virtual Part part() const = 0;
  virtual std::string kind() const = 0;  // the word in a rig file
  virtual void declare(Arguments& arguments) = 0;
  virtual bool any() const;
  // Throws UsageError with the first that was given: the rig is of another kind, "--source scpi".
  virtual void refuse_any(const std::string& by) const;
  // What they say, or a person says; the watch's are asked before the source's. Paths are relative to the
  // folder of `out`. Throws as RigWords::wanted.
  virtual void fill(RigWanted& wanted, const std::filesystem::path& out) const = 0;

  // The kind that the words given mean where nothing else says it; nothing: they leave it open.
  virtual std::string implied_source() const { return {}; }
  virtual std::string implied_watch() const { return {}; }

 protected:
  // An option and its text, empty where it was not given.
  using Options = std::vector<std::pair<std::string, const std::string*>>;
  virtual Options options() const { return {}; }
};

// Of every kind that has some, in the order of the help page.
std::vector<std::unique_ptr<KindWords>> all_kind_words();

}  // namespace tachproof
