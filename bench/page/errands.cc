#include "bench/page/errands.h"

#include <fmt/format.h>

#include <algorithm>
#include <nlohmann/json.hpp>

#include "bench/files/files.h"
#include "bench/record/summary.h"
#include "bench/record/text.h"
#include "bench/run/stop_request.h"

namespace tachproof {

namespace {

std::string trouble_of(const std::exception& e) {
  std::string lines;
  if (const FileErrors* const of_a_file = dynamic_cast<const FileErrors*>(&e))
    for (const FileError& error : of_a_file->errors)
      lines += (lines.empty() ? "" : "<br>") + escaped(to_line(error));
  else
    lines = escaped(as_sentence(e.what()));
  return fmt::format("<p class=\"trouble\" role=\"alert\">{}</p>\n", lines);
}

}  // namespace

void Errand::changed() {
  ++now_.number;
  feed_->say("state", fmt::format("{{\"number\":{}}}", now_.number));
}

void Errand::phase(const std::string& text) {
  const std::lock_guard lock(mutex_);
  if (now_.phase == text) return;
  now_.phase = text;
  feed_->say("phase", nlohmann::json{{"text", printable(text)}}.dump());
}

std::optional<std::string> Errand::why_stop() const {
  if (stop_) return "it was stopped at the bench page";
  return stop_requested();
}

std::optional<std::string> Errand::ask(const std::string& question) {
  const std::lock_guard lock(mutex_);
  if (given_) {
    now_.question.reset();
    changed();
    return std::exchange(given_, std::nullopt);
  }
  if (now_.question != question) {
    now_.question = question;
    changed();
  }
  return std::nullopt;
}

void Errand::asks_no_more() {
  const std::lock_guard lock(mutex_);
  given_.reset();
  if (!now_.question) return;
  now_.question.reset();
  changed();
}

Errand::View Errand::view() const {
  const std::lock_guard lock(mutex_);
  return now_;
}

bool Errand::is_over_within(std::chrono::milliseconds patience) const {
  std::unique_lock lock(mutex_);
  return over_.wait_for(lock, patience, [this] { return !now_.running; });
}

void Errand::answer(const std::string& text) {
  const std::lock_guard lock(mutex_);
  if (!now_.question) return;
  given_ = text;
}

void Errand::stop() { stop_ = true; }

Errands::~Errands() {
  for (const auto& errand : all_) errand->stop();
  for (const auto& errand : all_)
    if (errand->worker_.joinable()) errand->worker_.join();
}

bool Errands::start(const std::string& key, std::function<std::string(Errand&)> does, std::string page) {
  const std::lock_guard lock(mutex_);
  std::size_t running = 0;
  for (const auto& errand : all_) {
    if (!errand->view().running) continue;
    if (errand->key_ == key || ++running >= most_at_once) return false;
  }
  for (auto old = all_.begin(); old != all_.end();) {
    const bool over = !(*old)->view().running;
    if (over && ((*old)->key_ == key || all_.size() >= most_kept)) {
      (*old)->worker_.join();
      old = all_.erase(old);
    } else {
      ++old;
    }
  }
  auto errand = std::make_shared<Errand>();
  errand->id_ = errand->now_.id = ++started_;
  errand->key_ = key;
  errand->page_ = std::move(page);
  errand->now_.running = true;
  all_.push_back(errand);
  errand->worker_ = std::thread([raw = errand.get(), does = std::move(does)] {
    std::string html;
    bool failed = false;
    try {
      html = does(*raw);
    } catch (const std::exception& e) {
      html = trouble_of(e);
      failed = true;
    }
    const std::lock_guard done(raw->mutex_);
    raw->now_.html = std::move(html);
    raw->now_.failed = failed;
    raw->now_.running = false;
    raw->over_.notify_all();
    raw->changed();
  });
  return true;
}

std::shared_ptr<Errand> Errands::find(const std::string& key) const {
  const std::lock_guard lock(mutex_);
  const auto found =
      std::find_if(all_.rbegin(), all_.rend(), [&](const auto& errand) { return errand->key_ == key; });
  return found == all_.rend() ? nullptr : *found;
}

void Errands::add_routes(Router& router) {
  router.on("GET", "/errands/*/events", [this](const Request& request) {
    const std::lock_guard lock(mutex_);
    Response response;
    for (const auto& errand : all_)
      if (std::to_string(errand->id_) == request.parts[0]) response.feed = errand->feed_;
    return response.feed ? response : not_found("That is over, and its page was left.");
  });
  router.on("POST", "/errands/*/stop", [this](const Request& request) {
    const std::lock_guard lock(mutex_);
    for (const auto& errand : all_)
      if (std::to_string(errand->id_) == request.parts[0]) {
        errand->stop();
        return see_other(errand->page_);
      }
    return not_found("That is over, and its page was left.");
  });
}

std::string errand_html(const Errand::View& errand, const std::string& address) {
  if (!errand.running) return errand.html;
  const auto form = [&](const std::string& what, const std::string& inside) {
    return fmt::format("<form method=\"post\" action=\"{}/{}\">{}</form>\n", escaped(address), what, inside);
  };
  std::string html = fmt::format(
      "<noscript><meta http-equiv=\"refresh\" content=\"2\"></noscript>\n<section data-errand=\"{}\" "
      "data-number=\"{}\">\n",
      errand.id, errand.number);
  if (errand.question)
    html += fmt::format("<p class=\"question\">{}</p>\n<div class=\"keys\">\n", escaped(*errand.question)) +
            form("answer",
                 "<input type=\"hidden\" name=\"answer\" value=\"yes\"><button autofocus>Yes</button>") +
            form("answer", "<input type=\"hidden\" name=\"answer\" value=\"no\"><button>No</button>") +
            "</div>\n";
  else
    html += fmt::format("<p class=\"phase\" role=\"status\">{}</p>\n",
                        errand.phase.empty() ? "It goes on." : escaped(errand.phase));
  return html + form("stop", "<button>Stop</button>") + "</section>\n";
}

}  // namespace tachproof
