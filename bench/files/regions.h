// Where a camera sees the lamps of a gauge, and what they look like: written by
// `tachproof teach`, read strictly like every other file.
//
//     format: 1
//     kind: regions
//     frame: {width: 1280, height: 720}
//     dial: {reference: regions-dial.png, within: 12, patches: [[310, 96], ...]}
//     lamps:
//       left:
//         at: {x: 402.5, y: 211.0, radius: 17.0}
//         dark: {core: [0.01, 0.01, 0.012], rim: [0.01, 0.01, 0.011]}
//         colours:
//           white: {core: [0.41, 0.4, 0.42], halo: [0.2, 0.2, 0.21], rim: 0.08}
//     sync: {at: ..., dark: ..., colours: {lit: ...}}        optional: the bench's own lamp
//
// `dial`: a picture of the gauge with its lamps dark, relative to this file, and
// squares of it (left and top edge) by which the camera's position is found
// again; if it has shifted by more than `within` pixels, no lamp is read. Light
// is linear, 1 is a full channel; see core/camera/lamp_colour.h.
#pragma once

#include <array>
#include <filesystem>
#include <optional>
#include <string>
#include <vector>

#include "bench/files/files.h"
#include "core/camera/lamp_colour.h"
#include "core/gauge/gauge.h"

namespace tachproof {

inline constexpr int patch_px = 48;
// The core's and the rim's discs, in radii of `at`.
inline constexpr double rim_from = 1.5, rim_to = 2.1;

struct LampRegion {
  std::string lamp;
  double x = 0, y = 0, radius = 0;
  LampReference looks;
  std::vector<std::string> colours;  // as in looks.colours
  int line = 0, column = 0;
};

struct Regions {
  std::string file;
  int width = 0, height = 0;
  std::string dial_picture;  // path
  double within_px = 0;
  std::vector<std::array<int, 2>> patches;
  std::vector<LampRegion> lamps;
  std::optional<LampRegion> sync;

  // All that is to be looked at, the sync lamp last.
  std::vector<LampRegion> all() const;
};

Regions load_regions(const std::filesystem::path& file);  // throws FileErrors
struct YamlNode;
class ErrorList;
Regions read_regions(const YamlNode& root, const std::filesystem::path& folder, ErrorList& errors);
// The file that reads back as these; dial_picture by its file name alone.
std::string regions_text(const Regions& regions);

// Per region and colour of it, the gauge's channel. Throws FileErrors for a lamp
// or colour that the gauge does not have.
std::vector<std::vector<Channels>> resolve(const Regions& regions, const Gauge& gauge);

}  // namespace tachproof
