// How a lamp's colour is drawn: by the gauge's own word for it. Where CSS
// knows the word, the fill is that colour; a hatch tells colours apart on
// paper without colour.
#pragma once

#include <cstddef>
#include <string>
#include <vector>

#include "core/gauge/gauge.h"

namespace tachproof {

// Every distinct colour word of the gauge, in the order of its lamps.
class Palette {
 public:
  // `prefix` stands before the names of the fills, where a document has several palettes.
  explicit Palette(const Gauge& gauge, std::string prefix = {});
  const std::vector<std::string>& words() const { return words_; }
  std::size_t index(const std::string& word) const;  // of a word that is there

  // An SVG that shows nothing and defines the fills "url(#lit-0)" and
  // "url(#flash-0)" for each word, and "url(#flash)" and "url(#either)"; once
  // per document.
  std::string definitions() const;

 private:
  std::vector<std::string> words_;
  std::string prefix_;
};

// Whether CSS Color 4 names this colour (section 6.1), whatever its case.
bool is_css_colour(const std::string& word);

}  // namespace tachproof
