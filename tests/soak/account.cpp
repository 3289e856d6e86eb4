#include "soak/account.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <tuple>

#include "benchvan/adapter.hpp"
#include "soak/allocations.hpp"

namespace packmile::soak {
namespace {

using benchvan::Answered;
using benchvan::BusFrame;
using benchvan::Nanos;

// What the logger promises about its patience: from a request to the first frame
// of its answer, and after "response pending" (SAE J1979: P2* of 5 s, and some).
constexpr Tick kReplyWithinMs = 150;
constexpr Tick kAfterPendingMs = 5500;
constexpr unsigned kPendingInARow = 10;
// Longest wait for the next consecutive frame (ISO 15765-2, N_Cr).
constexpr Tick kNextFrameMs = 1000;
// An answer is at the port so long after the bus at most: a full queue of lines.
constexpr Nanos kLongestWayNs = benchvan::kNanosPerSecond;
constexpr std::size_t kLongestLine = 30;
// After trouble of the card the logger rests, and has a full sector to write.
constexpr Tick kTroubleLastsMs = 3000;
// A sector closes when its oldest sample is this old, at the latest.
constexpr Tick kSectorLastsMs = 30'000;
constexpr std::size_t kComplaints = 20;

struct Part {
  std::uint16_t signal;
  std::uint8_t first_byte, bytes;
};
struct Pid {
  std::uint8_t pid, bytes;
  std::array<Part, 4> parts{};
};
// SAE J1979 service 01: bytes of data; the signals as FORMAT.md and packmile.proto
// number them. What the bench's ECUs answer and a logger may ask for.
constexpr std::array<Pid, 17> kPids{{{0x01, 4, {{{12, 0, 4}}}},
                                     {0x05, 1, {{{11, 0, 1}}}},
                                     {0x0D, 1, {{{5, 0, 1}}}},
                                     {0x1C, 1, {{{19, 0, 1}}}},
                                     {0x1F, 2, {{{10, 0, 2}}}},
                                     {0x21, 2, {{{17, 0, 2}}}},
                                     {0x30, 1, {{{20, 0, 1}}}},
                                     {0x31, 2, {{{13, 0, 2}}}},
                                     {0x33, 1, {{{14, 0, 1}}}},
                                     {0x42, 2, {{{9, 0, 2}}}},
                                     {0x46, 1, {{{8, 0, 1}}}},
                                     {0x4D, 2, {{{18, 0, 2}}}},
                                     {0x4E, 2, {{{15, 0, 2}}}},
                                     {0x51, 1, {{{16, 0, 1}}}},
                                     {0x5B, 1, {{{6, 0, 1}}}},
                                     {0x9A, 6, {{{3, 0, 1}, {4, 1, 1}, {1, 2, 2}, {2, 4, 2}}}},
                                     {0xA6, 4, {{{7, 0, 4}}}}}};

// Lines of an adapter that mean something (slcan), without their end.
bool means_something(std::string_view line) {
  const auto digits = [](std::string_view text, const char* allowed) {
    return text.find_first_not_of(allowed) == std::string_view::npos;
  };
  constexpr char kHex[] = "0123456789ABCDEFabcdef";
  if (line.size() > kLongestLine) return false;
  if (line.empty() || line == "z" || line == "Z") return true;
  switch (line[0]) {
    case 'F':
      return line.size() == 3 && digits(line.substr(1), kHex);
    case 'V':
    case 'N':
      return line.size() == 5;
    case 's':
      return line.size() == 8 && std::string_view("awpb").find(line[1]) != std::string_view::npos &&
             digits(line.substr(2), "0123456789");
    case 'e':
      return line.size() >= 3 && line.size() == 2u + static_cast<std::size_t>(line[1] - '0') &&
             digits(line.substr(2), "abBcfoOs");
    default:
      return benchvan::read_frame_line(line).has_value();
  }
}

bool is_tester(const BusFrame& frame) {
  if (frame.extended) return frame.id == 0x18DB33F1 || (frame.id & 0xFFFF00FF) == 0x18DA00F1;
  return frame.id == 0x7DF || (frame.id >= 0x7E0 && frame.id <= 0x7E7);
}
bool is_answer(const BusFrame& frame) {
  if (frame.extended) return (frame.id & 0xFFFFFF00) == 0x18DAF100;
  return frame.id >= 0x7E8 && frame.id <= 0x7EF;
}
// 0: asked of all.
std::uint32_t answered_by(const BusFrame& request) {
  if (request.id == 0x7DF || request.id == 0x18DB33F1) return 0;
  if (request.extended) return 0x18DAF100 | (request.id >> 8 & 0xFF);
  return request.id + 8;
}

}  // namespace

const char* name_of(Fate fate) {
  switch (fate) {
    case Fate::on_card:
      return "on the card, same word, same tick";
    case Fate::broken:
      return "sent with a wrong sequence number or length";
    case Fate::unheard:
      return "the adapter was closed or off its rate";
    case Fate::cut:
      return "half a line was lost on its way";
    case Fate::crowded:
      return "the adapter's queue was full";
    case Fate::late:
      return "came when the request was given up";
    case Fate::too_long:
      return "after more than 10 times response pending";
    case Fate::closed:
      return "came when the adapter was being closed";
    case Fate::other_tester:
      return "the same, because of another tester";
    case Fate::no_logger:
      return "the logger was stopped or off";
    case Fate::card_busy:
      return "the card was busy for too long";
    case Fate::power_cut:
      return "not yet written when the power was cut";
    case Fate::unexplained:
      return "UNEXPLAINED";
  }
  return "";
}

Words words_of_answer(std::span<const std::uint8_t> message) {
  Words words;
  if (message.size() < 3 || message[0] != 0x41) return words;
  std::span<const std::uint8_t> rest = message.subspan(1);
  while (rest.size() > 1) {
    const auto* known = std::find_if(kPids.begin(), kPids.end(),
                                     [&](const Pid& one) { return one.pid == rest[0]; });
    if (known == kPids.end() || rest.size() < 1u + known->bytes) break;
    words.pids.push_back(rest[0]);
    for (const Part& part : known->parts) {
      if (part.bytes == 0) break;
      std::uint32_t raw = 0;
      for (std::size_t i = 0; i < part.bytes; ++i) raw = raw << 8 | rest[1u + part.first_byte + i];
      words.samples.push_back({part.signal, raw});
    }
    rest = rest.subspan(1u + known->bytes);
  }
  return words;
}

void Account::complain(const std::string& words) {
  if (totals_.wrong.size() < kComplaints)
    totals_.wrong.push_back(fmt::format("boot {}: {}", totals_.boots, words));
}

void Account::tally(Fate fate, std::uint64_t samples) {
  totals_.samples[static_cast<std::size_t>(fate)] += samples;
  ++totals_.answers[static_cast<std::size_t>(fate)];
  ++boot_answers_[static_cast<std::size_t>(fate)];
}

void Account::on_answer(const Answered& answer) {
  const Words words = words_of_answer(answer.payload.bytes());
  if (words.samples.empty()) return;
  totals_.answered_samples += words.samples.size();
  if (!running_ || (stopping_ && !answer.reaches_host())) {
    tally(Fate::no_logger, words.samples.size());
    return;
  }
  if (answer.reaches_host()) {
    give_up_before(answer.last_ns - kLongestWayNs);
    on_their_way_.push_back(answer);
    return;
  }
  Fate fate = answer.unheard   ? Fate::unheard
              : answer.cut     ? Fate::cut
              : answer.crowded ? Fate::crowded
                               : Fate::broken;
  // Closed by the logger itself.
  if ((answer.unheard || answer.broken) && question_ && !question_->open &&
      (question_->fate == Fate::other_tester || question_->fate == Fate::closed))
    fate = question_->fate;
  tally(fate, words.samples.size());
}

void Account::core_begins() { core_depth_allocations_ = allocations(); }
void Account::core_ends() { totals_.allocations += allocations() - core_depth_allocations_; }

void Account::begin_boot(Nanos power_up_ns) {
  power_up_ns_ = power_up_ns;
  ++totals_.boots;
  stopping_ = false;
  running_ = true;
  to_core_line_.clear();
  from_core_line_.clear();
  joining_.clear();
  question_.reset();
  tester_heard_at_.reset();
  interruptions_.clear();
  spoiled_while_stopping_ = 0;
  last_dropped_ = 0;
  samples_.clear();
  boot_spoiled_ = 0;
  boot_answers_ = {};
  trouble_over_at_ = 0;
}

void Account::card_in_trouble(bool trouble) { card_trouble_ = trouble; }

void Account::to_core(Tick now, std::span<const std::uint8_t> bytes) {
  if (card_trouble_) trouble_over_at_ = now + kTroubleLastsMs;
  for (const std::uint8_t byte : bytes) {
    if (byte != '\r' && byte != '\a') {
      to_core_line_ += static_cast<char>(byte);
      continue;
    }
    on_port_line(now, to_core_line_);
    to_core_line_.clear();
  }
}

void Account::on_port_line(Tick now, std::string_view line) {
  if (!means_something(line)) {
    ++boot_spoiled_;
    if (stopping_) ++spoiled_while_stopping_;
    return;
  }
  if (line.empty() || std::string_view("tT").find(line[0]) == std::string_view::npos) return;
  if (const std::optional<BusFrame> frame = benchvan::read_frame_line(line))
    on_port_frame(now, *frame);
}

void Account::on_port_frame(Tick now, const BusFrame& frame) {
  if (is_tester(frame)) tester_heard_at_ = now;
  if (!is_answer(frame) || frame.length == 0) return;
  Joining& it = joining_[frame.id];
  const std::uint8_t type = frame.data[0] >> 4;
  std::size_t from = 1;
  // The answer to another tester's question, right into ours.
  if (type <= 1 && it.collecting)
    interruptions_.push_back(
        {power_up_ns_ + static_cast<Nanos>(now) * benchvan::kNanosPerMs, frame.id});
  if (type == 0) {
    it = {.total = frame.data[0], .first = now};
    if (it.total == 0 || it.total + 1 > frame.length) return;
  } else if (type == 1 && frame.length == 8) {
    it = {.total = (frame.data[0] & 0x0Fu) << 8 | frame.data[1],
          .next = 1,
          .collecting = true,
          .first = now};
    from = 2;
  } else if (type == 2 && it.collecting && now - it.last <= kNextFrameMs) {
    if ((frame.data[0] & 0x0F) != it.next) {
      it.collecting = false;
      return;
    }
    it.next = (it.next + 1) & 0x0F;
  } else {
    return;
  }
  it.last = now;
  for (std::size_t i = from; i < frame.length && it.payload.size() < it.total; ++i)
    it.payload.put(frame.data[i]);
  if (it.payload.size() < it.total) return;
  it.collecting = false;
  on_port_message(frame.id, it);
}

// What is not at the port by now never will be.
void Account::give_up_before(Nanos at_ns) {
  while (!on_their_way_.empty() && on_their_way_.front().last_ns < at_ns) {
    const Answered one = on_their_way_.front();
    on_their_way_.pop_front();
    const bool interrupted =
        std::any_of(interruptions_.begin(), interruptions_.end(), [&](const Interruption& other) {
          return other.ecu == one.response_id && other.at_ns > one.first_ns &&
                 other.at_ns <= one.last_ns + kLongestWayNs;
        });
    tally(interrupted ? Fate::other_tester : Fate::unexplained,
          words_of_answer(one.payload.bytes()).samples.size());
    if (!interrupted)
      complain(fmt::format("{:X} answered at {:.3f} s of the bench, and nothing came to the port",
                           one.response_id, benchvan::seconds_of(one.last_ns)));
  }
}

bool Account::was_sent(std::uint32_t ecu, const Joining& message) {
  const auto whole = message.payload.bytes();
  for (auto one = on_their_way_.begin(); one != on_their_way_.end(); ++one) {
    const auto sent = one->payload.bytes();
    // A fault makes a single frame claim one byte too many.
    if (one->response_id != ecu || sent.size() > whole.size() || whole.size() > sent.size() + 1 ||
        !std::equal(sent.begin(), sent.end(), whole.begin()))
      continue;
    const Nanos way_ns =
        power_up_ns_ + static_cast<Nanos>(message.last + 1) * benchvan::kNanosPerMs - one->last_ns;
    totals_.longest_way_ns = std::max(totals_.longest_way_ns, way_ns);
    if (way_ns < 0 || way_ns > kLongestWayNs) complain("an answer that was too long on its way");
    on_their_way_.erase(one);
    return true;
  }
  return false;
}

void Account::on_port_message(std::uint32_t ecu, const Joining& message) {
  const auto bytes = message.payload.bytes();
  if (bytes.size() == 3 && bytes[0] == 0x7F && bytes[2] == 0x78 && question_ && question_->open &&
      question_->ecu == ecu) {
    if (message.first >= question_->until) return;  // announced too late: given up before
    question_->until = message.last + kAfterPendingMs;
    if (++question_->pending > kPendingInARow) {
      question_->open = false;
      question_->fate = Fate::too_long;
    }
    return;
  }
  const Words words = words_of_answer(bytes);
  if (words.samples.empty()) return;
  if (!was_sent(ecu, message)) {
    ++totals_.never_sent;
    return;
  }
  const Fate fate = fate_if_missing(ecu, message, words.pids);
  bool first = true;
  for (const Words::One& one : words.samples) {
    samples_.push_back({.tick = message.first,
                        .ecu = ecu,
                        .raw = one.raw,
                        .signal = one.signal,
                        .fate = fate,
                        .first = first,
                        .card_trouble = card_trouble_ || message.last < trouble_over_at_});
    first = false;
  }
}

// Why the logger need not keep this answer; unexplained: it must.
Fate Account::fate_if_missing(std::uint32_t ecu, const Joining& message,
                              std::span<const std::uint8_t> pids) {
  if (stopping_) return Fate::no_logger;
  if (!question_) return Fate::no_logger;  // asked by the boot before
  Question& it = *question_;
  const bool asked = it.ecu == ecu && std::any_of(pids.begin(), pids.end(), [&](std::uint8_t pid) {
                       return std::find(it.pids.begin(), it.pids.end(), pid) != it.pids.end();
                     });
  if (!asked) return Fate::late;
  if (!it.open) return it.fate;
  // The deadline itself is too late: time comes before bytes of a later moment.
  if (message.first >= it.until) return Fate::late;
  it.open = false;
  return Fate::unexplained;
}

void Account::from_core(Tick now, std::span<const std::uint8_t> bytes) {
  for (const std::uint8_t byte : bytes) {
    if (byte != '\r') {
      from_core_line_ += static_cast<char>(byte);
      continue;
    }
    on_own_line(now, from_core_line_);
    from_core_line_.clear();
  }
}

void Account::on_own_line(Tick now, std::string_view line) {
  if (line == "C" && question_ && question_->open) {
    question_->open = false;
    question_->fate =
        tester_heard_at_ && *tester_heard_at_ == now ? Fate::other_tester : Fate::closed;
  }
  const std::optional<BusFrame> frame = benchvan::read_frame_line(line);
  if (!frame || frame->data[0] > 7) return;  // flow control asks for nothing
  question_ = Question{.sent = now,
                       .until = now + kReplyWithinMs,
                       .ecu = answered_by(*frame),
                       .open = true};
  if (frame->data[1] == 0x01)
    question_->pids.assign(frame->data.begin() + 2, frame->data.begin() + 1 + frame->data[0]);
}

void Account::compare(const BootEnd& end, std::vector<CardSample>& on_card) {
  const auto key = [](const auto& one) { return std::tie(one.tick, one.ecu, one.signal, one.raw); };
  const auto before = [&](const auto& a, const auto& b) { return key(a) < key(b); };
  std::sort(samples_.begin(), samples_.end(), before);
  std::sort(on_card.begin(), on_card.end(), before);
  const Tick newest = on_card.empty() ? 0 : on_card.back().tick;
  std::size_t at = 0;
  for (const Sample& one : samples_) {
    while (at < on_card.size() && before(on_card[at], one)) {
      const CardSample& made_up = on_card[at++];
      ++totals_.invented;
      complain(
          fmt::format("on the card and never answered: tick {}, ECU {:X}, signal {}, word {:X}",
                      made_up.tick, made_up.ecu, made_up.signal, made_up.raw));
    }
    Fate fate = one.fate;
    if (at < on_card.size() && key(on_card[at]) == key(one)) {
      ++at;
      fate = Fate::on_card;
    } else if (fate == Fate::unexplained && end.power_cut &&
               (on_card.empty() || one.tick > newest)) {
      fate = Fate::power_cut;
    } else if (fate == Fate::unexplained && one.card_trouble) {
      fate = Fate::card_busy;
      last_dropped_ = one.tick;
    }
    if (fate == Fate::unexplained)
      complain(
          fmt::format("answered, whole at the port, not on the card: tick {}, ECU {:X}, "
                      "signal {}, word {:X}",
                      one.tick, one.ecu, one.signal, one.raw));
    ++totals_.samples[static_cast<std::size_t>(fate)];
    if (!one.first) continue;
    ++totals_.answers[static_cast<std::size_t>(fate)];
    ++boot_answers_[static_cast<std::size_t>(fate)];
  }
  for (; at < on_card.size(); ++at) {
    ++totals_.invented;
    complain(fmt::format("on the card and never answered: tick {}, ECU {:X}, signal {}, word {:X}",
                         on_card[at].tick, on_card[at].ecu, on_card[at].signal, on_card[at].raw));
  }
}

void Account::check_counters(const BootEnd& end, const CardBoot& boot) {
  const LoggerCounters& c = end.counters;
  const auto answers = [&](std::initializer_list<Fate> fates) {
    std::uint64_t sum = 0;
    for (const Fate fate : fates) sum += boot_answers_[static_cast<std::size_t>(fate)];
    return sum;
  };
  // The last request may still have had time when the boot ended.
  const std::uint64_t open = question_ && question_->open ? 1 : 0;
  const auto covered = [&](const char* counter, std::uint64_t counted, std::uint64_t seen) {
    if (seen > counted + open)
      complain(fmt::format("{} lost, {} counted by {}", seen, counted, counter));
  };
  covered(
      "timeouts", c.timeouts,
      answers({Fate::broken, Fate::unheard, Fate::cut, Fate::crowded, Fate::late, Fate::closed}));
  covered("isotp_dropped", c.isotp_dropped, answers({Fate::broken}));
  covered("lines_discarded", c.lines_discarded, answers({Fate::cut}) > 0 ? 1 : 0);
  covered("foreign_tester_events", c.foreign_tester_events, answers({Fate::other_tester}));
  covered("pending_responses", c.pending_responses,
          answers({Fate::too_long}) * (kPendingInARow + 1));
  if (boot_spoiled_ != c.lines_discarded)
    complain(
        fmt::format("{} lines that mean nothing, {} counted", boot_spoiled_, c.lines_discarded));
  if (boot.clean_stop == end.power_cut && boot.sectors > 0)
    complain("the card does not say how the boot ended");
  if (end.power_cut || !boot.has_counters) return;
  // The last record of a boot that was stopped has its last counters.
  const auto same = [&](const char* counter, std::uint64_t card, std::uint64_t core) {
    if (card != core) complain(fmt::format("{}: {} on the card, {} counted", counter, card, core));
  };
  same("timeouts", boot.timeouts, c.timeouts);
  same("isotp_dropped", boot.isotp_dropped, c.isotp_dropped);
  // Lines may come when the last record is already written.
  if (boot.lines_discarded + spoiled_while_stopping_ < c.lines_discarded)
    same("lines_discarded", boot.lines_discarded, c.lines_discarded);
  same("foreign_tester_events", boot.foreign_tester_events, c.foreign_tester_events);
  same("pending_responses", boot.pending_responses, c.pending_responses);
  same("dropped_samples", boot.counted_dropped, c.dropped_samples);
}

void Account::end_boot(const BootEnd& end) {
  CardBoot boot = card_.read_boot();
  if (!boot.trouble.empty()) complain(boot.trouble);
  totals_.sectors += boot.sectors;
  totals_.cuts += end.power_cut ? 1 : 0;
  const auto busy = static_cast<std::size_t>(Fate::card_busy);
  const std::uint64_t busy_before = totals_.samples[busy];
  compare(end, boot.samples);
  const std::uint64_t dropped = totals_.samples[busy] - busy_before;
  if (end.power_cut ? dropped > end.counters.dropped_samples
                    : dropped != end.counters.dropped_samples)
    complain(fmt::format("{} samples lost to the card, {} counted", dropped,
                         end.counters.dropped_samples));
  // Told in the sector that begins next: nothing may have come after them.
  const std::uint64_t told = boot.dropped_samples;
  const bool sector_since =
      !boot.samples.empty() && boot.samples.back().tick > last_dropped_ + kSectorLastsMs;
  // Without power, what was dropped at the very end is part of what was cut off.
  const std::uint64_t to_tell = end.power_cut ? dropped : end.counters.dropped_samples;
  if (told > end.counters.dropped_samples || (told < to_tell && sector_since))
    complain(fmt::format("{} samples lost to the card, {} told by the sectors",
                         end.counters.dropped_samples, told));
  check_counters(end, boot);
  totals_.spoiled_lines += boot_spoiled_;
  totals_.discarded_lines += end.counters.lines_discarded;
  samples_.clear();
  running_ = false;
  give_up_before(end.at_ns - kLongestWayNs);
  // What is still on its way finds no logger.
  for (const Answered& one : on_their_way_)
    tally(Fate::no_logger, words_of_answer(one.payload.bytes()).samples.size());
  on_their_way_.clear();
}

const Totals& Account::close() {
  std::uint64_t accounted = 0;
  for (const std::uint64_t one : totals_.samples) accounted += one;
  if (accounted != totals_.answered_samples)
    complain(
        fmt::format("{} samples answered, {} accounted for", totals_.answered_samples, accounted));
  if (totals_.never_sent > 0)
    complain(fmt::format("{} answers at the port that no ECU sent", totals_.never_sent));
  if (totals_.allocations > 0)
    complain(fmt::format("the core allocated memory {} times", totals_.allocations));
  return totals_;
}

}  // namespace packmile::soak
