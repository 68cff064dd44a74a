// Rigs: what is connected, and what goes on at it.
#include <fmt/format.h>

#include "bench/page/frame.h"
#include "bench/page/places.h"
#include "bench/record/text.h"

namespace tachproof {

void add_rigs_routes(Router& router, const Shop& shop, std::function<std::vector<TileView>()> tiles) {
  router.on("GET", "/rigs", [&shop, tiles = std::move(tiles)](const Request&) {
    std::string list;
    for (const std::string& file : shop.files("rig")) {
      std::string what = "no job uses it";
      for (const TileView& tile : tiles())
        if (tile.rig == file) what = std::string(word(tile.state));
      list += fmt::format("<li>{}: {}</li>\n", escaped(file), what);
    }
    return plain_text(framed_page("/rigs", "Rigs", "<h1>Rigs</h1>\n<ul>" + list + "</ul>\n"),
                      "text/html; charset=utf-8");
  });
}

}  // namespace tachproof
