#pragma once
/// \file load.hpp
/// What is asked of a pack: a list of steps, each a held current, power, resistance or voltage.

#include <filesystem>
#include <limits>
#include <vector>

#include "voltkeel/io/csv.hpp"

namespace voltkeel {

/// Which of the four a step holds.
enum class LoadKind {
    current,
    power,
    resistance,  ///< A resistor across the terminals.
    voltage,     ///< A source that holds the terminals.
};

/// One step of a load. Limits hold by taking or giving less current, down to none; a charge with
/// constant current and then constant voltage is one step with `voltage_max_V` and `end_current_A`.
struct LoadStep {
    LoadKind kind{LoadKind::current};
    double current_A{0};       ///< For LoadKind::current; positive charges.
    double power_W{0};         ///< For LoadKind::power, at the terminals; positive charges.
    double resistance_ohm{1};  ///< For LoadKind::resistance, > 0.
    double voltage_V{0};       ///< For LoadKind::voltage, > 0.
    double duration_s{0};      ///< > 0.

    double voltage_max_V{std::numeric_limits<double>::infinity()};  ///< Of the terminals.
    double voltage_min_V{0};
    double group_voltage_max_V{std::numeric_limits<double>::infinity()};  ///< Of every group.
    double group_voltage_min_V{0};
    /// Ends the step when a limit or a held voltage has brought the current down to this magnitude;
    /// 0: never.
    double end_current_A{0};
    std::vector<bool> closed;  ///< Contactors from the start of this step on; empty: as they are. A
                               ///< string whose fuse has opened stays open.
};

/// A held current, power, resistance or voltage. Nothing else is set.
[[nodiscard]] LoadStep current_load(double current_A, double duration_s);
[[nodiscard]] LoadStep power_load(double power_W, double duration_s);
[[nodiscard]] LoadStep resistance_load(double resistance_ohm, double duration_s);
[[nodiscard]] LoadStep voltage_load(double voltage_V, double duration_s);

/// A load from columns: the value of a row has been held since the row before it, as in a log; the
/// first row only tells when it starts. \param kind current (A) or power (W)
/// \throws Error when the columns differ in length, have less than two rows, or time does not rise
[[nodiscard]] std::vector<LoadStep> load_from_columns(LoadKind kind,
                                                      const std::vector<double>& time_s,
                                                      const std::vector<double>& value);

/// A load from a CSV file with the columns time_s and current_A or power_W; otherwise as read_log
/// reads logs. A file that has both is taken by its current.
/// \param settings how the file is written, see read_log \throws Error as read_log does
[[nodiscard]] std::vector<LoadStep> read_load(const std::filesystem::path& path,
                                              const LogReadSettings& settings = {});

}  // namespace voltkeel
