#include "bench/page/pieces.h"

#include <fmt/format.h>

#include <algorithm>

#include "bench/history/history.h"
#include "bench/record/summary.h"
#include "bench/record/text.h"
#include "core/base/parse.h"

namespace tachproof {

std::string address_of(const std::string& place, const std::string& name) {
  std::string address = place;
  for (std::size_t at = 0; at <= name.size();) {
    const std::size_t end = std::min(name.find('/', at), name.size());
    address += "/" + url_encoded(name.substr(at, end - at));
    at = end + 1;
  }
  return address;
}

std::string run_address(const std::string& name) { return address_of("/runs", name); }

std::string unit_address(const std::string& serial) {
  std::string address = address_of("/units", serial);
  std::vector<std::string> parts;
  constexpr std::size_t most_parts = 5;
  if (parts_of_path(address, parts) && !serial.ends_with('/') && parts.size() <= most_parts) return address;
  return "/units?unit=" + url_encoded(serial);
}

std::string verdict_mark(Verdict verdict, bool simulated) {
  return fmt::format("<b class=\"said {}\">{}</b>{}", word(verdict), shouted(verdict),
                     simulated ? " <span class=\"software\">SIMULATED</span>" : "");
}

std::string causes_html(const RunRecord& record) {
  const Causes& causes = record.causes;
  std::string html;
  if (!causes.list.empty() && causes.list.front().whole()) {
    for (const Cause& cause : causes.list) {
      if (!cause.whole()) break;
      html += fmt::format("<p class=\"cause\">{} <span>{}</span></p>\n", escaped(as_sentence(cause.text)),
                          escaped(as_sentence(cause.todo)));
      if (causes.told_apart) break;
    }
    if (!causes.told_apart) html = "<p>This evidence does not tell these apart:</p>\n" + html;
  } else if (!causes.none.empty()) {
    html += fmt::format("<p class=\"cause\">{}</p>\n", escaped(as_sentence(causes.none)));
  }
  for (const std::string& missing : causes.missing)
    html += fmt::format("<p class=\"cause\">{}</p>\n", escaped(as_sentence(missing)));
  return html;
}

std::string history_away_html(const HistoryPlace& place, const std::string& why) {
  const std::string wait = who_waits_for(place);
  return fmt::format(
      "<div class=\"trouble\" role=\"alert\"><p>The history cannot be read: {}.</p>\n<p>Testing goes on: "
      "each run "
      "is kept in its folder{}. {}{}Load this page again once it is mended.</p></div>\n",
      escaped(why), place.is_server() ? ", and is added when the server answers again" : "", escaped(wait),
      wait.empty() ? "" : " ");
}

std::string clock_words(const std::string& iso8601) {
  std::string words = iso8601.substr(0, 19);
  if (words.size() > 10) words[10] = ' ';
  return words;
}

std::string choice_field(const std::string& name, const std::string& label, const std::string& any,
                         const std::vector<std::string>& values, const std::string& chosen) {
  std::string options = fmt::format("<option value=\"\">{}</option>\n", escaped(any));
  for (const std::string& value : values)
    options += fmt::format("<option value=\"{}\"{}>{}</option>\n", escaped(value),
                           value == chosen ? " selected" : "", escaped(value));
  return fmt::format(
      "<span class=\"field\"><label for=\"by-{}\">{}</label> <select id=\"by-{}\" "
      "name=\"{}\">{}</select></span>\n",
      name, label, name, name, options);
}

std::string text_field(const std::string& name, const std::string& label, const std::string& value,
                       const std::string& more) {
  return fmt::format(
      "<span class=\"field\"><label for=\"by-{}\">{}</label> <input id=\"by-{}\" name=\"{}\" value=\"{}\" "
      "autocomplete=\"off\"{}></span>\n",
      name, label, name, name, escaped(value), more);
}

std::size_t page_asked_for(const Fields& query, std::size_t pages) {
  const std::optional<unsigned> asked = parse_number<unsigned>(query.get("page"));
  return std::clamp<std::size_t>(asked.value_or(1), 1, std::max<std::size_t>(pages, 1));
}

std::string pager_html(const std::string& place, const Fields& query, std::size_t page, std::size_t pages) {
  if (pages <= 1) return {};
  std::string rest;
  for (const auto& [name, value] : query.all())
    if (name != "page" && !value.empty()) rest += url_encoded(name) + "=" + url_encoded(value) + "&amp;";
  const auto link = [&](std::size_t to, const char* rel, const char* label) {
    return fmt::format("<a class=\"button\" rel=\"{}\" href=\"{}?{}page={}\">{}</a>\n", rel, place, rest, to,
                       label);
  };
  return fmt::format(
      "<nav class=\"pager\" aria-label=\"Pages of the list\">\n{}<span>Page {} of {}</span>\n{}</nav>\n",
      page > 1 ? link(page - 1, "prev", "Newer") : "", page, pages,
      page < pages ? link(page + 1, "next", "Older") : "");
}

}  // namespace tachproof
