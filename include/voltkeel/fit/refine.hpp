#pragma once
/// \file refine.hpp
/// A cell drawn closer to whole logs, judged on stretches of them that it was not fitted to.

#include <cstddef>
#include <cstdint>
#include <functional>
#include <optional>
#include <string>
#include <vector>

#include "voltkeel/io/cell.hpp"
#include "voltkeel/io/csv.hpp"

namespace voltkeel {

/// Knobs of the refinement.
struct RefineSettings {
    /// SOC at the first row of each log; empty, or empty for one log: its first voltage tells, and
    /// the log must start at rest.
    std::vector<std::optional<double>> initial_soc;
    double initial_soc_std{0.01};  ///< How well a given initial SOC is known.
    double block_min{10};          ///< Length of the blocks that are fitted or held out in turn.
    std::uint64_t seed{1};         ///< Which block of each pair is fitted.
    int max_rows{5000};            ///< Rows compared, of all logs together.
    double factor_log_std{0.3};    ///< How far resistances and time constants may lie from the
                                   ///< cell's (of the logarithm).
    std::vector<double> ocv_soc{0.05, 0.2, 0.4, 0.6, 0.8, 0.95};  ///< Knots of the OCV shift.
    double ocv_std_V{0.01};                                       ///< How large the shift may be.
    double least_capacity_std{0.002};   ///< The capacity is known no better than this, relative.
    double voltage_std_V{0.005};        ///< Model errors: constant part,
    double overvoltage_share_std{0.1};  ///< and part that grows with the overvoltage.
    double least_improvement{0.01};     ///< The held-out rms must fall by this share at least.
    bool keep_unimproved{false};        ///< Return the refined cell even where it does not.
    int max_iterations{40};
};

/// How one log is met. Rms of model less measurement, over every row of the half.
struct RefineLog {
    std::string source;
    double initial_soc{0};
    double initial_soc_std{0};
    int block_count{0};
    std::vector<int> fitted_blocks;  ///< From 0; the others were held out.
    std::size_t fitted_rows{0};
    std::size_t rows_used{0};  ///< Of these, after thinning.
    std::size_t held_out_rows{0};
    double fitted_before_rms_V{0};  ///< Before: the old cell, the initial SOC fitted all the same.
    double fitted_rms_V{0};
    double held_out_before_rms_V{0};
    double held_out_rms_V{0};
};

/// One factor on a quantity of the cell.
struct RefineFactor {
    std::string name;   ///< "r0", "branch 1 resistance", "branch 1 time", ..., "charge transfer",
                        ///< "capacity".
    double factor{1};   ///< New over old.
    double log_std{0};  ///< Standard deviation of its logarithm.
};

/// A refinement and how it did.
struct RefineResult {
    Cell cell;             ///< Refined; the old one when it was not `improved` (see settings).
    bool improved{false};  ///< The held-out half is met better.
    double fitted_before_rms_V{0};  ///< Over the rows of all logs.
    double fitted_rms_V{0};
    double held_out_before_rms_V{0};
    double held_out_rms_V{0};
    std::vector<RefineLog> logs;
    std::vector<RefineFactor> factors;
    std::vector<double> ocv_soc;
    std::vector<double> ocv_shift_V;
    std::vector<double> ocv_shift_std_V;
    double block_s{0};
    std::uint64_t seed{0};
    std::size_t rows_used{0};            ///< Of the fitted half, after thinning.
    double rows_per_independent_row{1};  ///< Errors repeat: this many rows say as much as one.
    int iterations{0};
    std::vector<std::string> notes;
};

/// Called with the share of work done (0..1) and what is being done; return false to cancel.
using RefineProgress = std::function<bool(double share, const std::string& stage)>;

/// Fits factors on the resistances and time constants, a small shift of the OCV, the capacity and
/// the initial SOC of each log to logged voltages.
///
/// The model runs through every log from its start without correction. The log is cut into blocks;
/// of every two neighbours the seed picks one to be fitted, the other is held out and decides
/// whether the result is worth having. Not touched: hysteresis, the rise near full, heat.
/// \param logs as they come from the vehicle; each as the cell was then, so not years apart
/// \return the cell with files and split in its provenance
/// \throws Error naming log or setting; "cancelled" when `progress` returns false
[[nodiscard]] RefineResult refine_cell(const Cell& cell, const std::vector<Log>& logs,
                                       const RefineSettings& settings = {},
                                       const RefineProgress& progress = {});

}  // namespace voltkeel
