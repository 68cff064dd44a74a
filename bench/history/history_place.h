// Where a history is: a file, or a database on a server that is named by an address,
// postgresql://USER@HOST:PORT/DATABASE.
#pragma once

#include <filesystem>
#include <string>

namespace tachproof {

class HistoryPlace {
 public:
  HistoryPlace() = default;                        // none
  HistoryPlace(const std::filesystem::path& file)  // NOLINT: a file is a place
      : HistoryPlace(file.string()) {}
  HistoryPlace(const std::string& file_or_address);  // NOLINT
  HistoryPlace(const char* file_or_address) : HistoryPlace(std::string(file_or_address)) {}

  bool empty() const { return text_.empty(); }
  // A server may be away, and is asked before anybody knows whether a history is there.
  bool is_server() const { return server_; }
  bool may_be_there() const;

  const std::string& text() const { return text_; }  // as it was given: it may hold a password
  // Of a server without password, and only what says which database it is. Printable.
  const std::string& shown() const { return shown_; }
  // False: '@' where only a password that was not written as an address wants it (%40) can have it,
  // so that nobody can tell what of the text is secret.
  bool is_clear() const { return clear_; }

 private:
  std::string text_, shown_;
  bool server_ = false, clear_ = true;
};

// The text with the address's password, as written there and as it is meant, taken out.
std::string without_password(std::string text, const HistoryPlace& place);

}  // namespace tachproof
