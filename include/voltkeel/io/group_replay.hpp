#pragma once
/// \file group_replay.hpp
/// The pack filter along a log that has the voltage of every group.

#include <cstddef>
#include <cstdint>
#include <filesystem>
#include <functional>
#include <optional>
#include <vector>

#include "voltkeel/estimate/age.hpp"
#include "voltkeel/estimate/pack_filter.hpp"
#include "voltkeel/io/group_log.hpp"
#include "voltkeel/io/pack_limits.hpp"
#include "voltkeel/io/replay.hpp"

namespace voltkeel {

/// How a replay of groups starts and runs.
struct GroupReplaySettings {
    int parallel{1};                     ///< Cells in each group, which share its current evenly.
    std::optional<double> initial_soc;   ///< Of all groups; without it their first voltages tell.
    double initial_soc_std{0.2};         ///< Used with `initial_soc`.
    std::optional<double> capacity_Ah;   ///< Of a cell, replaces that of the cell.
    std::vector<double> capacity_scale;  ///< One for each group against that; empty: all 1.
    /// Without it the reference has filter_settings(cell).
    std::optional<PackFilterSettings<double>> filter;
    std::optional<bool> starts_at_rest;  ///< Without it starts_at_rest() of the mean cell.
    CellAge age{};  ///< Of all groups; `capacity_Ah` comes before it, `capacity_scale` beside it.
    /// Current, temperature, clock, and the mean of the groups as a voltage; where the log has the
    /// pack's voltage, the sum against it. Each group's own voltage the filter looks at.
    SensorReplay sensors{};
};

/// The answer for a reference cell at every row, and for the groups at the rows in which their
/// voltages were looked at.
struct GroupTrace {
    /// Of the reference cell, whose voltage is the mean of the groups; current and state are those
    /// of one cell. What belongs to a voltage is of the last time voltages were looked at.
    SocTrace reference;
    std::vector<double> soc_min;  ///< Of the emptiest group, at every row.
    std::vector<double> soc_max;  ///< Of the fullest.
    std::size_t groups{0};
    int first_number{0};  ///< See GroupLog.

    std::vector<std::size_t> row;  ///< Rows of the log told of below: looked at, first and last.
    std::vector<double> soc, soc_std, resistance_scale;  ///< (rows told of, groups)
    std::vector<std::uint8_t> fault_bits;                ///< See GroupFaultBit; likewise.

    std::size_t looked{0};             ///< How often voltages were looked at.
    std::vector<std::size_t> coasted;  ///< Of these, how often each group was counted on.
    std::uint32_t group_reset_count{0};
    std::vector<GroupState> end;  ///< Each group after the last row: for limits and charges.
    /// What each group does against the reference: known after days, or much charge.
    std::vector<GroupDrift<double>> drift;
};

/// Runs the pack filter along a log. Temperatures, start and capacity as in `replay`.
/// \throws Error for an unusable cell, setting or log, and when no group has a voltage in any row
[[nodiscard]] GroupTrace replay_groups(const Cell& cell, const GroupLog& log,
                                       const GroupReplaySettings& settings = {},
                                       const std::function<bool(double share)>& progress = {});

/// The same for the groups of a pack, which says the cell and how many share the current.
/// \param settings with `parallel` left at 1
/// \throws Error for a pack of more than one string or kind of cell, and where its groups are not
/// those of the log
[[nodiscard]] GroupTrace replay_groups(const Pack& pack, const GroupLog& log,
                                       const GroupReplaySettings& settings = {},
                                       const std::function<bool(double share)>& progress = {});

/// Writes the columns of `write_trace` of the reference, soc_min and soc_max.
/// \param groups_path time_s, then soc, soc_std and fault_bits of each group, as in soc_1: a row
/// for every one told of
void write_group_trace(const std::filesystem::path& path, const std::filesystem::path& groups_path,
                       const GroupTrace& trace);

}  // namespace voltkeel
