// The serial ports that are present, and what can be said of them without
// opening any: opening restarts most boards.
#pragma once

#include <filesystem>
#include <string>
#include <vector>

namespace tachproof {

struct PortFound {
  std::string name;    // to put into a rig file; stable where the system knows such a name
  std::string device;  // "/dev/ttyUSB0": another one after the next plugging in
  // What it says of itself; empty where it does not.
  std::string description, manufacturer, serial;
  std::string usb;             // vendor and product, "1a2b:3c4d"
  std::string closed_because;  // a sentence's end with the remedy; empty: it can be opened
};
std::vector<PortFound> ports_present();  // by device name
// USB test-and-measurement devices: what may be a signal generator.
std::vector<PortFound> instruments_present();
// The one that there is. Throws RigError when there is none, or more than one.
std::string only_port_present();

// The name in `by_id` that leads to the device; the device itself where none does.
std::string stable_name(const std::string& device, const std::filesystem::path& by_id = "/dev/serial/by-id");

// Why this user cannot open the device now, with the remedy; empty: can.
std::string why_closed(const std::string& device);
std::string no_permission(const std::string& device);  // names the group
std::string in_use(const std::string& device);         // names the program

}  // namespace tachproof
