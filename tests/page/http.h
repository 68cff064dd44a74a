// One request of HTTP at a time to this machine, and its answer.
#pragma once

#include <cstdint>
#include <map>
#include <string>

namespace tachproof {

struct HttpAnswer {
  unsigned status = 0;
  std::map<std::string, std::string> headers;  // names as they came
  std::string body;
  std::size_t bytes = 0;  // of head and body, as they came
};

struct HttpQuestion {
  std::string method = "GET";
  std::string target = "/";
  std::string body;
  std::map<std::string, std::string> headers;  // Host is 127.0.0.1:PORT unless it is named here
};

// Throws std::runtime_error where there is no answer within a minute.
HttpAnswer ask_http(std::uint16_t port, const HttpQuestion& question);

}  // namespace tachproof
