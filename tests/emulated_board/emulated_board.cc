#include "tests/emulated_board/emulated_board.h"

#include <algorithm>
#include <array>
#include <cstdarg>
#include <cstdio>
#include <cstdlib>
#include <cstring>
#include <deque>
#include <optional>
#include <stdexcept>
#include <utility>

extern "C" {
#include <sim_avr.h>

#include <avr_ioport.h>
#include <avr_timer.h>
#include <avr_uart.h>
#include <sim_cycle_timers.h>
#include <sim_elf.h>
#include <sim_interrupts.h>
}

#include "bench/firmware/protocol.h"

#ifdef __SANITIZE_ADDRESS__
// The library keeps most of what it allocates, even past avr_terminate.
extern "C" const char* __lsan_default_suppressions() { return "leak:libsimavr"; }
#endif

namespace tachproof {
namespace {

// The core logs through one function for the whole process.
thread_local std::string* complaints_of_this_thread = nullptr;

void log_complaint(avr_t*, const int level, const char* format, va_list arguments) {
  if (level != LOG_ERROR || complaints_of_this_thread == nullptr) return;
  std::array<char, 256> line{};
  std::vsnprintf(line.data(), line.size(), format, arguments);
  *complaints_of_this_thread += line.data();
}

void never_sleep(avr_t*, avr_cycle_count_t) {}

template <typename Part>
Part* find_part(avr_t* avr, const char* kind, char name) {
  for (avr_io_t* io = avr->io_port; io != nullptr; io = io->next) {
    Part* part = reinterpret_cast<Part*>(io);
    if (std::strcmp(io->kind, kind) == 0 && part->name == name) return part;
  }
  throw std::runtime_error(std::string("the emulated chip has no ") + kind + " " + name);
}

constexpr Cycles unit_step = cycles_of(EmulatedBoard::unit_lag);
constexpr Cycles interrupt_entry_cycles = 4;  // ATmega328P data sheet, "Interrupt Response Time"
constexpr Cycles cycles_per_tick = 8;
constexpr int receiver_bytes = 3;  // two buffered, one in the shift register

// Each input's port and bit, in0 first: the wiring of bench/firmware/README.md.
constexpr std::array<std::pair<char, int>, 8> input_pins{
    {{'C', 0}, {'C', 1}, {'C', 2}, {'C', 3}, {'C', 4}, {'C', 5}, {'D', 6}, {'D', 7}}};
constexpr std::array<std::pair<char, int>, 4> output_pins{{{'D', 4}, {'D', 5}, {'B', 5}, {'B', 0}}};

}  // namespace

class EmulatedBoard::Impl {
 public:
  explicit Impl(const std::filesystem::path& elf);
  ~Impl();

  void run_until(Cycles until);
  void reset();
  void send(std::span<const std::uint8_t> bytes);
  std::vector<std::uint8_t> take_sent();
  void schedule_input(const PinLevels& change);
  void apply_inputs(std::uint8_t levels);

  avr_t* avr = nullptr;
  std::string complaints;
  std::vector<LineFault> faults;
  std::unique_ptr<WiredUnit> unit;
  std::vector<PinEdge> tach_edges;
  std::vector<PinLevels> input_changes, output_changes;
  std::uint64_t overrun = 0, to_board_count = 0, to_host_count = 0;

 private:
  void hook_pins();
  void start_timers();
  void start_line();
  void correct_byte_time();
  void to_receiver(std::uint8_t byte);
  std::optional<LineFault> take_fault(LineFault::Direction direction, std::uint64_t byte);
  Cycles next_byte_in(Cycles when);
  Cycles next_inputs(Cycles when);
  void sent_byte(std::uint8_t byte);
  void tach_moved(std::uint32_t value);
  void output_moved(int output, bool level);
  void step_unit(Cycles when);

  avr_irq_t* pin(char port, int bit) {
    return avr_io_getirq(avr, AVR_IOCTL_IOPORT_GETIRQ(port), IOPORT_IRQ_PIN0 + bit);
  }

  avr_uart_t* uart_ = nullptr;
  avr_timer_t* timer_ = nullptr;
  Cycles byte_cycles_ = 0;  // as corrected
  std::deque<std::uint8_t> to_board_;
  Cycles line_free_ = 0;
  std::deque<std::pair<Cycles, std::uint8_t>> to_host_;  // with the end of each byte
  std::deque<PinLevels> inputs_to_come_;
  std::uint8_t inputs_ = 0, outputs_ = 0;
  bool tach_high_ = false;
  std::vector<Nanos> pulses_;  // not yet told to the unit
  std::vector<PinLevels> moved_;

