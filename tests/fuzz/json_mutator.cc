// Lets libFuzzer change JSON as JSON: most changed bytes only make it unreadable, and the readers behind the
// parser see nothing of them. A text that is one document is changed as a whole, else one line of it.
#include <algorithm>
#include <array>
#include <cstdint>
#include <cstring>
#include <nlohmann/json.hpp>
#include <random>
#include <string>
#include <string_view>
#include <vector>

extern "C" std::size_t LLVMFuzzerMutate(std::uint8_t* data, std::size_t size, std::size_t most);

namespace tachproof::fuzz {
namespace {

using Json = nlohmann::ordered_json;

constexpr int deepest = 60;  // the readers refuse what is deeper

class JsonMutator {
 public:
  explicit JsonMutator(unsigned seed) : random_(seed) {}

  std::size_t below(std::size_t n) { return std::uniform_int_distribution<std::size_t>(0, n - 1)(random_); }

  std::string mutated(Json json) {
    for (std::size_t left = 1 + below(3); left > 0; --left) change(json);
    return json.dump(-1, ' ', false, Json::error_handler_t::replace);
  }

 private:
  static void all_of(Json& json, std::vector<Json*>& into, int depth = 0) {
    into.push_back(&json);
    if (json.is_structured() && depth < deepest)
      for (Json& item : json) all_of(item, into, depth + 1);
  }

  void change(Json& json) {
    std::vector<Json*> all;
    all_of(json, all);
    Json& one = *all[below(all.size())];
    const Json other = *all[below(all.size())];
    if (below(6) == 0)
      one = other;
    else if (one.is_array())
      change_list(one, other);
    else if (one.is_object())
      change_object(one, other);
    else
      change_value(one);
  }

  void change_list(Json& list, const Json& other) {
    if (list.empty() || below(4) == 0) {
      list.push_back(other);
      return;
    }
    const auto at = static_cast<Json::difference_type>(below(list.size()));
    switch (below(4)) {
      case 0: list.erase(list.begin() + at); break;
      case 1: list.push_back(list[static_cast<std::size_t>(at)]); break;
      case 2: std::swap(list[static_cast<std::size_t>(at)], list[below(list.size())]); break;
      default: list.clear(); break;
    }
  }

  void change_object(Json& object, const Json& other) {
    if (object.empty()) return;
    auto at = object.begin();
    std::advance(at, static_cast<Json::difference_type>(below(object.size())));
    if (below(3) == 0)
      object.erase(at);
    else
      *at = other;
  }

  void change_value(Json& value) {
    static const std::array<const char*, 12> words{"",          "pass",    "fail",    "undecided",
                                                   "not asked", "rising",  "falling", "above",
                                                   "blinking",  "\x1b[2J", "../x",    "100km/h"};
    switch (below(value.is_number() ? 4 : 7)) {
      case 0: value = number(); break;
      case 1: value = whole_number(); break;
      case 2: value = value.is_number() ? Json(value.get<double>() * factor()) : Json(below(2) == 0); break;
      case 3: value = value.is_number() ? Json(value.get<double>() + factor()) : Json(nullptr); break;
      default: value = words[below(words.size())]; break;
    }
  }

  double number() {
    static const std::array<double, 18> numbers{0,   -0.0, 1,    -1,    0.5,    1e-9, 5e-324, 1e-300, 1e6,
                                                1e9, 1e12, -1e9, -1e12, 9.99e8, 1e15, 1e19,   1e300,  3000};
    return numbers[below(numbers.size())];
  }
  Json whole_number() {
    static const std::array<std::int64_t, 10> numbers{
        0, 1, -1, 63, 64, 1'000'000, 1'000'000'000, 3'600'000'000'000, 999'999'999'999'999'999, INT64_MIN};
    return below(8) == 0 ? Json(UINT64_MAX) : Json(numbers[below(numbers.size())]);
  }
  double factor() { return std::uniform_real_distribution<double>(-0.5, 2.5)(random_); }

  std::mt19937 random_;
};

std::size_t put(std::string_view text, std::uint8_t* data, std::size_t most) {
  const std::size_t size = std::min(text.size(), most);
  std::memcpy(data, text.data(), size);
  return size;
}

}  // namespace
}  // namespace tachproof::fuzz

extern "C" std::size_t LLVMFuzzerCustomMutator(std::uint8_t* data, std::size_t size, std::size_t most,
                                               unsigned seed) {
  using namespace tachproof::fuzz;
  JsonMutator mutator(seed);
  if (mutator.below(5) == 0) return LLVMFuzzerMutate(data, size, most);
  const std::string text(reinterpret_cast<const char*>(data), size);
  if (Json whole = Json::parse(text, nullptr, false); !whole.is_discarded())
    return put(mutator.mutated(std::move(whole)), data, most);
  std::vector<std::size_t> starts{0};
  for (std::size_t i = 0; i + 1 < text.size(); ++i)
    if (text[i] == '\n') starts.push_back(i + 1);
  const std::size_t from = starts[mutator.below(starts.size())];
  const std::size_t to = std::min(text.find('\n', from), text.size());
  Json line = Json::parse(text.substr(from, to - from), nullptr, false);
  if (line.is_discarded() || !line.is_structured()) return LLVMFuzzerMutate(data, size, most);
  return put(text.substr(0, from) + mutator.mutated(std::move(line)) + text.substr(to), data, most);
}
