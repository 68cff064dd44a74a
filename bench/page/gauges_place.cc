// Gauges: their ladder, their face, and a form.
#include <fmt/format.h>

#include "bench/page/face.h"
#include "bench/page/frame.h"
#include "bench/page/places.h"
#include "bench/record/text.h"

namespace tachproof {

void add_gauges_routes(Router& router, const Shop& shop) {
  router.on("GET", "/gauges", [&shop](const Request&) {
    std::string list;
    for (const std::string& file : shop.files("gauge")) list += fmt::format("<li>{}</li>\n", escaped(file));
    return plain_text(framed_page("/gauges", "Gauges", "<h1>Gauges</h1>\n<ul>" + list + "</ul>\n"),
                      "text/html; charset=utf-8");
  });
}

}  // namespace tachproof
