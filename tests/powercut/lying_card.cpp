#include "powercut/lying_card.hpp"

#include <algorithm>

namespace packmile::powercut {
namespace {

std::uint8_t noise_byte(Random& random) { return static_cast<std::uint8_t>(random() >> 40); }

}  // namespace

WriteFate draw_fate(Random& random) {
  return {.fate = static_cast<Fate>(draw(random, 4)),
          .torn_at_byte = draw(random, kSectorBytes + 1),
          .rest = static_cast<Rest>(draw(random, 3))};
}

LyingCard::LyingCard(std::uint32_t sectors, std::uint64_t seed)
    : image_(static_cast<std::size_t>(sectors) * kSectorBytes),
      before_(image_.size()),
      lied_(sectors),
      random_(seed) {}

std::span<std::uint8_t, kSectorBytes> LyingCard::sector(std::uint32_t address) {
  return std::span(image_)
      .subspan(static_cast<std::size_t>(address) * kSectorBytes)
      .first<kSectorBytes>();
}

void LyingCard::power_up(const CardLies& lies) {
  lies_ = lies;
  power_ = true;
  writes_until_cut_ = 0xFFFFFFFF;
  std::fill(lied_.begin(), lied_.end(), std::uint8_t{0});
}

LyingCard::Answer LyingCard::read(std::uint32_t address, Sector& out) {
  if (!power_) return Answer::no_power;
  if (address >= lied_.size()) return Answer::failed;
  // Newest first: the queue answers like the card.
  for (auto write = queue_.rbegin(); write != queue_.rend(); ++write)
    if (write->address == address) {
      out = write->bytes;
      return Answer::done;
    }
  // A place lies from the first read on, every time: 1 unreadable, 2 old.
  if (lies_.unreadable + lies_.old_data != 0 && lied_[address] == 0) {
    const std::uint32_t at = draw(random_, 1000);
    if (at < lies_.unreadable)
      lied_[address] = 1;
    else if (at < lies_.unreadable + lies_.old_data)
      lied_[address] = 2;
  }
  if (lied_[address] == 1) return Answer::failed;
  const std::vector<std::uint8_t>& from = lied_[address] == 2 ? before_ : image_;
  std::copy_n(from.begin() + static_cast<std::ptrdiff_t>(address) * std::ptrdiff_t{kSectorBytes},
              kSectorBytes, out.begin());
  return Answer::done;
}

LyingCard::Answer LyingCard::write(std::uint32_t address,
                                   std::span<const std::uint8_t, kSectorBytes> in) {
  if (!power_) return Answer::no_power;
  if (address >= lied_.size()) return Answer::failed;
  if (lies_.refused != 0 && draw(random_, 1000) < lies_.refused) return Answer::failed;
  queue_.push_back({.address = address});
  std::copy(in.begin(), in.end(), queue_.back().bytes.begin());
  if (writes_until_cut_ == 0) {
    power_ = false;
    return Answer::no_power;
  }
  --writes_until_cut_;
  while (queue_.size() > lies_.queued_writes) do_one();
  return Answer::done;
}

void LyingCard::do_one() {
  const std::size_t at =
      lies_.out_of_order ? draw(random_, static_cast<std::uint32_t>(queue_.size())) : 0;
  const bool no_op = lies_.silent_no_op != 0 && draw(random_, 1000) < lies_.silent_no_op;
  if (!no_op) put(queue_[at].address, queue_[at].bytes);
  queue_.erase(queue_.begin() + static_cast<std::ptrdiff_t>(at));
}

void LyingCard::put(std::uint32_t address, std::span<const std::uint8_t, kSectorBytes> bytes) {
  const auto place = sector(address);
  std::copy(place.begin(), place.end(),
            before_.begin() + static_cast<std::ptrdiff_t>(address) * std::ptrdiff_t{kSectorBytes});
  std::copy(bytes.begin(), bytes.end(), place.begin());
  lied_[address] = 0;  // what is new is read right
}

void LyingCard::meet_fate(const Waiting& write, const WriteFate& fate) {
  const auto place = sector(write.address);
  switch (fate.fate) {
    case Fate::written:
      put(write.address, write.bytes);
      return;
    case Fate::lost:
      return;
    case Fate::noise:
      for (std::uint8_t& byte : place) byte = noise_byte(random_);
      return;
    case Fate::torn:
      break;
  }
  std::copy_n(write.bytes.begin(), fate.torn_at_byte, place.begin());
  const auto rest = place.subspan(fate.torn_at_byte);
  switch (fate.rest) {
    case Rest::old_bytes:
      break;
    case Rest::erased:
      std::fill(rest.begin(), rest.end(), std::uint8_t{0xFF});
      break;
    case Rest::noise:
      for (std::uint8_t& byte : rest) byte = noise_byte(random_);
      break;
  }
}

void LyingCard::cut(std::span<const WriteFate> fates) {
  power_ = false;
  for (std::size_t i = 0; i < queue_.size() && i < fates.size(); ++i)
    meet_fate(queue_[i], fates[i]);
  queue_.clear();
}

void LyingCard::cut() {
  std::vector<WriteFate> fates;
  for (std::size_t i = 0; i < queue_.size(); ++i) fates.push_back(draw_fate(random_));
  cut(fates);
}

void LyingCard::damage_page(std::uint32_t address, PageDamage damage) {
  const std::uint32_t first = address / kPageSectors * kPageSectors;
  for (std::uint32_t a = first; a < first + kPageSectors && a < lied_.size(); ++a) {
    const auto place = sector(a);
    switch (damage) {
      case PageDamage::noise:
        for (std::uint8_t& byte : place) byte = noise_byte(random_);
        break;
      case PageDamage::erased:
        std::fill(place.begin(), place.end(), std::uint8_t{0xFF});
        break;
      case PageDamage::every_other:
        if (a % 2 == 0) std::fill(place.begin(), place.end(), std::uint8_t{0});
        break;
    }
  }
}

}  // namespace packmile::powercut
