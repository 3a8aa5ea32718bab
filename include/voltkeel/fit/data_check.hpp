#pragma once
/// \file
/// Faults of measured data in plain words, and their correction where it is asked for.

#include <cstddef>
#include <optional>
#include <string>
#include <vector>

#include "voltkeel/fit/steps.hpp"
#include "voltkeel/io/csv.hpp"

namespace voltkeel {

/// What can be wrong with a log.
enum class DataFault {
    gap,                   ///< rows are missing
    clock_jump,            ///< the clock went forward or back, the data went on
    repeated_row,          ///< two rows have one time
    frozen,                ///< all channels stand still under current
    spike,                 ///< a single row stands apart
    quantisation,          ///< the step of a channel
    current_offset,        ///< the current reads too high or too low by a constant
    current_sign,          ///< charge and discharge look exchanged
    current_unit,          ///< the current looks like another unit
    voltage_unit,          ///< the voltage looks like another unit, or is not that of one cell
    temperature_unit,      ///< the temperature looks like another unit
    temperature_range,     ///< the temperature is outside what a cell bears
    temperature_constant,  ///< the temperature does not move although the cell was heated
    temperature_jump,      ///< the temperature moves faster than a cell can
    slow_sampling,         ///< too few rows behind the edges of pulses
};

/// How much a finding matters.
enum class DataSeverity {
    note,     ///< good to know
    warning,  ///< look at it before fitting
    error,    ///< a fit would be wrong
};

/// One thing that is odd.
struct DataFinding {
    DataFault kind = DataFault::gap;
    DataSeverity severity = DataSeverity::note;
    std::optional<std::size_t> row;   ///< where, from 0; none when it is the whole log
    std::optional<std::size_t> line;  ///< of the file, from 1, where a report was given
    double value = 0;                 ///< the size, in the unit that the text names
    std::string text;                 ///< in plain words
};

/// What counts as odd.
struct DataCheckSettings {
    StepSettings steps;  ///< the capacity in it sharpens several checks

    double gap_s = 600;                     ///< a longer time between rows is a gap; > 0
    double voltage_spike_V = 0.02;          ///< smallest spike of the voltage; > 0
    double temperature_spike_K = 3;         ///< smallest spike of the temperature; > 0
    double temperature_min_degC = -40;      ///< below this no cell is tested
    double temperature_max_degC = 80;       ///< above this no cell is tested
    double temperature_rate_K_per_s = 0.5;  ///< no cell warms or cools faster; > 0
    double edge_s = 2;  ///< the first row behind the edge of a pulse comes within it; > 0
    double frozen_charge_share = 0.015;  ///< share of the capacity that must move the voltage; > 0
    bool starts_full = false;  ///< the cell is full at the first row, charged as at the ends of the
                               ///< charges in this log

    /// Standard deviation of the charge of a cell called full, as a share of the capacity; >= 0.
    double full_share_std = 0.003;
    /// Standard deviation of the charge that comes back, as a share of the charge; >= 0.
    double efficiency_std = 0.001;
};

/// An offset of the current reading, found from a balance of charge.
struct OffsetBalance {
    double current_offset_A = 0;      ///< to be added: true current = logged + offset
    double current_offset_A_std = 0;  ///< standard deviation
    std::size_t balances = 0;         ///< pairs of full cells behind it
    double time_s = 0;                ///< with current, between them
};

/// Looks a log over. Takes n log n time.
/// \param log any log \param settings what counts as odd \param report of the reading of this log;
/// gives lines of the file and the rows that were left out
/// \return findings by kind; empty is a clean bill
/// \throws Error for a log that is none or empty, or a setting out of range
[[nodiscard]] std::vector<DataFinding> check_data(const Log& log,
                                                  const DataCheckSettings& settings = {},
                                                  const LogReport* report = nullptr);

/// The offset of the current from the charge between times at which the cell was equally full.
///
/// Equally full are: the ends of charges at constant voltage; the start, where `starts_full` says
/// so; and settled rests within 60 mV of the highest, their difference turned into charge by the
/// slope of the slowest charge. The offset is taken to act whenever the reading is not exactly 0.
/// \return nothing when the log has no two such times, with at least an hour of current between
[[nodiscard]] std::optional<OffsetBalance> offset_from_balance(
    const Log& log, const DataCheckSettings& settings = {});

/// Charge between two times at which the cell was equally full.
struct FullBalance {
    std::size_t first_row = 0;  ///< full here, from 0
    std::size_t last_row = 0;   ///< and here again
    double charged_Ah = 0;      ///< put in between, as logged
    double discharged_Ah = 0;   ///< taken out, as logged; positive
    double gained_Ah = 0;       ///< by which it was fuller at the end, from rested voltages
    double active_s = 0;        ///< with current
    double std_Ah = 0;  ///< of charged - discharged - gained: how well full repeats, and edges
};

/// The balances behind `offset_from_balance`, one by one.
/// \param current_offset_A of the reading, as far as known: true current = logged + offset; the
/// charges are given as logged
/// \return empty when the log has no two such times
[[nodiscard]] std::vector<FullBalance> full_balances(const Log& log,
                                                     const DataCheckSettings& settings = {},
                                                     double current_offset_A = 0);

/// What to change in a log. Nothing is changed unasked.
struct LogCorrections {
    bool turn_current = false;           ///< charge and discharge are exchanged
    bool voltage_from_mV = false;        ///< voltages are in mV
    bool current_from_mA = false;        ///< currents are in mA
    bool temperature_from_K = false;     ///< temperatures are in K
    bool temperature_from_degF = false;  ///< temperatures are in degF
    double current_offset_A = 0;  ///< added to every current that is not exactly 0, after the turn
    bool drop_spikes = false;     ///< leave out the rows that `check_data` calls spikes
};

/// A corrected log, and what was done to it.
struct CorrectedLog {
    Log log;
    std::vector<std::string> record;  ///< one line per correction, for a provenance
};

/// Applies corrections: units, sign, offset, spikes, in this order.
/// \param settings what counts as a spike
/// \throws Error for a log that is none, two units for one channel, or an offset that is not finite
[[nodiscard]] CorrectedLog correct_log(const Log& log, const LogCorrections& corrections,
                                       const DataCheckSettings& settings = {});

/// The word for a kind, such as "clock jump".
[[nodiscard]] const char* data_fault_name(DataFault kind);

/// The word for a severity.
[[nodiscard]] const char* data_severity_name(DataSeverity severity);

}  // namespace voltkeel
