// Recordings that are handed in as noise: kept where they can be read as one, else not at all. Reading a
// large one takes seconds: that is an errand.
#include <fmt/format.h>

#include <algorithm>
#include <atomic>
#include <chrono>
#include <optional>
#include <stdexcept>

#include "bench/commands/noise_source.h"
#include "bench/page/frame.h"
#include "bench/page/gauge_place.h"
#include "bench/page/multipart.h"
#include "bench/page/shop_gauge.h"
#include "bench/page/studies.h"

namespace tachproof {
namespace {

namespace fs = std::filesystem;

constexpr const char* uploads_at = "/deadband/recordings";
constexpr const char* kept_in = "recordings";
constexpr auto quick_upload = std::chrono::milliseconds(150);

struct HandedIn {
  std::string stem, ending, bytes;  // of the file
  std::string gauge, channel = "tach";
};

struct NotTaken {
  unsigned status = 422;
  std::string why;  // a sentence
};

std::string in_small_letters(std::string text) {
  for (char& c : text)
    if (c >= 'A' && c <= 'Z') c = static_cast<char>(c - 'A' + 'a');
  return text;
}

std::variant<HandedIn, NotTaken> handed_in(const Request& request) {
  auto read = parts_of_form(request.content_type, request.body, 8);
  if (const std::string* why = std::get_if<std::string>(&read)) return NotTaken{400, *why};
  const FormPart* file = nullptr;
  HandedIn in;
  for (const FormPart& part : std::get<std::vector<FormPart>>(read)) {
    if (part.name == "recording" && part.is_file && file == nullptr) file = &part;
    if (part.name == "gauge" && !part.is_file) in.gauge = part.body;
    if (part.name == "upload-channel" && !part.is_file && !part.body.empty()) in.channel = part.body;
  }
  if (file == nullptr || file->body.empty())
    return NotTaken{422, "No recording was handed in: choose a file first."};
  const fs::path called(file->file_name);
  in.ending = in_small_letters(called.extension().string());
  const std::vector<std::string>& known = recording_endings();
  if (std::find(known.begin(), known.end(), in.ending) == known.end())
    return NotTaken{422,
                    "'" + file->file_name + "' is no recording by its name: .vcd, .csv and .txt are read."};
  in.stem = file_stem(called.stem().string());
  in.bytes = file->body;
  return in;
}

// The address of the study that it is for.
std::string keep(const Shop& shop, const HandedIn& in, Errand& errand) {
  errand.phase("The recording is being written and read.");
  const std::string kept = write_new_file(shop, kept_in, in.stem, in.ending, in.bytes);
  try {
    load_noise_source((shop.folder() / kept).string(), in.channel, [&] { stop_where_asked(errand); });
  } catch (const std::runtime_error& e) {
    std::error_code ignored;
    fs::remove(shop.folder() / kept, ignored);
    std::string why = e.what();
    if (const std::size_t path = why.find(shop.folder().string()); path != why.npos)
      why.erase(path, shop.folder().string().size() + 1);
    throw std::runtime_error("The recording was not kept. " + why);
  }
  return "/deadband?gauge=" + url_encoded(in.gauge) + "&channel=" + url_encoded(in.channel) +
         "&noise=" + url_encoded(kept);
}

// On to the study, or why not, or how far it is.
Response outcome(const Errand& errand) {
  const Errand::View now = errand.view();
  if (!now.running && !now.failed) return see_other(now.html);
  Response response;
  if (now.failed) response.status = 422;
  const std::string title = "A recording is handed in";
  response.body =
      framed_page("/gauges", title,
                  fmt::format("<h1>{}</h1>\n{}<p><a href=\"/deadband\">How wide a deadband?</a></p>\n", title,
                              errand_html(now, fmt::format("/errands/{}", now.id))));
  return response;
}

// Numbers that no page knows which an earlier server has drawn.
std::uint64_t first_number() {
  return static_cast<std::uint64_t>(std::chrono::system_clock::now().time_since_epoch().count());
}

Response take_recording(const Shop& shop, Errands& errands, std::uint64_t number, const Request& request) {
  auto taken = handed_in(request);
  if (const NotTaken* const no = std::get_if<NotTaken>(&taken)) return refused(no->status, no->why);
  const auto does = [&shop, in = std::move(std::get<HandedIn>(taken))](Errand& errand) {
    return keep(shop, in, errand);
  };
  const std::string address = fmt::format("{}/{}", uploads_at, number);
  if (!errands.start(address, quietly(does), address)) return busy_with_others();
  const std::shared_ptr<Errand> errand = errands.find(address);
  if (!errand || !errand->is_over_within(quick_upload)) return see_other(address);
  return outcome(*errand);
}

}  // namespace

const std::vector<std::string>& recording_endings() {
  static const std::vector<std::string> endings{".vcd", ".csv", ".txt"};
  return endings;
}

void add_gauge_recordings_routes(Router& router, const Shop& shop, const std::shared_ptr<Errands>& errands) {
  const auto numbers = std::make_shared<std::atomic<std::uint64_t>>(first_number());
  router.on("POST", uploads_at, [&shop, errands, numbers](const Request& request) {
    return take_recording(shop, *errands, ++*numbers, request);
  });
  router.on("GET", std::string(uploads_at) + "/*", [errands](const Request& request) {
    const std::shared_ptr<Errand> errand = errands->find(fmt::format("{}/{}", uploads_at, request.parts[0]));
    return errand ? outcome(*errand) : see_other("/deadband");
  });
}

}  // namespace tachproof
