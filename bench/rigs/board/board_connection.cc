#include "bench/rigs/board/board_connection.h"

#include <fmt/format.h>

#include "bench/rigs/rig.h"

namespace tachproof {
namespace {

constexpr Nanos greet_for = 3500 * ns_per_ms;  // a boot loader takes up to two seconds
constexpr Nanos greet_every = 250 * ns_per_ms;
constexpr Nanos last_answers_within = 100 * ns_per_ms;

}  // namespace

BoardConnection::BoardConnection(const std::string& port, std::unique_ptr<HostClock> clock)
    : clock_(std::move(clock)), port_(io_, port, link_baud) {
  port_.read_into([this](std::span<const std::uint8_t> bytes) { received(bytes); });
  greet();
}

void BoardConnection::greet() {
  greeted_ = false;
  problem_.clear();
  asked_.reset();
  hello_.reset();
  const Nanos start = clock_->now();
  Nanos next = start;
  while (!hello_) {
    const Nanos now = clock_->now();
    if (now >= start + greet_for) {
      throw RigError(
          fmt::format("greeting the board on {}: no answer within {} s; is it the right port, and does the "
                      "board carry the bench's firmware (bench/firmware/README.md)?",
                      port(), to_seconds(greet_for)));
    }
    if (now >= next) {
      // Ends whatever half a frame the board may have been sent before.
      const std::uint8_t end_of_frame = 0;
      port_.write({&end_of_frame, 1});
      sequence_ = 0;
      send(link_ask_hello, ask_hello_payload());
      next = now + greet_every;
    }
    let_pass(next);
  }
  // It may have greeted by itself while a question was on its way.
  for (const Nanos end = clock_->now() + last_answers_within; clock_->now() < end;) let_pass(end);
  greeted_ = true;
  asked_.reset();
  if (hello_->protocol != link_protocol_version) {
    throw RigError(fmt::format(
        "greeting the board on {}: its firmware speaks version {} of the link, and this program speaks "
        "version {}: flash the firmware that came with the program (bench/firmware/README.md)",
        port(), hello_->protocol, +link_protocol_version));
  }
}

void BoardConnection::send(std::uint8_t type, std::span<const std::uint8_t> payload) {
  port_.write(encode({type, sequence_++, {payload.begin(), payload.end()}}));
  const bool answered = type != link_train && type != link_outputs;
  if (answered && !asked_) asked_ = clock_->now();
}

void BoardConnection::let_pass(Nanos until) {
  clock_->let_pass(io_, port_, until);
  if (problem_.empty() && port_.lost()) problem("the board on " + port() + " has been unplugged");
  if (greeted_ && asked_ && clock_->now() - *asked_ > silence_limit)
    problem(fmt::format("the board on {} has been silent for {} s: check its cable, and run again", port(),
                        to_seconds(silence_limit)));
  if (!problem_.empty()) throw RigError(problem_);
}

void BoardConnection::wait_for(const std::function<bool()>& done, Nanos patience, const std::string& what) {
  const Nanos end = clock_->now() + patience;
  while (!done()) {
    if (clock_->now() >= end)
      throw RigError(fmt::format("the board on {} {} within {} s: unplug it, plug it in, and run again",
                                 port(), what, to_seconds(patience)));
    let_pass(end);
  }
}

void BoardConnection::received(std::span<const std::uint8_t> bytes) {
  while (!bytes.empty()) {
    const LinkDecoder::Step step = decoder_.take(bytes);
    bytes = bytes.subspan(step.used);
    if (step.frame) received(*step.frame);
    // Before the greeting a boot loader may have said anything.
    if (step.damaged && greeted_)
      problem("a message from the board on " + port() + " was damaged: check the cable, and run again");
  }
}

void BoardConnection::received(const LinkFrame& frame) {
  if (!greeted_) {
    if (frame.type != link_hello) return;
    if (const std::optional<LinkHello> hello = parse_hello(frame.payload)) hello_ = hello;
    expected_ = static_cast<std::uint8_t>(frame.sequence + 1);
    return;
  }
  if (frame.type == link_hello)
    return problem("the board on " + port() +
                   " has restarted: check its cable and its supply, and run again");
  if (frame.sequence != expected_)
    return problem("a message from the board on " + port() + " was lost: check the cable, and run again");
  ++expected_;
  asked_.reset();
  if (handler_) handler_(frame);
}

void BoardConnection::problem(std::string what) {
  if (problem_.empty()) problem_ = std::move(what);
}

}  // namespace tachproof
