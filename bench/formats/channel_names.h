// What to say about a channel that is not there.
#pragma once

#include <string>
#include <string_view>
#include <vector>

namespace tachproof {

// "no channel 'D0' in it; did you mean 'D1'? There are: D1, D2"; a long list
// is cut short. For a RecordingError, which shows any bytes.
std::string no_such_channel(std::string_view wanted, const std::vector<std::string>& there);

}  // namespace tachproof
