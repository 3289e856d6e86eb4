// What --help says of each command beside its options.
#pragma once
#include <array>
#include <span>
#include <string_view>

namespace packmile::cli {

struct CommandHelp {
  std::string_view name;
  std::string_view arguments;  // behind the name in the usage line
  std::string_view sentence;
  std::array<std::string_view, 3> examples;
  std::string_view more;  // units, formats, what null means; may be empty
  std::string_view next;  // the command that usually follows
};

inline constexpr std::string_view kRowsMore =
    "--from is included, --to is not, both in the depot's time zone. CSV follows RFC 4180 with LF\n"
    "line ends; CSV and JSON keys are the same and --units does not change them. Each figure x "
    "has\n"
    "x_low and x_high (95 %) and x_scatter (random part alone); unknown is null or empty, with "
    "the\n"
    "reason in x_why. A spreadsheet (xlsx, into -o FILE) has the columns of the CSV, with real\n"
    "dates in the depot's zone, and x_why only where something is unknown.\n";

inline constexpr std::array kCommandHelp{
    CommandHelp{"new",
                "DIR",
                "Makes a depot: the folder that holds one fleet's settings, notes and archive.",
                {"packmile new depot", "packmile new depot --zone Europe/London --currency GBP",
                 "packmile new /srv/vans --zone Europe/Paris --currency EUR"},
                "A folder that is not empty is refused.\n",
                "packmile import CARD... --depot DIR"},
    CommandHelp{
        "card prepare",
        "TARGET --van NAME",
        "Makes a card ready for a logger: its settings and an empty log in one piece.",
        {"packmile card prepare /media/card --van Linden",
         "packmile card prepare linden.img --van Linden --size-mb 256",
         "packmile card prepare /dev/sdb --van Linden --depot depot"},
        "TARGET is a folder where a FAT32 card is mounted (only the log file is added), an image\n"
        "file or a block device (made anew: all that it holds is gone, after the question or\n"
        "--yes). A card with good sectors that the depot's archive does not have is refused.\n"
        "MB are of 1,048,576 bytes; a van-month is 50 to 80 of them.\n"
        "The [[signal]] blocks that the depot's fleet.toml has for this van go into the settings:\n"
        "the logger reads exactly these identifiers beside the standards' own, by service 22.\n"
        "How to write one, and how to check it: hardware-notes/signals.md.\n",
        "packmile check TARGET, after a drive"},
    CommandHelp{
        "card release",
        "TARGET",
        "Says whether every good sector of a card is in the archive; writes nothing.",
        {"packmile card release /media/card", "packmile card release /dev/sdb --depot depot",
         "packmile card release linden.img && packmile card prepare linden.img --van Rowan"},
        "Exit code 3: something on the card is in no archive, or could not be read.\n",
        "packmile card prepare TARGET --van NAME"},
    CommandHelp{
        "check",
        "CARD...",
        "Says what is on a card: sectors, boots, clock, what the van answers by which family "
        "and how often, which questions that settles and what is missing; writes nothing.",
        {"packmile check /media/card", "packmile check PACKMILE.LOG --format json",
         "packmile check card1.img card2.img"},
        "CARD is a mounted folder, a log file, an image of a whole card or a block device.\n"
        "Times are UTC.\n",
        "packmile import CARD..."},
    CommandHelp{
        "import",
        "CARD...",
        "Takes the good sectors of cards into the depot's archive and works out the vans "
        "that changed.",
        {"packmile import /media/card", "packmile import cards/*.log --depot depot",
         "packmile import old.img --pulled-at 2026-03-31T17:00:00Z"},
        "Importing the same card again changes nothing. What there is of a damaged card is\n"
        "taken, the loss is told, and the exit code is 3.\n",
        "packmile trips"},
    CommandHelp{
        "note",
        "--van NAME --date DAY KIND VALUE... | --from FILE.csv | --list",
        "Keeps what only people know: readings, receipts, tyres, work and prices.",
        {"packmile note --van Linden --date 2026-03-02 odometer 24850mi",
         "packmile note --van Linden --date 2026-03-02T18:30 receipt 21.3 9.37 'Corn Exchange'",
         "packmile note --from march.csv"},
        "KIND VALUE... is one of\n"
        "  odometer READING           km; with mi behind it miles: 24850mi\n"
        "  receipt KWH SUM_PAID PLACE kWh, the depot's currency, a word or a few\n"
        "  meter BEFORE AFTER         kWh on the depot's counter\n"
        "  tread WHEEL MM [GAUGE_MM]  fl, fr, rl or rr; the gauge's own error, 0.25 if left out\n"
        "  pad AXLE MM                front or rear; the thinnest, without its plate\n"
        "  job PART SUM [HOURS]       work done, as fleet.toml calls the part; tyre... are tyres\n"
        "  fluid NAME                 it was renewed\n"
        "  tyre_moved FROM TO         wheels; what was measured goes with the tyre\n"
        "  off_road DAYS [SUM]        days without the van from that day on, and what they cost\n"
        "  valuation SUM              what somebody would pay for the van\n"
        "  sold SUM                   what somebody paid\n"
        "  withdrawn                  takes the note of --replaces back\n"
        "DAY is a day, or a time where it matters; without an offset it is the depot's.\n"
        "FILE.csv has the first line van,date,kind,v1,v2,v3,remark; with one mistake in it\n"
        "nothing of it is entered. What was entered before is not entered again. Notes are\n"
        "never changed: a correction is a new note with --replaces and the old one's number.\n",
        "packmile note --list"},
    CommandHelp{
        "sheet",
        "",
        "Prints the form of the monthly walk-round: last values beside empty boxes.",
        {"packmile sheet", "packmile sheet --format html -o sheet.html",
         "packmile sheet --format csv -o march.csv"},
        "Eight vans fill one A4. The CSV comes back, filled in, through packmile note --from\n"
        "march.csv --date DAY: the day is that of lines without one, and lines in which nothing\n"
        "was filled in are passed over. A fluid that was renewed gets its name into v1.\n"
        "Wheels come off the ground on axle stands only. Orange cables are high voltage: leave\n"
        "them to trained, licensed people. Follow the vehicle maker's instructions and local "
        "codes.\n",
        "packmile note --from FILE.csv --date DAY"},
    CommandHelp{"rebuild",
                "",
                "Makes the ledger anew from archive, fleet.toml and notes.",
                {"packmile rebuild", "packmile rebuild --depot depot",
                 "PACKMILE_DEPOT=depot packmile rebuild"},
                "The other commands bring the ledger up to date by themselves.\n",
                "packmile trips"},
    CommandHelp{"trips",
                "",
                "Lists trips: distance, energy, energy per mile, coverage.",
                {"packmile trips", "packmile trips --van Linden --from 2026-03-01 --to 2026-04-01",
                 "packmile trips --format csv -o trips.csv"},
                kRowsMore,
                "packmile sessions"},
    CommandHelp{"sessions",
                "",
                "Lists charge sessions: energy into the pack, power, SoC, place, cost.",
                {"packmile sessions", "packmile sessions --van Linden --format json",
                 "packmile sessions --from 2026-03-01 --to 2026-04-01"},
                kRowsMore,
                "packmile throughput"},
    CommandHelp{"throughput",
                "",
                "Sums what went through each van's pack in a period, one row a van.",
                {"packmile throughput", "packmile throughput --from 2026-03-01 --to 2026-04-01",
                 "packmile throughput --units km --format json"},
                kRowsMore,
                "packmile cost"},
    CommandHelp{"cost",
                "",
                "Adds up what each van cost in a period, in all and by the mile.",
                {"packmile cost", "packmile cost --by month",
                 "packmile cost --from 2026-03-01 --to 2026-04-01 --format json"},
                "Prices come from [[tariff]] and [[place]] of fleet.toml and from receipts; jobs,\n"
                "days off the road and values from notes. There is no price that is not entered:\n"
                "what nobody has told is left out and named. A cost by the mile needs 100 miles\n"
                "between two odometer readings in the period. Notes alone are enough for a van\n"
                "that answers nothing.\n",
                "packmile compare"},
    CommandHelp{"compare",
                "",
                "Compares vans by energy per mile at the same temperature, speed and stops.",
                {"packmile compare", "packmile compare --from 2026-01-01 --to 2026-07-01",
                 "packmile compare --units km --format json"},
                "Vans are told apart only where the interval of their difference does not hold 0; "
                "else\nit says how many more days would do. A van needs 40 drives on 10 days.\n",
                "packmile capacity"},
    CommandHelp{
        "upkeep",
        "",
        "Says what is due on each van, when by its own use, and which rule comes first.",
        {"packmile upkeep", "packmile upkeep --van Linden --units km",
         "packmile upkeep --to 2026-07-01 --format csv -o due.csv"},
        "Parts and limits are the [[part]] blocks of fleet.toml; job and fluid notes with a "
        "part's\n"
        "name are its renewals, tread and pad notes its measurements. --from and --to choose by\n"
        "the likely day: --to 2026-07-01 is all that is due or overdue before July. A day by use\n"
        "needs 14 days of the van's own use. used_share and age_share are of the same part.\n"
        "It informs: the maker's schedule, the law and a competent inspection decide.\n",
        "packmile compare"},
    CommandHelp{
        "capacity",
        "",
        "Says what each pack is told to hold, by method, with what was left out and why.",
        {"packmile capacity", "packmile capacity --van Linden --format csv",
         "packmile capacity --from 2026-03-01 --to 2026-04-01 --format json"},
        "controller_edges and rest_to_rest are Ah of 100 points of the controller's own scale:\n"
        "what it believes in, not what the cells hold. voltage_window is the Ah between two\n"
        "voltages in like charges: it asks the cells, tells a direction and no capacity.\n"
        "Rows of scope re_anchor are changes of the controller's mind. Leave work on the pack\n"
        "to licensed people and follow the vehicle maker's instructions: it is high voltage.\n"
        "--from is included, --to is not. Each figure x has x_low, x_high and x_scatter; unknown\n"
        "is null or empty, with the reason in x_why.\n",
        "packmile fade"},
    CommandHelp{
        "fade",
        "",
        "Says how fast each pack loses capacity by distance, age and use, or why that is not told.",
        {"packmile fade", "packmile fade --van Linden --units km",
         "packmile fade --format json -o fade.json"},
        "A slope needs 12 months, or three calendar months in each of two years. --from and --to\n"
        "choose whole months (UTC); a verdict against the expectation takes the whole record.\n"
        "slope_pct_per_unit is per km, per year and per full cycle; lost capacity is positive.\n"
        "Each figure x has x_low, x_high and x_scatter; unknown is null or empty, with the\n"
        "reason in x_why.\n",
        "packmile capacity --van NAME --format csv"},
    CommandHelp{
        "verdicts",
        "",
        "Lists what each van's words were taken for, and from which evidence.",
        {"packmile verdicts", "packmile verdicts --van Linden --format json",
         "packmile verdicts --from 2026-03-01 --format csv -o verdicts.csv"},
        "Questions: coding, sign and pack_current of the current's word; offset_a of its\n"
        "sensor (taken out of energy where agreed) and gain against a meter; soc_step_pct;\n"
        "speed_rounding (rounded, cut); distance_scale (km of the odometer for each km of\n"
        "the speed). Verdicts: agreed, contradictory, too_little, not_applicable; a value\n"
        "only where agreed. A new segment opens where another software answers otherwise.\n"
        "--from and --to choose by the end of the data that a verdict rests on.\n",
        "packmile throughput"},
    CommandHelp{
        "report",
        "-o FILE",
        "Makes one page to print and act on: what is due, what each van costs, what is not known.",
        {"packmile report -o report.html", "packmile report -o report.xlsx --format xlsx",
         "packmile report -o willow.html --for-buyer --van Willow"},
        "The HTML is one file that opens without a network and prints on A4; with scripts off\n"
        "every finding and table is there. The spreadsheet has one sheet a table. For a buyer:\n"
        "sums by month, no clock times and no places, what was assumed, and the SHA-256 of the\n"
        "raw archive. It informs: the maker's schedule, the law and a competent inspection\n"
        "decide.\n",
        "packmile sheet, for the next walk-round"},
    CommandHelp{
        "samples",
        "CARD...",
        "Writes every sample of cards: raw words as the van sent them, values, units, times.",
        {"packmile samples PACKMILE.LOG -o samples.csv",
         "packmile samples card.img --signal pack_v --signal pack_a",
         "packmile samples card.img --signal soc_pct --format xlsx -o soc.xlsx"},
        "Times are UTC; empty where no clock was read. CSV has LF line ends. A spreadsheet\n"
        "holds 1,048,575 samples: ask for one signal, or for CSV.\n",
        "packmile signals"},
    CommandHelp{"sectors",
                "CARD",
                "Shows one sector of a log: its header, or with --raw its protobuf record.",
                {"packmile sectors PACKMILE.LOG --address 0",
                 "packmile sectors card.img --address 32 --raw > record.bin",
                 "packmile sectors card.img --address 32 --raw | protoc --decode packmile.Record "
                 "proto/packmile.proto"},
                "Addresses count sectors of 512 bytes from the beginning of the log; 0 is the\n"
                "settings sector, 32 the first of the ring.\n",
                "packmile samples CARD"},
    CommandHelp{
        "signals",
        "",
        "Prints the catalogue: what each signal is, and how sure that is.",
        {"packmile signals", "packmile signals --card PACKMILE.LOG --depot depot",
         "packmile signals --format json -o signals.json"},
        "DIDs are those of service 22: F400 + PID for the standard signals, the owner's own\n"
        "for the rest. How to write an owner's signal in fleet.toml, where its definition\n"
        "may come from, and how to check it against the dashboard (SoC on the display,\n"
        "speed on a motorway, the charger's kW, odometer): hardware-notes/signals.md.\n"
        "Never find identifiers by trying them out on a running van.\n",
        "packmile check CARD"},
};

inline constexpr std::string_view kExitCodes =
    "exit codes: 0 done; 1 could not be done; 2 wrong usage; 3 a card needs attention\n";

}  // namespace packmile::cli
