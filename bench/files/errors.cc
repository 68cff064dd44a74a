#include "bench/files/errors.h"

#include <fmt/format.h>

#include <algorithm>
#include <tuple>

#include "core/base/foreign_text.h"

namespace tachproof {
namespace {

bool before(const FileError& a, const FileError& b) {
  return std::tie(a.line, a.column) < std::tie(b.line, b.column);
}

bool same(const FileError& a, const FileError& b) {
  return a.line == b.line && a.column == b.column && a.message == b.message;
}

std::string every_line(const std::vector<FileError>& errors) {
  std::string text;
  for (const FileError& e : errors) text += (text.empty() ? "" : "\n") + to_line(e);
  return text;
}

}  // namespace

std::string to_line(const FileError& e) {
  return e.line > 0 ? fmt::format("{}:{}:{}: {}", e.file, e.line, e.column, e.message)
                    : fmt::format("{}: {}", e.file, e.message);
}

FileErrors::FileErrors(std::vector<FileError> all)
    : std::runtime_error(every_line(all)), errors(std::move(all)) {}

void ErrorList::add(Place at, const std::string& found, const std::string& allowed) {
  add_key(at, found, allowed);
  ++values_;
}

void ErrorList::add_key(Place at, const std::string& found, const std::string& allowed) {
  // Here once more for all readers: words of the file may stand in either.
  own_.push_back({file_, at.line, at.column, shown(found + "; " + allowed)});
}

void ErrorList::add_other(const std::vector<FileError>& errors) {
  others_.insert(others_.end(), errors.begin(), errors.end());
  values_ += errors.size();
}

std::vector<FileError> ErrorList::sorted() const {
  std::vector<FileError> all = own_;
  std::stable_sort(all.begin(), all.end(), before);
  // What an alias stands for is read at each of its uses.
  all.erase(std::unique(all.begin(), all.end(), same), all.end());
  if (all.size() > most) {
    const std::size_t more = all.size() - most;
    all.resize(most);
    all.push_back({file_, 0, 0, std::to_string(more) + " more errors; the first 100 are shown"});
  }
  all.insert(all.end(), others_.begin(), others_.end());
  return all;
}

void ErrorList::throw_if_any() const {
  if (!empty()) throw FileErrors(sorted());
}

std::string on_one_line(std::string_view text) {
  constexpr std::size_t longest = 60;
  std::size_t at = 0;
  for (std::size_t characters = 0; at < text.size() && characters < longest; ++characters) {
    char32_t code = 0;
    at += std::max<std::size_t>(utf8_sequence(text.substr(at), code), 1);
  }
  return shown(text.substr(0, at)) + (at < text.size() ? "..." : "");
}

}  // namespace tachproof
