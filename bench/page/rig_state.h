// What can be said of a rig without opening it: which devices it has, whether they are there, who has them.
#pragma once

#include <optional>
#include <string>
#include <vector>

#include "bench/files/files.h"
#include "bench/page/shop.h"
#include "bench/page/tile.h"

namespace tachproof {

// A rig file of the shop, readable or not.
struct ShopRig {
  std::string file;     // relative: "rigs/shed.yaml"
  RigFile rig;          // of a readable one
  std::string trouble;  // why it cannot be read: lines; empty where it can
};
ShopRig shop_rig(const Shop& shop, const std::string& file);

// The device that the source or the watcher opens for itself, as the rig file names it: a path, an address, a
// chip's label. "": none, or whichever is there.
std::string source_device(const RigFile& rig);
std::string watch_device(const RigFile& rig);
std::vector<std::string> devices_of(const RigFile& rig);  // those that there are

// The tile that is at work on this rig, or with a device of it; nothing where none is.
std::optional<TileView> at_work_with(const ShopRig& rig, const Shop& shop,
                                     const std::vector<TileView>& tiles);

struct RigState {
  bool ready = true;   // as far as can be seen without opening anything
  bool taken = false;  // somebody has it
  std::string words;   // "connected", "in use by tachproof, process 4711", "/dev/ttyUSB0 is not there"
};
RigState rig_state(const ShopRig& rig, const Shop& shop, const std::vector<TileView>& tiles);

// Everything that is connected to this computer, as HTML: what `tachproof ports` lists.
std::string connected_html();

}  // namespace tachproof
