// What is asked at a terminal of a rig to be made, where the command line does not say it.
#pragma once

#include <string>
#include <vector>

#include "bench/rigs/ports.h"

namespace tachproof {

struct Choice {
  std::string word, about;
};
std::vector<Choice> choices_of(const std::vector<PortFound>& ports);

// The word that was given, or what the person at the terminal says: a choice by its
// number or word; any word where `free`. Throws UsageError with the option's name for a word
// that is none of `choices`, and when nobody is there to ask.
std::string word_or_asked(const std::string& option, const std::string& given, const std::string& question,
                          const std::vector<Choice>& choices, bool free);
double number_or_asked(const std::string& option, const std::string& given, const std::string& question,
                       double least, double most);

}  // namespace tachproof
