// A file of YAML with other values in it, everything else as its owner wrote it: the order of the keys, the
// line ends, the comments.
//
// Only the places of values that differ are written. Where a row is added or taken away, its line is; what
// has several rows between braces is written anew as a whole. What cannot be done so (aliases, text over
// several lines) costs the comments of that entry of the file and no others.
#pragma once

#include <string>
#include <string_view>

#include "bench/files/yaml_value.h"

namespace tachproof {

// `wanted` is a mapping. The result always says that: it is read again before it is given.
std::string yaml_edited(std::string_view text, const YamlValue& wanted);

// The lines of an entry of the outermost mapping, to the end of the last one; "" where it is not there.
// Comments and empty lines behind it belong to what follows.
std::string entry_lines(std::string_view text, const std::string& key);

}  // namespace tachproof
