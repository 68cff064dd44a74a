// The names by which a wiring may call the bits of a VCD file.
//
//     $scope module top $end
//     $var wire 1 ! D0 $end            "top.D0" and, if no other has it, "D0"
//     $var reg 4 " bus [3:0] $end      "top.bus[3]", "bus[3]", ... "bus[0]"
//
// Several variables with one identifier code are one signal, and their names
// do not collide. Reals, strings, events and vectors of more than 64 bits are
// no channels.
#pragma once

#include <cstddef>
#include <cstdint>
#include <deque>
#include <string>
#include <string_view>
#include <unordered_map>
#include <utility>
#include <vector>

#include "bench/formats/vcd_header.h"

namespace tachproof {

struct VcdBit {
  std::string code;
  std::uint32_t bit = 0;  // from the right
  bool operator==(const VcdBit&) const = default;
};

class VcdChannels {
 public:
  explicit VcdChannels(const std::vector<VcdVariable>& variables);
  VcdChannels(const VcdChannels&) = delete;
  VcdChannels& operator=(const VcdChannels&) = delete;

  // Full names in file order, then the brief ones that are unique; given once.
  std::vector<std::string> take_names() { return std::move(names_); }
  // Throws RecordingError; `file` begins its message.
  VcdBit find(const std::string& name, const std::string& file) const;

 private:
  struct Channel {
    std::string full;
    std::size_t brief_length;  // the brief name is the end of the full one
    std::string_view brief() const { return ending(brief_length); }
    std::string_view ending(std::size_t length) const {
      return std::string_view(full).substr(full.size() - length);
    }
  };
  struct Entry {
    VcdBit bit;
    const Channel* channel;  // the first that has the name
    bool unique = true;
  };
  // Of names in channels_: a header may have many, and long ones.
  using ByName = std::unordered_map<std::string_view, Entry>;
  void add(const std::string& scope, const std::string& name, const VcdBit& bit);
  void refuse(const VcdVariable& v, const std::string& why);
  bool brief_will_do(const Channel& channel) const;

  std::deque<Channel> channels_;  // file order, each full name once
  std::vector<std::string> names_;
  ByName by_full_name_;
  ByName by_brief_name_;
  std::unordered_map<std::string, std::string> refused_;  // why it is no channel
};

}  // namespace tachproof
