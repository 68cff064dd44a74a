#include "bench/rigs/board/board_reference.h"

#include <fmt/format.h>

#include <optional>
#include <stdexcept>

#include "bench/rigs/rig.h"

namespace tachproof {
namespace {

constexpr Nanos ask_every = 100 * ns_per_ms;
constexpr Nanos answer_within = 500 * ns_per_ms;

class Watch {
 public:
  Watch(BoardConnection& board, unsigned input, Nanos lasts) : board_(board), input_(input), lasts_(lasts) {
    board_.on_frame([this](const LinkFrame& frame) { handle(frame); });
  }
  ~Watch() { board_.on_frame({}); }
  Watch(const Watch&) = delete;

  ReferencePulses run(const std::function<void(double, std::size_t)>& progress) {
    board_.send(link_arm, arm_payload(link_min_ticks, static_cast<std::uint8_t>(1u << input_)));
    board_.wait_for([this] { return from_.has_value(); }, answer_within, "did not get ready");
    seen_.from = seen_.until = *from_;
    seen_.stamp_spread = board_.hello().stamp_spread_ns;
    const auto end = seen_.from + static_cast<LinkTicks>(lasts_ / link_tick_ns);
    while (seen_.until < end) {
      board_.send(link_query);
      const Nanos next = board_.now() + ask_every;
      while (board_.now() < next) board_.let_pass(next);
      if (!problem_.empty()) throw RigError("the board on " + board_.port() + " " + problem_);
      if (progress)
        progress(static_cast<double>(seen_.until - seen_.from) * +link_tick_ns / 1e9, seen_.rising.size());
    }
    board_.send(link_stop);
    std::erase_if(seen_.rising, [this](LinkTicks at) { return at > seen_.until; });
    return std::move(seen_);
  }

 private:
  void handle(const LinkFrame& frame) {
    if (frame.type == link_armed) {
      from_ = parse_ticks(frame.payload);
    } else if (const auto lamps = frame.type == link_lamps ? parse_lamps(frame.payload) : std::nullopt) {
      for (const LinkStamp& stamp : lamps->stamps) {
        const bool high = ((stamp.inputs >> input_) & 1) != 0;
        if (high && high_ == false) seen_.rising.push_back(stamp.at);
        high_ = high;
      }
      seen_.lost = lamps->lost;
    } else if (const auto status = frame.type == link_status ? parse_status(frame.payload) : std::nullopt) {
      if (status->flags != 0)
        problem_ = fmt::format("has stopped watching (flags {:#x}): run this again", status->flags);
      seen_.until = status->seen_until;
      seen_.lost = status->lost;
    } else {
      problem_ = fmt::format(
          "sent a message of type {:#x} that this program does not know: flash the firmware that came with "
          "the program",
          frame.type);
    }
  }

  BoardConnection& board_;
  unsigned input_;
  Nanos lasts_;
  std::optional<LinkTicks> from_;
  std::optional<bool> high_;  // unknown before the first stamp
  ReferencePulses seen_;
  std::string problem_;
};

}  // namespace

ReferencePulses watch_reference(BoardConnection& board, unsigned input, Nanos lasts,
                                const std::function<void(double, std::size_t)>& progress) {
  if (input >= board.hello().inputs)
    throw std::invalid_argument(fmt::format("the board has no input in{}", input));
  return Watch(board, input, lasts).run(progress);
}

}  // namespace tachproof
