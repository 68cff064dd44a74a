// What a browser asks for and what it gets, free of sockets: handlers are plain functions from the one to the
// other.
#pragma once

#include <functional>
#include <map>
#include <memory>
#include <string>
#include <string_view>
#include <utility>
#include <vector>

namespace tachproof {

class EventFeed;

// Names and values of a query or a form, in the order in which they came.
class Fields {
 public:
  // "a=1&b=two+words": decoded. Nothing of what is no such text.
  static Fields of(std::string_view urlencoded);
  void add(std::string name, std::string value) { all_.emplace_back(std::move(name), std::move(value)); }
  // The first of that name; "" where there is none.
  std::string get(std::string_view name) const;
  std::vector<std::string> all_of(std::string_view name) const;
  bool has(std::string_view name) const;
  const std::vector<std::pair<std::string, std::string>>& all() const { return all_; }

 private:
  std::vector<std::pair<std::string, std::string>> all_;
};

// "%41+b" is "A b" of a form, "A+b" of a path; "" and false for what is badly written.
bool url_decoded(std::string_view text, bool form, std::string& into);
std::string url_encoded(std::string_view text);  // for one part of a path, or a value of a query

struct Request {
  std::string method;  // "GET", "HEAD", "POST"
  std::string path;    // decoded: "/runs/20310314-142501-plan"; no "..", no empty part, no control characters
  Fields query;
  std::vector<std::string> parts;  // what the route's "*" stood for
  std::string content_type;
  std::string body;            // of a POST
  Fields form;                 // of a POST, where it is a form
  bool asks_fragment = false;  // our script wants a part of a page in place of the whole
};

struct Response {
  unsigned status = 200;
  std::string type = "text/html; charset=utf-8";
  std::string body;
  std::vector<std::pair<std::string, std::string>> headers;
  // Then the body is what this feed says, as it says it (text/event-stream).
  std::shared_ptr<EventFeed> feed;
};

Response see_other(const std::string& where);  // after a POST
Response not_found(const std::string& what);   // a sentence
Response refused(unsigned status, const std::string& sentence);
Response plain_text(std::string text, std::string type);

using Handler = std::function<Response(const Request&)>;

// "/runs/*/report": each "*" stands for one part of a path.
class Router {
 public:
  void on(std::string method, std::string pattern, Handler handler);
  // 404 for no such path, 405 for another method of it. A handler that throws is a 500 with its sentence.
  Response operator()(const Request& request) const;

 private:
  struct Route {
    std::string method;
    std::vector<std::string> parts;
    Handler handler;
  };
  std::vector<Route> routes_;
};

// The parts of a path; false where it is none of ours: "..", ".", an empty part, a control character.
bool parts_of_path(std::string_view path, std::vector<std::string>& parts);

}  // namespace tachproof
