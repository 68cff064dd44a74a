// What `tachproof-camera watch` would say of an emulated board: a unit's lamps on
// its inputs, and the sync lamp on press-1, seen frame by frame as the board's
// time passes.
#pragma once

#include <optional>
#include <string>
#include <vector>

#include "bench/rigs/camera/camera_process.h"
#include "tests/emulated_board/emulated_board.h"

namespace tachproof {

struct FilmedWire {
  unsigned input = 0;
  std::size_t lamp = 0;  // by the regions
  char colour = 'A';     // as the camera's program names it
};

struct Filming {
  double frames_per_s = 30;
  Nanos exposure = 6 * ns_per_ms, readout = 14 * ns_per_ms;
  Nanos delivered_after = 25 * ns_per_ms;
  Nanos begins_at = 1234 * ns_per_s;  // the camera's clock when the board's is 0,
  double fast_ppm = 60;               // and how fast it runs
  int drops_from = -1, drops = 0;     // frames
  int stops_at = -1;
  bool sync_in_view = true;
};

class BoardOnFilm : public CameraLines {
 public:
  // `rows`: where in the picture lamps are, 0 to 1; the sync lamp's last.
  BoardOnFilm(const EmulatedBoard& board, std::vector<FilmedWire> wires, std::vector<double> rows,
              const Filming& filming);

  // Never waits: whoever asks lets the board's time pass.
  std::optional<std::string> line(std::chrono::milliseconds) override;

 private:
  Nanos camera_time(int frame) const;
  Nanos board_time(Nanos camera) const;
  char look(std::size_t lamp, Nanos row_at, std::string& measures) const;

  const EmulatedBoard& board_;
  std::vector<FilmedWire> wires_;
  std::vector<double> rows_;
  Filming filming_;
  std::size_t greeted_ = 0;
  int frame_ = 0;
};

}  // namespace tachproof
