// What speaks against the definitions of one van's owner's signals: values that
// cannot be, a current that never moves, answers that never came.
//
// Input     the van's boots and their records, in order of time.
// Output    one judgement for each definition: what is wrong with it, for
//           people, and whether its words may be used.
// Rule      a definition is condemned as a whole: month one, too, when month two
//           shows that it is wrong. A few impossible words among many do not
//           condemn; they are only left out.
// Bounded   256 definitions; a van with more of them is a forgery.
#pragma once
#include <cstdint>
#include <optional>
#include <span>
#include <string>
#include <vector>

#include "card/boot_facts.hpp"
#include "card/record_decoder.hpp"
#include "finding.hpp"
#include "timeline/owners_roles.hpp"
#include "timeline/van_history.hpp"

namespace packmile {

class OwnersJudge {
 public:
  // The boots must outlive the judge.
  explicit OwnersJudge(const std::vector<Boot>& boots);

  void begin_boot(const Boot& boot);
  void add_record(std::span<const BlockView> blocks);
  // In order of ids.
  [[nodiscard]] std::vector<OwnersJudgement> finish();

  // The roles of a boot by what was judged.
  [[nodiscard]] static OwnersRoles roles_of(const Boot& boot,
                                            std::span<const OwnersJudgement> judged);

 private:
  struct Witness {
    OwnersJudgement judgement;
    std::uint64_t impossible = 0;
    double impossible_value = 0;
    std::uint64_t too_large = 0;
    double too_large_value = 0;
    std::int64_t low_steps = 0, high_steps = 0;
    std::int64_t moved_ms = 0;      // while it was answered
    double soc_moved_pct = 0;       // the most in one boot, while it was answered
    std::int64_t asked_for_ms = 0;  // awake time in which it could have been answered
    // The odometer: the last reading that was not a fall, and a fall in doubt.
    std::optional<double> odometer_km;
    bool falling = false;
    std::optional<std::pair<double, double>> fell;  // from, to
    // Of the boot in hand.
    std::optional<Tick> last_tick;
    std::optional<PlausibleRange> soc_pct;
  };

  [[nodiscard]] Witness* witness_of(SignalId id, std::uint32_t ecu);
  void close_boot();
  void observe(Witness& witness, const BlockView& block, std::size_t column);
  void observe_speed(const BlockView& block, std::size_t column, const OwnersDefinition* own);
  void observe_soc(const BlockView& block, std::size_t column, const OwnersDefinition* own);
  void condemn(Witness& witness) const;

  std::vector<Witness> witnesses_;
  const Boot* boot_ = nullptr;
  // Of the boot in hand: its definitions among the witnesses, by id.
  std::array<std::size_t, kMaxOwnersSignals> witness_of_id_{};
  std::optional<Tick> speed_tick_;
  bool was_moving_ = false;
};

}  // namespace packmile
