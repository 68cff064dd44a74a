// Findings as they are made: alike ones are counted together, so that a lamp
// that is wrong ten thousand times is one line with a number.
#pragma once

#include <cstdint>
#include <functional>
#include <map>
#include <string>
#include <tuple>
#include <utility>
#include <vector>

#include "core/judge/result.h"

namespace tachproof {

class FindingLog {
 public:
  static constexpr std::size_t max_alike = 3;
  static constexpr std::size_t max_all = 200;

  void add(Finding finding);
  // Told of each that is kept, as it is added.
  void on_finding(std::function<void(const Finding&)> sink) { sink_ = std::move(sink); }
  bool any(FindingKind kind) const;
  Verdict verdict() const { return verdict_; }  // of all findings, kept or not
  // Time order; the last of a counted group says how many more there were.
  std::vector<Finding> take(std::uint64_t& left_out);

 private:
  using Key = std::tuple<FindingKind, std::string, std::string>;
  struct Group {
    std::size_t kept = 0;
    std::uint64_t more = 0;
    std::size_t last = 0;  // index of the last kept
  };
  std::map<Key, Group> groups_;
  std::vector<Finding> kept_;
  std::function<void(const Finding&)> sink_;
  std::uint64_t left_out_ = 0;
  Verdict verdict_ = Verdict::pass;
};

}  // namespace tachproof