  struct OutputHook {
    Impl* self;
    int output;
  };
  std::array<OutputHook, output_pins.size()> output_hooks_{};
};

EmulatedBoard::Impl::Impl(const std::filesystem::path& elf) {
  avr_global_logger_set(log_complaint);
  complaints_of_this_thread = &complaints;
  elf_firmware_t firmware{};
  if (!std::filesystem::exists(elf) || elf_read_firmware(elf.c_str(), &firmware) != 0) {
    throw std::runtime_error("cannot load the firmware " + elf.string());
  }
  avr = avr_make_mcu_by_name("atmega328p");
  avr_init(avr);
  avr->frequency = board_hz;
  avr_load_firmware(avr, &firmware);
  avr->frequency = board_hz;
  avr->sleep = never_sleep;
  uart_ = find_part<avr_uart_t>(avr, "uart", '0');
  timer_ = find_part<avr_timer_t>(avr, "timer", '1');
  uart_->flags = 0;  // neither echo nor sleep
  hook_pins();
  start_timers();
  apply_inputs(0);  // a pin's first level counts as a change, whatever it is
}

EmulatedBoard::Impl::~Impl() {
  avr_terminate(avr);
  std::free(avr);
}

void EmulatedBoard::Impl::hook_pins() {
  avr_irq_register_notify(
      pin('B', 1),
      [](avr_irq_t*, std::uint32_t value, void* self) { static_cast<Impl*>(self)->tach_moved(value); }, this);
  for (std::size_t i = 0; i < output_pins.size(); ++i) {
    output_hooks_[i] = {this, static_cast<int>(i)};
    avr_irq_register_notify(
        pin(output_pins[i].first, output_pins[i].second),
        [](avr_irq_t*, std::uint32_t value, void* hook) {
          auto* at = static_cast<OutputHook*>(hook);
          at->self->output_moved(at->output, (value & 1) != 0);
        },
        &output_hooks_[i]);
  }
  avr_irq_register_notify(
      avr_io_getirq(avr, AVR_IOCTL_UART_GETIRQ('0'), UART_IRQ_OUTPUT),
      [](avr_irq_t*, std::uint32_t value, void* self) {
        static_cast<Impl*>(self)->sent_byte(static_cast<std::uint8_t>(value));
      },
      this);
  avr_irq_register_notify(
      avr_get_interrupt_irq(avr, AVR_INT_ANY) + AVR_INT_IRQ_RUNNING,
      [](avr_irq_t*, std::uint32_t vector, void* self) {
        if (vector != 0) static_cast<Impl*>(self)->avr->cycle += interrupt_entry_cycles;
      },
      this);
}

// Timers of ours that run by themselves; a reset of the core forgets them.
void EmulatedBoard::Impl::start_timers() {
  avr_cycle_timer_register(
      avr, unit_step,
      [](avr_t*, avr_cycle_count_t when, void* self) -> avr_cycle_count_t {
        static_cast<Impl*>(self)->step_unit(when);
        return when + unit_step;
      },
      this);
}

void EmulatedBoard::Impl::run_until(Cycles until) {
  complaints_of_this_thread = &complaints;
  while (avr->cycle < until) {
    // Asleep, the core would otherwise jump to the next event of its own.
    const avr_cycle_timer_t stop = [](avr_t*, avr_cycle_count_t, void*) -> avr_cycle_count_t { return 0; };
    avr_cycle_timer_register(avr, until - avr->cycle, stop, nullptr);
    while (avr->cycle < until) {
      const int state = avr_run(avr);
      if (state == cpu_Done || state == cpu_Crashed)
        throw std::runtime_error("the emulated board crashed: " + complaints);
      correct_byte_time();
    }
    avr_cycle_timer_cancel(avr, stop, nullptr);
  }
}

// The core counts a bit for parity that 8N1 does not have.
void EmulatedBoard::Impl::correct_byte_time() {
  if (uart_->cycles_per_byte == byte_cycles_) return;
  byte_cycles_ = uart_->cycles_per_byte * 10 / 11;
  uart_->cycles_per_byte = byte_cycles_;
}

std::optional<LineFault> EmulatedBoard::Impl::take_fault(LineFault::Direction direction, std::uint64_t byte) {
  const auto at = std::find_if(faults.begin(), faults.end(), [&](const LineFault& fault) {
    return fault.direction == direction && fault.byte == byte;
  });
  if (at == faults.end()) return std::nullopt;
  const LineFault fault = *at;
  faults.erase(at);
  return fault;
}

namespace {

int waiting_in(const uart_fifo_t& fifo) { return (fifo.write - fifo.read) & (uart_fifo_fifo_size - 1); }

// The byte as it comes out of the damaged line: none, one or two.
std::vector<std::uint8_t> through(const std::optional<LineFault>& fault, std::uint8_t byte) {
  if (!fault) return {byte};
  switch (fault->kind) {
    case LineFault::Kind::flip: return {static_cast<std::uint8_t>(byte ^ (1u << (fault->bit & 7)))};
    case LineFault::Kind::lose: return {};
    case LineFault::Kind::twice: return {byte, byte};
  }
  return {byte};
}

}  // namespace

void EmulatedBoard::Impl::send(std::span<const std::uint8_t> bytes) {
  const bool idle = to_board_.empty();
  for (std::uint8_t byte : bytes) {
    const auto out = through(take_fault(LineFault::Direction::to_board, to_board_count++), byte);
    to_board_.insert(to_board_.end(), out.begin(), out.end());
  }
  if (idle && !to_board_.empty()) start_line();
}

void EmulatedBoard::Impl::start_line() {
  correct_byte_time();
  const Cycles start = std::max(line_free_, avr->cycle + 1);
  avr_cycle_timer_register(
      avr, start - avr->cycle,
      [](avr_t*, avr_cycle_count_t when, void* self) { return static_cast<Impl*>(self)->next_byte_in(when); },
      this);
}

// A byte's start bit. The core hands it to the firmware one byte time later.
Cycles EmulatedBoard::Impl::next_byte_in(Cycles when) {
  to_receiver(to_board_.front());
  to_board_.pop_front();
  line_free_ = when + byte_cycles_;
  return to_board_.empty() ? 0 : line_free_;
}

void EmulatedBoard::Impl::to_receiver(std::uint8_t byte) {
  if (waiting_in(uart_->input) >= receiver_bytes) {
    ++overrun;
    avr_regbit_set(avr, uart_->dor);
    return;
  }
  avr_raise_irq(avr_io_getirq(avr, AVR_IOCTL_UART_GETIRQ('0'), UART_IRQ_INPUT), byte);
}

void EmulatedBoard::Impl::sent_byte(std::uint8_t byte) {
  for (std::uint8_t out : through(take_fault(LineFault::Direction::to_host, to_host_count++), byte)) {
    to_host_.emplace_back(avr->cycle + byte_cycles_, out);
  }
}

std::vector<std::uint8_t> EmulatedBoard::Impl::take_sent() {
  std::vector<std::uint8_t> out;
  while (!to_host_.empty() && to_host_.front().first <= avr->cycle) {
    out.push_back(to_host_.front().second);
    to_host_.pop_front();
  }
  return out;
}

// Called two or three times for one edge; the compare unit's own call comes
// first and is marked as an output.
void EmulatedBoard::Impl::tach_moved(std::uint32_t value) {
  const bool high = (value & 1) != 0;
  if (high == tach_high_) return;
  tach_high_ = high;
  Cycles at = avr->cycle;
  if (value & AVR_IOPORT_OUTPUT) {
    // The core finishes its instruction first; the compare unit does not wait.
    at -= (at - timer_->tov_base) % cycles_per_tick;
    if (high) pulses_.push_back(nanos_of(at));
  }
  tach_edges.push_back({at, high});
}

void EmulatedBoard::Impl::output_moved(int output, bool level) {
  const auto bit = static_cast<std::uint8_t>(1u << output);
  const auto now = static_cast<std::uint8_t>(level ? outputs_ | bit : outputs_ & ~bit);
  if (now == outputs_) return;
  outputs_ = now;
  output_changes.push_back({avr->cycle, now});
  if (unit) unit->outputs(output_changes.back());
}

// The core lets a pull-up win over what drives the pin, and keeps that level when
// the pull-up goes; a driven pin follows its driver.
void EmulatedBoard::Impl::apply_inputs(std::uint8_t levels) {
  for (const char port : {'C', 'D'}) {
    unsigned mask = 0, value = 0;
    for (std::size_t i = 0; i < input_pins.size(); ++i) {
      if (input_pins[i].first != port) continue;
      mask |= 1u << input_pins[i].second;
      if ((levels >> i) & 1) value |= 1u << input_pins[i].second;
    }
    avr_ioport_external_t driven{};
    driven.name = static_cast<unsigned char>(port) & 0x7fu;
    driven.mask = static_cast<std::uint8_t>(mask);
    driven.value = static_cast<std::uint8_t>(value);
    avr_ioctl(avr, AVR_IOCTL_IOPORT_SET_EXTERNAL(port), &driven);
  }
  for (std::size_t i = 0; i < input_pins.size(); ++i) {
    const bool level = ((levels >> i) & 1) != 0;
    avr_raise_irq(pin(input_pins[i].first, input_pins[i].second), level ? 1 : 0);
  }
  inputs_ = levels;
}

void EmulatedBoard::Impl::schedule_input(const PinLevels& change) {
  const auto place = std::upper_bound(inputs_to_come_.begin(), inputs_to_come_.end(), change,
                                      [](const PinLevels& a, const PinLevels& b) { return a.at < b.at; });
  inputs_to_come_.insert(place, change);
  const Cycles first = std::max(inputs_to_come_.front().at, avr->cycle + 1);
  avr_cycle_timer_register(
      avr, first - avr->cycle,
      [](avr_t*, avr_cycle_count_t when, void* self) { return static_cast<Impl*>(self)->next_inputs(when); },
      this);
}

Cycles EmulatedBoard::Impl::next_inputs(Cycles when) {
  while (!inputs_to_come_.empty() && inputs_to_come_.front().at <= when) {
    input_changes.push_back(inputs_to_come_.front());
    apply_inputs(inputs_to_come_.front().levels);
    inputs_to_come_.pop_front();
  }
  return inputs_to_come_.empty() ? 0 : inputs_to_come_.front().at;
}

void EmulatedBoard::Impl::step_unit(Cycles when) {
  if (!unit) {
    pulses_.clear();
    return;
  }
  // An edge at this very instant may not have been heard of yet.
  unit->run(pulses_, nanos_of(when) - 1, moved_);
  pulses_.clear();
  for (PinLevels& change : moved_) {
    change.at += unit_step;
    schedule_input(change);
  }
  moved_.clear();
}

void EmulatedBoard::Impl::reset() {
  if (tach_high_) tach_moved(0);
  for (int output = 0; output < static_cast<int>(output_pins.size()); ++output) output_moved(output, false);
  to_host_.clear();
  avr_reset(avr);
  uart_->flags = 0;
  start_timers();
  if (!to_board_.empty()) start_line();
  // The pins' levels are the world's, but the core forgets them unless they move.
  const std::uint8_t levels = inputs_;
  apply_inputs(static_cast<std::uint8_t>(~levels));
  apply_inputs(levels);
}

EmulatedBoard::EmulatedBoard(const std::filesystem::path& elf) : impl_(std::make_unique<Impl>(elf)) {}
EmulatedBoard::~EmulatedBoard() = default;

Cycles EmulatedBoard::cycle() const { return impl_->avr->cycle; }
void EmulatedBoard::run_until(Cycles until) { impl_->run_until(until); }
void EmulatedBoard::send(std::span<const std::uint8_t> bytes) { impl_->send(bytes); }
std::vector<std::uint8_t> EmulatedBoard::take_sent() { return impl_->take_sent(); }
std::uint64_t EmulatedBoard::bytes_to_board() const { return impl_->to_board_count; }
std::uint64_t EmulatedBoard::bytes_to_host() const { return impl_->to_host_count; }
std::uint64_t EmulatedBoard::bytes_overrun() const { return impl_->overrun; }
void EmulatedBoard::damage(const LineFault& fault) { impl_->faults.push_back(fault); }
void EmulatedBoard::attach(std::unique_ptr<WiredUnit> unit) { impl_->unit = std::move(unit); }
void EmulatedBoard::set_inputs(std::uint8_t levels) {
  impl_->input_changes.push_back({cycle(), levels});
  impl_->apply_inputs(levels);
}
void EmulatedBoard::set_inputs_at(const PinLevels& change) { impl_->schedule_input(change); }
const std::vector<PinEdge>& EmulatedBoard::tach_edges() const { return impl_->tach_edges; }
const std::vector<PinLevels>& EmulatedBoard::input_changes() const { return impl_->input_changes; }
const std::vector<PinLevels>& EmulatedBoard::output_changes() const { return impl_->output_changes; }
void EmulatedBoard::forget_edges() {
  impl_->tach_edges.clear();
  impl_->input_changes.clear();
}
void EmulatedBoard::reset() { impl_->reset(); }
const std::string& EmulatedBoard::complaints() const { return impl_->complaints; }

}  // namespace tachproof
