// The one table of findings: words for what is doubtful about data or figures.
// They appear in `findings` lists of rows; the text is for people.
#pragma once
#include <array>
#include <cstdint>
#include <string_view>

namespace packmile {

enum class Finding : std::uint8_t {
  frozen_signals,
  soc_against_current,
  held_values,
  gap,
  filled_gap,
  clock_guessed,
  clock_missing,
  clock_before_prepared,
  poll_rate_missed,
  low_coverage,
  odometer_against_speed,
  odometer_fell,
  pack_current_undecided,
  pack_words_not_supported,
  van_unknown,
  van_name_of_another_vin,
  settings_refused,
  head_destroyed,
  sectors_damaged,
  sectors_missing,
  sectors_foreign,
  sectors_misplaced,
  truncated,
  newer_format,
  older_log,
  line_crowded,
  answers_late,
  reset_too_often,
  logger_failed,
  samples_dropped,
  no_data_yet,
  record_malformed,
  time_overlap,
  overwritten,
  van_changed,
  van_told_by_evidence,
  van_not_told,
  definition_broken,
  definition_refused,
  definition_too_short,
  definition_current_constant,
  definition_current_too_large,
  definition_voltage_impossible,
  definition_soc_impossible,
  definition_speed_impossible,
  definition_temperature_impossible,
  definition_odometer_fell,
  order_conflict,
  period_unsure,
  distance_partly_seen,
  ah_out_against_in,
  energy_partly_known,
  charge_unsure,
  soc_re_anchored,
  soc_corrected_while_charging,
  scale_not_confirmed,
  scale_contradicted,
  seasons_show_through,
  voltage_lags
};

struct FindingEntry {
  Finding finding;
  std::string_view word;  // as in rows
  std::string_view text;  // one line for people
};

inline constexpr std::array kFindings{
    FindingEntry{Finding::frozen_signals, "frozen_signals",
                 "speed and pack words stood still while the van moved"},
    FindingEntry{Finding::soc_against_current, "soc_against_current",
                 "state of charge and pack current do not tell the same story"},
    FindingEntry{Finding::held_values, "held_values",
                 "the van repeats old values: it refreshes slower than it is asked"},
    FindingEntry{Finding::gap, "gap", "part of the time was not answered"},
    FindingEntry{Finding::filled_gap, "filled_gap",
                 "a gap was estimated; the estimate is kept apart in filled_kwh"},
    FindingEntry{
        Finding::clock_guessed, "clock_guessed",
        "a boot read no clock, or one that contradicts the order on the card; its place in "
        "time is a guess"},
    FindingEntry{Finding::clock_missing, "clock_missing", "no clock was ever read on this card"},
    FindingEntry{Finding::clock_before_prepared, "clock_before_prepared",
                 "the logger's clock shows times before the card was prepared: one of the two "
                 "clocks is wrong, and every date may be"},
    FindingEntry{Finding::poll_rate_missed, "poll_rate_missed",
                 "answers came more slowly than the schedule asked"},
    FindingEntry{Finding::low_coverage, "low_coverage", "less than half of the time was seen"},
    FindingEntry{Finding::odometer_against_speed, "odometer_against_speed",
                 "odometer and speed differ by more than a tenth"},
    FindingEntry{Finding::odometer_fell, "odometer_fell", "the odometer ran backwards"},
    FindingEntry{Finding::pack_current_undecided, "pack_current_undecided",
                 "which sign of the pack current is discharge is not proven"},
    FindingEntry{Finding::pack_words_not_supported, "pack_words_not_supported",
                 "the van marks its pack voltage or current as not supported"},
    FindingEntry{Finding::van_unknown, "van_unknown", "fleet.toml does not know this van"},
    FindingEntry{Finding::van_name_of_another_vin, "van_name_of_another_vin",
                 "the name in the card's settings belongs to another VIN"},
    FindingEntry{Finding::settings_refused, "settings_refused",
                 "the settings on the card could not be read"},
    FindingEntry{Finding::head_destroyed, "head_destroyed",
                 "the head of the log is damaged; the samples are not"},
    FindingEntry{Finding::sectors_damaged, "sectors_damaged", "sectors with a broken checksum"},
    FindingEntry{Finding::sectors_missing, "sectors_missing",
                 "sectors that were written and are not there"},
    FindingEntry{Finding::sectors_foreign, "sectors_foreign", "sectors that are not ours"},
    FindingEntry{Finding::sectors_misplaced, "sectors_misplaced",
                 "good sectors that lie where they do not belong"},
    FindingEntry{Finding::truncated, "truncated", "the copy is shorter than the log"},
    FindingEntry{Finding::newer_format, "newer_format",
                 "sectors of a newer logger that this program cannot read"},
    FindingEntry{Finding::older_log, "older_log", "sectors of an earlier life of the card"},
    FindingEntry{Finding::line_crowded, "line_crowded",
                 "frames of others crowd the serial line, and answers are lost: set it to a higher "
                 "rate, or use an adapter that filters"},
    FindingEntry{Finding::answers_late, "answers_late",
                 "an ECU takes longer to answer than the standard allows: it is asked less often, "
                 "and what it says is as many ms older"},
    FindingEntry{Finding::reset_too_often, "reset_too_often",
                 "the logger was reset three times in ten minutes and only listened for an hour: "
                 "look at its power and its plug"},
    FindingEntry{Finding::logger_failed, "logger_failed",
                 "the logger itself failed and started anew: keep a copy of the card, and report "
                 "its line `failed` in packmile check together with the logger's version"},
    FindingEntry{Finding::samples_dropped, "samples_dropped",
                 "answers that came while the card was busy and were not kept"},
    FindingEntry{Finding::no_data_yet, "no_data_yet", "a prepared card on which nothing is yet"},
    FindingEntry{Finding::record_malformed, "record_malformed",
                 "good sectors whose record does not follow the format"},
    FindingEntry{Finding::time_overlap, "time_overlap",
                 "two boots claim the same time; the samples of the later one were left out"},
    FindingEntry{Finding::overwritten, "overwritten",
                 "the ring was full: its oldest sectors were overwritten"},
    FindingEntry{Finding::van_changed, "van_changed",
                 "the card was used in more than one van; each has its own rows"},
    FindingEntry{Finding::van_told_by_evidence, "van_told_by_evidence",
                 "the VIN was not read; the van was told by its ECUs, their calibration and the "
                 "odometer"},
    FindingEntry{Finding::van_not_told, "van_not_told",
                 "the VIN was not read and nothing tells for sure which van it was; kept apart"},
    FindingEntry{
        Finding::definition_broken, "definition_broken",
        "the definition of an owner's signal on the card breaks a rule, or is there in two "
        "kinds; it is not used"},
    FindingEntry{Finding::definition_refused, "definition_refused",
                 "the van never answered the identifier of an owner's signal: refused, or silent"},
    FindingEntry{Finding::definition_too_short, "definition_too_short",
                 "the van's answer ends before the bytes of an owner's signal"},
    FindingEntry{
        Finding::definition_current_constant, "definition_current_constant",
        "the owner's signal for the pack current never changes while the van drives or its "
        "state of charge moves; it is not used"},
    FindingEntry{Finding::definition_current_too_large, "definition_current_too_large",
                 "the owner's signal for the pack current goes beyond 3,276.7 A; cut off there"},
    FindingEntry{Finding::definition_voltage_impossible, "definition_voltage_impossible",
                 "the owner's signal for the pack voltage leaves 0 to 1,023 V; it is not used"},
    FindingEntry{Finding::definition_soc_impossible, "definition_soc_impossible",
                 "the owner's signal for the state of charge leaves 0 to 100 %; it is not used"},
    FindingEntry{Finding::definition_speed_impossible, "definition_speed_impossible",
                 "the owner's signal for the speed leaves 0 to 250 km/h; it is not used"},
    FindingEntry{Finding::definition_temperature_impossible, "definition_temperature_impossible",
                 "the owner's signal for the pack temperature leaves -60 to 150 degC; it is not "
                 "used"},
    FindingEntry{Finding::definition_odometer_fell, "definition_odometer_fell",
                 "the owner's signal for the odometer runs backwards; it is not used"},
    FindingEntry{Finding::order_conflict, "order_conflict",
                 "the order on the card contradicts the odometer, or the clocks around it leave no "
                 "room: the interval of its time holds all of them"},
    FindingEntry{Finding::period_unsure, "period_unsure",
                 "its time is not sure enough to tell whether it belongs to the period that was "
                 "asked for"},
    FindingEntry{
        Finding::distance_partly_seen, "distance_partly_seen",
        "less than four fifths of what the odometer gained was seen: the sums are those of "
        "a part, and nothing is to be worked out per month from them"},
    FindingEntry{Finding::ah_out_against_in, "ah_out_against_in",
                 "ampere-hours out of the pack and into it do not match its state of charge: the "
                 "current sensor has an offset, or time is missing"},
    FindingEntry{Finding::energy_partly_known, "energy_partly_known",
                 "the energy of a trip or a charge is not known, and so not in the sums: they are "
                 "of the rest; trips and sessions say why"},
    FindingEntry{Finding::charge_unsure, "charge_unsure",
                 "the state of charge rose in a silence by no more than what a controller may put "
                 "right at rest: perhaps no charge at all"},
    FindingEntry{Finding::soc_re_anchored, "soc_re_anchored",
                 "the controller moved its state of charge without the charge for it"},
    FindingEntry{Finding::soc_corrected_while_charging, "soc_corrected_while_charging",
                 "the controller corrected its state of charge while it charged: the capacity is "
                 "told half as surely"},
    FindingEntry{Finding::scale_not_confirmed, "scale_not_confirmed",
                 "the capacity is by the controller's own scale, which nothing independent "
                 "confirms"},
    FindingEntry{Finding::scale_contradicted, "scale_contradicted",
                 "the cells contradict the controller's own scale"},
    FindingEntry{Finding::seasons_show_through, "seasons_show_through",
                 "below 24 months the seasons may still show through the slope"},
    FindingEntry{Finding::voltage_lags, "voltage_lags",
                 "the pack voltage is told later than the current beside it: what went out is "
                 "shown a little too large, and what came back by braking too small"},
};

// The table is looked up by position.
static_assert([] {
  for (std::size_t i = 0; i < kFindings.size(); ++i)
    if (static_cast<std::size_t>(kFindings[i].finding) != i) return false;
  return true;
}());

constexpr const FindingEntry& entry_of(Finding finding) {
  return kFindings[static_cast<std::size_t>(finding)];
}

}  // namespace packmile
