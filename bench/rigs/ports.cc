#include "bench/rigs/ports.h"

#include <fcntl.h>
#include <grp.h>
#include <libserialport.h>
#include <sys/stat.h>
#include <unistd.h>

#include <algorithm>
#include <cerrno>
#include <cstring>
#include <optional>
#include <system_error>

#include <fmt/format.h>

#include "bench/rigs/port_holder.h"
#include "bench/rigs/rig.h"

namespace tachproof {
namespace {

// The group whose members may open it; "" where none may, or none but root's.
std::string group_of(const std::string& device) {
  struct stat about {};
  if (stat(device.c_str(), &about) != 0) return "dialout";
  constexpr mode_t both = S_IRGRP | S_IWGRP;
  const group* owner = getgrgid(about.st_gid);
  return about.st_gid == 0 || (about.st_mode & both) != both || owner == nullptr ? "" : owner->gr_name;
}

std::string text_or_empty(const char* text) { return text != nullptr ? text : ""; }

}  // namespace

std::string no_permission(const std::string& device) {
  const std::string group = group_of(device);
  if (group.empty())
    return "no permission; only root may open it: let an administrator give it to a group by a udev rule "
           "(bench/INSTALLING.md has one)";
  return "no permission; it belongs to the group " + group + ": `sudo usermod -aG " + group +
         " $USER`, then log in again";
}

std::string in_use(const std::string& device) {
  const std::optional<PortHolder> holder = holder_of(device);
  if (!holder) return "another program is using it";
  std::string why = holder->program + " (process " + std::to_string(holder->pid) + ") is using it";
  if (holder->program == "ModemManager") {
    why +=
        "; it probes new ports: wait half a minute, or set ID_MM_DEVICE_IGNORE=1 for the board in a udev "
        "rule";
  } else if (holder->program == "brltty") {
    why += "; it takes the board for a braille display: remove the package brltty, or mask its udev rule";
  }
  return why;
}

std::string why_closed(const std::string& device) {
  if (faccessat(AT_FDCWD, device.c_str(), R_OK | W_OK, AT_EACCESS) != 0)
    return errno == EACCES || errno == EPERM ? no_permission(device) : std::strerror(errno);
  return holder_of(device) ? in_use(device) : "";
}

std::string stable_name(const std::string& device, const std::filesystem::path& by_id) {
  std::error_code error;
  const std::filesystem::path meant = std::filesystem::canonical(device, error);
  std::vector<std::string> names;
  for (std::filesystem::directory_iterator entry(by_id, error), end; !error && entry != end;
       entry.increment(error)) {
    std::error_code dangling;
    if (std::filesystem::canonical(entry->path(), dangling) == meant && !dangling)
      names.push_back(entry->path());
  }
  return names.empty() ? device : *std::min_element(names.begin(), names.end());
}

std::vector<PortFound> ports_present() {
  std::vector<PortFound> out;
  sp_port** list = nullptr;
  if (sp_list_ports(&list) != SP_OK) return out;
  for (sp_port** port = list; *port != nullptr; ++port) {
    PortFound found;
    found.device = text_or_empty(sp_get_port_name(*port));
    found.name = stable_name(found.device);
    found.description = text_or_empty(sp_get_port_description(*port));
    found.manufacturer = text_or_empty(sp_get_port_usb_manufacturer(*port));
    found.serial = text_or_empty(sp_get_port_usb_serial(*port));
    int vendor = 0, product = 0;
    if (sp_get_port_usb_vid_pid(*port, &vendor, &product) == SP_OK)
      found.usb = fmt::format("{:04x}:{:04x}", vendor, product);
    found.closed_because = why_closed(found.device);
    out.push_back(std::move(found));
  }
  sp_free_port_list(list);
  std::sort(out.begin(), out.end(),
            [](const PortFound& a, const PortFound& b) { return a.device < b.device; });
  return out;
}

std::vector<PortFound> instruments_present() {
  std::vector<PortFound> out;
  std::error_code error;
  for (const auto& entry : std::filesystem::directory_iterator("/dev", error)) {
    PortFound found;
    found.name = found.device = entry.path().string();
    if (!entry.path().filename().string().starts_with("usbtmc")) continue;
    found.closed_because = why_closed(found.device);
    out.push_back(std::move(found));
  }
  std::sort(out.begin(), out.end(),
            [](const PortFound& a, const PortFound& b) { return a.device < b.device; });
  return out;
}

std::string only_port_present() {
  const std::vector<PortFound> ports = ports_present();
  if (ports.size() == 1) return ports.front().name;
  if (ports.empty()) throw RigError("looking for the board: no serial port is present");
  std::string names;
  for (const PortFound& port : ports) names += (names.empty() ? "" : ", ") + port.name;
  throw RigError("looking for the board: several ports are present (" + names +
                 "); name the board's as `port:` in the rig file");
}

}  // namespace tachproof
