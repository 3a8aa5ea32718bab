#pragma once
/// \file taper_file.hpp
/// Taper files: what completed charges of a cell have shown of the taper (charge/taper.hpp), with
/// the voltage, the temperatures and the logs that it comes from. JSON, described by
/// `data/schema/taper.schema.json`.

#include <filesystem>
#include <string>
#include <string_view>

#include "voltkeel/charge/plan.hpp"
#include "voltkeel/charge/taper.hpp"
#include "voltkeel/io/cell.hpp"
#include "voltkeel/io/csv.hpp"

namespace voltkeel {

/// A learned taper and what it holds for.
struct LearnedTaper {
    std::string cell;                ///< Name of the cell that was charged.
    TaperSettings<double> settings;  ///< Its capacity, and how it was learned.
    TaperState<double> state;        ///< What it showed.
    double voltage_V{0};             ///< At which the cell was held.
    double temperature_min_degC{0};  ///< Lowest while it was held, over all charges; 0 without any.
    double temperature_max_degC{0};  ///< Highest.
    Provenance provenance;  ///< `made_by`, `made_at` and the logs; the others are not kept.
};

/// Checks settings, state, voltage and temperatures.
/// \throws Error naming field, value and bound
void check_taper(const LearnedTaper& taper);

/// The learner that goes on from there, for learned_time() and for the next charge.
/// \throws Error likewise
[[nodiscard]] TaperLearner<double> taper_learner(const LearnedTaper& taper);

/// Learns from the first charge of a log that was held at `taper.voltage_V` and ended by its end
/// current; the provenance stays as it is. See learn_charge(TaperLearner).
/// \return true when there was one; otherwise nothing changes
/// \throws Error for a taper, current or tolerance that cannot be
[[nodiscard]] bool learn_charge(LearnedTaper& taper, const Log& log, double end_current_A,
                                double tolerance_V = 0.01);

/// Voltage at which a plan's charge ends: the highest of its zones, or that of the last stage.
[[nodiscard]] double held_voltage_V(const ChargePlan<double>& plan);

/// Refuses a plan that ends at another voltage: there the taper is another one.
/// \throws Error naming both voltages
void check_taper_fits(const LearnedTaper& taper, const ChargePlan<double>& plan,
                      double tolerance_V = 0.01);

/// Reads a taper file.
/// \throws Error naming the file and every field that is wrong
[[nodiscard]] LearnedTaper load_taper(const std::filesystem::path& path);

/// Reads a taper from JSON text, as `load_taper` does.
/// \param source what to call the text in messages
[[nodiscard]] LearnedTaper parse_taper(std::string_view text, const std::string& source);

/// Writes a taper file. It appears complete or not at all; one that exists is replaced.
/// \throws Error when a field is out of bounds or the file cannot be written
void save_taper(const std::filesystem::path& path, const LearnedTaper& taper);

}  // namespace voltkeel
