// What explains a failed run, as it is kept with the run and told to a person.
#pragma once

#include <cstdint>
#include <string>
#include <utility>
#include <vector>

namespace tachproof {

// One change of settings, unit or wiring. `kind` and keys are those of keys_of (fault.h), with the
// estimate's expanded uncertainty (95 %) where there is one.
struct CauseChange {
  std::string kind;  // "anchor-moved"
  std::vector<std::pair<std::string, std::string>> words;
  std::vector<std::pair<std::string, double>> numbers;
  std::vector<std::string> channels;  // "left white": of wires-swapped
};

struct Cause {
  std::string text;                  // a sentence without its full stop
  std::vector<CauseChange> changes;  // one, or two when one does not do
  std::uint64_t explains = 0, of = 0;
  std::vector<std::string> left;  // findings that stay: some of them, as Finding::message
  std::string todo;               // what to do next: a sentence
  bool whole() const { return explains == of; }
};

struct Causes {
  std::vector<Cause> list;           // most likely first
  bool told_apart = true;            // false: this evidence does not tell those that explain everything apart
  std::vector<std::string> missing;  // of an undecided run: what is missing and how to get it, sentences
  std::string none;                  // a failed run without a whole cause: that it is so, a sentence

  bool empty() const { return list.empty() && missing.empty() && none.empty(); }
};

// "explains 34 of 34 findings".
std::string share_of(const Cause& cause);
// Sentences in one line: the most likely cause and what to do, or all that are not told apart.
std::string in_one_line(const Causes& causes);

}  // namespace tachproof
