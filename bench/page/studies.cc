#include "bench/page/studies.h"

#include <fmt/format.h>
#include <sys/resource.h>
#include <unistd.h>

#include <chrono>
#include <stdexcept>

#include "bench/page/frame.h"
#include "bench/record/text.h"

namespace tachproof {
namespace {

constexpr auto a_moment = std::chrono::milliseconds(150);

// The thread that calls and all that it starts: Linux keeps niceness for each thread. Where it cannot be
// changed the study is as quick as anything else.
void give_way() { setpriority(PRIO_PROCESS, static_cast<id_t>(gettid()), 10); }

std::string with_more(const std::string& address, const std::string& name, const std::string& value) {
  return address + (address.find('?') == address.npos ? "?" : "&") + name + "=" + value;
}

Response study_page(const StudyPage& page, const std::string& body, unsigned status) {
  Response response;
  response.status = status;
  response.body = framed_page(page.place, page.title,
                              fmt::format("<h1>{}</h1>\n{}{}", escaped(page.title), page.above, body));
  return response;
}

}  // namespace

void stop_where_asked(const Errand& errand) {
  if (const std::optional<std::string> why = errand.why_stop())
    throw std::runtime_error("Nothing came of it: " + *why);
}

std::function<std::string(Errand&)> quietly(std::function<std::string(Errand&)> does) {
  return [does = std::move(does)](Errand& errand) {
    give_way();
    return does(errand);
  };
}

Response busy_with_others() {
  return refused(503, "The bench is busy with other long work. Wait until that is done, then try again.");
}

Response study(Errands& errands, const Request& request, const StudyPage& page,
               std::function<std::string(Errand&)> does,
               const std::function<Response(const std::string&)>& shown) {
  std::shared_ptr<Errand> errand = errands.find(page.key);
  const bool anew =
      errand && errand->view().failed && request.query.get("anew") == std::to_string(errand->view().id);
  if (!errand || anew) {
    errands.start(page.key, quietly(std::move(does)), page.address);
    const std::shared_ptr<Errand> before = std::exchange(errand, errands.find(page.key));
    if (!errand || errand == before) return busy_with_others();
    errand->is_over_within(a_moment);
  }
  if (request.query.has("anew")) return see_other(page.address);
  const Errand::View now = errand->view();
  if (now.running) return study_page(page, errand_html(now, fmt::format("/errands/{}", now.id)), 200);
  if (!now.failed) return shown(now.html);
  return study_page(page,
                    now.html + fmt::format("<p><a href=\"{}\">Try again</a></p>\n",
                                           escaped(with_more(page.address, "anew", std::to_string(now.id)))),
                    422);
}

}  // namespace tachproof
