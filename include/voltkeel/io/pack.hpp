#pragma once
/// \file pack.hpp
/// A pack on a desktop: modules, strings, what joins and guards them, and what is measured. It is
/// what a `pack.json` holds. Units and signs as in voltkeel/units.hpp.
///
/// Cells in parallel make a group with one voltage; groups in series make a module; modules in
/// series make a string; strings in parallel, each behind a contactor of its own, make the pack.
/// Strings, groups of a string and cells of a group are counted from 0, groups from the negative
/// end.

#include <limits>
#include <optional>
#include <string>
#include <vector>

#include "voltkeel/io/cell.hpp"
#include "voltkeel/pack/layout.hpp"
#include "voltkeel/pack/precharge.hpp"

namespace voltkeel {

/// One kind of module. The resistances are those between the cells' terminals and the next part: a
/// cell file measured at the cell's terminals knows nothing of them.
struct PackModule {
    std::string name;
    std::string cell_file;       ///< Path from the folder of the pack file, as the file writes it.
    Cell cell;                   ///< Content of `cell_file`.
    PackLayout<double> layout;   ///< Groups in series and cells in parallel.
    double cell_link_ohm{0};     ///< Of each cell to its group: welds, wires, a cell fuse.
    double interconnect_ohm{0};  ///< Between two groups of the module.
    double group_link_W_per_K{0};  ///< Heat from case to case between neighbouring groups.
    double cell_link_W_per_K{0};  ///< Heat from case to case between neighbouring cells of a group.
};

/// What opens and closes a string.
struct Contactor {
    double resistance_ohm{0};
    double current_A{std::numeric_limits<double>::infinity()};  ///< Continuous rating.
    double voltage_V{std::numeric_limits<double>::infinity()};  ///< Rating; the string stays below.
    double making_current_A{std::numeric_limits<double>::infinity()};  ///< Most it may close on.
    bool closed{true};                                                 ///< At the start.
};

/// What opens a string once and for all. Its element is one mass that the current heats and that
/// cools towards its surroundings:
///
///     dw/dt = ((I / rating)^2 - w) / tau     tau = I2t / rating^2     open at w = 1
///
/// so that it carries its rating for ever, and opens after the I2t of its maker where that takes
/// no time to cool (own derivation from the heat balance of one mass; the adiabatic limit is what
/// makers call melting or pre-arcing I2t). A real fuse carries somewhat more than its rating for
/// hours and has slower parts besides: between, it opens later than told here.
struct Fuse {
    double resistance_ohm{0};
    double current_A{std::numeric_limits<double>::infinity()};  ///< Continuous rating.
    /// I2t of the maker at short times. 0: 20 s times the square of the rating, which opens within
    /// 0.6 s at 6 times the rating and within 0.1 s at 15 times, as general-purpose fuses of 100 A
    /// do (common practice; gates of IEC 60269-1 from memory, not re-read).
    double i2t_A2s{0};
};

/// Time constant of a fuse's element, in s. \param fuse with a rating
[[nodiscard]] double fuse_time_constant_s(const Fuse& fuse);

/// Time after which a cold fuse opens at a held current; infinite at its rating and below.
/// \param current_A its sign does not matter
[[nodiscard]] double fuse_opening_time_s(const Fuse& fuse, double current_A);

/// Modules in series.
struct PackString {
    std::string name;
    std::vector<std::string> modules;  ///< Names of kinds, from the negative end.
    double busbar_ohm{0};              ///< All busbars and cables of the string together.
    double module_link_W_per_K{0};     ///< Heat from case to case between neighbouring modules.
    Contactor contactor;
    Fuse fuse;
};

/// What a channel measures.
enum class ChannelQuantity {
    pack_current,
    pack_voltage,
    string_current,
    string_voltage,
    group_voltage,
    case_temperature,     ///< On the case of a cell.
    ambient_temperature,  ///< Of the surroundings.
};

/// A measuring channel: what it measures and how often.
struct Channel {
    std::string name;
    ChannelQuantity quantity{ChannelQuantity::pack_voltage};
    std::string string;    ///< Name of the string; empty for quantities of the pack.
    int first_group{0};    ///< For groups and cells: where the channel starts.
    int group_count{1};    ///< Groups the channel goes through, one value each.
    int cell{0};           ///< Cell of the group, for temperatures.
    double interval_s{1};  ///< From one value to the next.
    double offset_s{0};    ///< Time of the first value.
};

/// Bleed resistors, one for every group.
struct BleedResistors {
    double resistance_ohm{33};
    double duty{1};  ///< Largest share of time that a switched-on resistor conducts.
    /// Share of its heat that warms the cells of its group, evenly, at their cases; the rest leaves
    /// the pack, past air and coolant of a cooling model. The default is common practice, without a
    /// source: a board on the lid of a module loses most of its heat to the air around it, some
    /// through leads and fixings into the module. On boards potted onto the cells it is near 1.
    double heat_to_cells{0.3};
};

/// A pack: everything its file holds, and the cells that it points to.
struct Pack {
    std::string name;
    std::vector<PackModule> modules;  ///< Kinds, each with a name of its own.
    std::vector<PackString> strings;  ///< In parallel.
    double busbar_ohm{0};             ///< From the joint of the strings to the terminals.
    std::optional<BleedResistors> bleed;
    std::optional<Precharge<double>> precharge;
    std::vector<Channel> channels;
    std::vector<std::string> notes;
};

/// Most cells a pack can have.
inline constexpr int largest_cell_count = 1000000;

/// Checks that a pack can be built: names that exist and differ, counts, bounds, channels that meet
/// something, contactors that bear the voltage, strings in parallel that share a voltage.
/// \throws Error naming field, value and bound; or as check(Cell) does
void check(const Pack& pack);

/// A pack of equal cells in one string, as the short form of a pack file has it.
[[nodiscard]] Pack single_string_pack(const std::string& name, const std::string& cell_file,
                                      const Cell& cell, const PackLayout<double>& layout);

/// The counts of a pack whose groups are all alike: groups of a string, and cells in parallel over
/// all strings. \throws Error when strings or modules differ
[[nodiscard]] PackLayout<double> equal_layout(const Pack& pack);

/// The kind of module with a name. \throws Error when there is none
[[nodiscard]] const PackModule& module_named(const Pack& pack, const std::string& name);

/// Groups in series of a string.
[[nodiscard]] int group_count(const Pack& pack, const PackString& string);

/// Groups of all strings.
[[nodiscard]] int group_count(const Pack& pack);

/// Cells of all strings.
[[nodiscard]] int cell_count(const Pack& pack);

/// Text of a channel's quantity, as the file writes it; never null.
[[nodiscard]] const char* channel_quantity_name(ChannelQuantity quantity) noexcept;

}  // namespace voltkeel
