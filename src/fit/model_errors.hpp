#pragma once
// What a cell model gets wrong along a log, and what kind of noise that is.

#include <cstddef>
#include <vector>

#include "voltkeel/fit/pulse_test.hpp"
#include "voltkeel/io/cell.hpp"
#include "voltkeel/io/csv.hpp"

namespace voltkeel::detail {

/// Model minus measurement at one row.
struct RowError {
    double error_V{0};
    double overvoltage_V{0};
    std::size_t log{0};
    double time_s{0};
};

/// Expected standard deviation of the model error at a row.
[[nodiscard]] double noise_std_V(double overvoltage_V, const VoltageNoise& noise);

/// Constant part and share of the overvoltage by maximum likelihood, and how far the errors repeat
/// each other from row to row.
[[nodiscard]] VoltageNoise noise_of(const std::vector<RowError>& errors);

/// The part of the errors that lasts: its share of the variance, and how long it does.
struct ErrorMemory {
    double share{0};
    double time_s{1};
};
[[nodiscard]] ErrorMemory memory_of(const std::vector<RowError>& errors, const VoltageNoise& noise);

/// How the resistance as a whole wanders along the logs: standard deviation of a random walk of the
/// logarithm of its scale, per square root of an hour. From the scale that fits each hour best,
/// with the spread of these fits themselves taken off, and its uncertainty left on; 0 without two
/// hours in a row that tell it.
[[nodiscard]] double scale_walk_per_sqrt_h(std::vector<RowError> errors, const VoltageNoise& noise);

/// A pulse out of a rest: by how much of its measured drop the model's is larger.
struct DropError {
    double share{0};
    double current_A{0};  ///< Mean, magnitude.
    double soc{0};        ///< At its end.
};
/// Pulses of up to a minute along a log, with the model run open loop.
[[nodiscard]] std::vector<DropError> drop_errors(const Log& log, const Cell& cell,
                                                 double initial_soc);

/// Runs the model along a log, open loop, and compares where something happens: just before and
/// after a change of current, then ever further apart.
/// \param index written into the rows
[[nodiscard]] std::vector<RowError> model_errors(const Log& log, const Cell& cell,
                                                 double initial_soc, std::size_t index);

}  // namespace voltkeel::detail
