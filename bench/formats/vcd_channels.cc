#include "bench/formats/vcd_channels.h"

#include <fmt/format.h>

#include "bench/formats/channel_names.h"
#include "bench/formats/recording.h"

namespace tachproof {
namespace {

std::string joined(const std::string& scope, const std::string& name) {
  return scope.empty() ? name : scope + "." + name;
}

// The index of the bit that is `from_right` bits from the right.
int index_of(const VcdVariable& v, std::uint32_t from_right) {
  const auto offset = static_cast<int>(from_right);
  if (!v.range) return offset;
  return v.range->left >= v.range->right ? v.range->right + offset : v.range->right - offset;
}

}  // namespace

VcdChannels::VcdChannels(const std::vector<VcdVariable>& variables) {
  for (const VcdVariable& v : variables) {
    if (v.kind == VcdKind::real) {
      refuse(v, "is a real number; a channel is one bit");
    } else if (v.kind == VcdKind::string) {
      refuse(v, "is a string; a channel is one bit");
    } else if (v.kind == VcdKind::event) {
      refuse(v, "is an event and has no level; a channel is one bit");
    } else if (v.width > widest_wired) {
      refuse(v, fmt::format("has {} bits; of vectors of at most {} bits one can be named", v.width,
                            widest_wired));
    } else {
      if (v.width > 1) {
        refuse(v, fmt::format("has {0} bits; name one of them, '{1}[{2}]' to '{1}[{3}]'", v.width, v.name,
                              index_of(v, v.width - 1), index_of(v, 0)));
      } else if (!v.range || !v.range->one_index) {
        add(v.scope, v.name, {v.code, 0});
      }
      if (v.width == 1 && !v.range) continue;
      for (std::uint32_t bit = v.width; bit-- > 0;) {
        add(v.scope, fmt::format("{}[{}]", v.name, index_of(v, bit)), {v.code, bit});
      }
    }
  }
  for (const Channel& c : channels_) names_.push_back(c.full);
  for (const Channel& c : channels_) {
    if (c.brief() != c.full && brief_will_do(c) && by_brief_name_.at(c.brief()).channel == &c)
      names_.emplace_back(c.brief());
  }
}

bool VcdChannels::brief_will_do(const Channel& channel) const {
  return !by_full_name_.contains(channel.brief()) && by_brief_name_.at(channel.brief()).unique;
}

void VcdChannels::add(const std::string& scope, const std::string& name, const VcdBit& bit) {
  std::string full = joined(scope, name);
  const auto same = by_full_name_.find(full);
  const bool is_there = same != by_full_name_.end();
  if (!is_there) channels_.push_back({std::move(full), name.size()});
  const Channel& named = is_there ? *same->second.channel : channels_.back();
  const auto enter = [&](ByName& map, std::string_view as) {
    const auto [at, is_new] = map.try_emplace(as, Entry{bit, &named});
    if (!is_new && at->second.bit != bit) at->second.unique = false;
  };
  enter(by_full_name_, named.full);
  enter(by_brief_name_, named.ending(name.size()));
}

void VcdChannels::refuse(const VcdVariable& v, const std::string& why) {
  refused_.try_emplace(joined(v.scope, v.name), why);
  refused_.try_emplace(v.name, why);
}

VcdBit VcdChannels::find(const std::string& name, const std::string& file) const {
  if (const auto at = by_full_name_.find(name); at != by_full_name_.end()) {
    if (at->second.unique) return at->second.bit;
    throw RecordingError(fmt::format("{}: several signals are declared as {}; none of them can be named",
                                     file, as_shown(name)));
  }
  if (const auto at = by_brief_name_.find(name); at != by_brief_name_.end()) {
    if (at->second.unique) return at->second.bit;
    std::vector<std::string> full;
    for (const Channel& c : channels_) {
      if (c.brief() == name) full.push_back(c.full);
    }
    throw RecordingError(fmt::format("{}: several signals are called {}; give the full name of one: {}", file,
                                     as_shown(name), fmt::join(full, ", ")));
  }
  const std::string stem = name.substr(0, name.find('['));
  for (const std::string& asked : {name, stem}) {
    if (const auto at = refused_.find(asked); at != refused_.end()) {
      throw RecordingError(fmt::format("{}: {} {}", file, as_shown(asked), at->second));
    }
  }
  std::vector<std::string> there;
  for (const Channel& c : channels_)
    there.emplace_back(brief_will_do(c) ? c.brief() : std::string_view(c.full));
  throw RecordingError(fmt::format("{}: {}", file, no_such_channel(name, there)));
}

}  // namespace tachproof
