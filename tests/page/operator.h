// Who works at the bench page: a real browser, the keyboard alone.
#pragma once

#include <string>

#include "tests/page/page_test.h"
#include "tests/page/served_shop.h"

namespace tachproof {

class OperatorTest : public PageTest {
 protected:
  // The tiles of SmallShop's rigs, and a tile in a state, as CSS.
  const std::string first = std::string("#tile-") + first_tile;
  const std::string second = std::string("#tile-") + second_tile;
  static std::string in_state(const std::string& tile, const std::string& state) {
    return tile + "[data-state=" + state + "]";
  }

  // Every look that the page has: narrow and wide, light and dark. Nothing sticks out, nothing is broken for
  // a person who sees or uses it in another way. Pictures go to TACHPROOF_PICTURES, where that is set.
  // `but`: a rule of axe-core that is not asked here.
  void look(const std::string& name, const std::string& but = {});

  void open(const ServedShop& served);
  // As a scanner does.
  void scan(const std::string& serial);
  // By the tabulator key alone, to the field of this tile, of a serial number or an answer; or to something
  // else in it.
  void go_to(const std::string& tile, const std::string& what = ".serial input");
  void expect_no_complaints();

  SmallShop shop;
};

}  // namespace tachproof
