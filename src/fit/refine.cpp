#include "voltkeel/fit/refine.hpp"

#include <Eigen/Core>
#include <algorithm>
#include <cmath>
#include <random>

#include "fit/least_squares.hpp"
#include "fit/open_loop.hpp"
#include "fit/statistics.hpp"
#include "fit/unit_doubts.hpp"
#include "io/number_text.hpp"
#include "voltkeel/cell/model.hpp"
#include "voltkeel/error.hpp"
#include "voltkeel/fit/thermal.hpp"
#include "voltkeel/units.hpp"
#include "voltkeel/version.hpp"

namespace voltkeel {

namespace {

/// Places of the unknowns. All but the OCV shift and the initial SOC are natural logarithms.
struct Layout {
    int branches{1};
    bool transfer{false};
    int knots{0};
    int logs{0};

    [[nodiscard]] int r0() const { return 0; }
    [[nodiscard]] int resistance(int branch) const { return 1 + 2 * branch; }
    [[nodiscard]] int time(int branch) const { return 2 + 2 * branch; }
    [[nodiscard]] int charge_transfer() const { return 1 + 2 * branches; }
    [[nodiscard]] int capacity() const { return charge_transfer() + (transfer ? 1 : 0); }
    [[nodiscard]] int factors() const { return capacity() + 1; }
    [[nodiscard]] int ocv(int knot) const { return factors() + knot; }
    [[nodiscard]] int soc(int log) const { return factors() + knots + log; }
    [[nodiscard]] int count() const { return soc(logs); }
};

/// A log cut into blocks, and the rows of it that are compared.
struct RefinedLog {
    const Log* log{nullptr};
    double initial_soc{0};
    double initial_soc_std{0.01};
    double initial_hysteresis{0};
    int block_count{0};
    std::vector<bool> fitted_block;
    std::vector<std::size_t> rows;  ///< Fitted half, thinned.
    std::vector<double> std_V;      ///< Expected of the model at each of them.
    std::vector<std::size_t> every_row;
    std::vector<bool> fitted;  ///< Of every row.
};

[[noreturn]] void fail(const Log& log, const std::string& text) {
    throw Error(log.source + ": " + text);
}

/// Shift of the OCV between the knots, straight in between, held outside.
double ocv_shift_V(const std::vector<double>& knots, const Eigen::VectorXd& x, int first,
                   double soc) {
    const auto upper = std::upper_bound(knots.begin(), knots.end(), soc);
    if (upper == knots.begin()) return x[first];
    const auto k = static_cast<int>(upper - knots.begin()) - 1;
    if (upper == knots.end()) return x[first + k];
    const double share =
        (soc - knots[static_cast<std::size_t>(k)]) / (*upper - knots[static_cast<std::size_t>(k)]);
    return x[first + k] + share * (x[first + k + 1] - x[first + k]);
}

/// Model tables of a cell that can be scaled.
template <int Branches, bool Transfer>
class ScaledTables {
  public:
    using Parameters = CellParameters<double, Branches, Transfer>;
    explicit ScaledTables(const Cell& cell) : tables_(cell), parameters_(tables_.parameters()) {
        const auto& r = parameters_.resistance;
        base_.assign(r.nodes, r.nodes + r.soc.count * r.temperature_degC.count);
        base_ocv_.assign(parameters_.ocv.nodes, parameters_.ocv.nodes + parameters_.ocv.count);
        base_capacity_Ah_ = parameters_.capacity_Ah;
        nodes_ = base_;
        ocv_ = base_ocv_;
        parameters_.resistance.nodes = nodes_.data();
        parameters_.ocv.nodes = ocv_.data();
    }
    ScaledTables(const ScaledTables&) = delete;
    ScaledTables& operator=(const ScaledTables&) = delete;

    const Parameters& at(const Eigen::VectorXd& x, const Layout& layout,
                         const std::vector<double>& knots) {
        const double r0 = std::exp(x[layout.r0()]);
        double resistance[Branches];
        double time[Branches];
        double exchange = 1;
        if constexpr (Transfer) exchange = std::exp(-x[layout.charge_transfer()]);
        for (int i = 0; i < Branches; ++i) {
            resistance[i] = std::exp(x[layout.resistance(i)]);
            time[i] = std::exp(x[layout.time(i)]);
        }
        for (std::size_t k = 0; k < nodes_.size(); ++k) {
            nodes_[k].r0_ohm = r0 * base_[k].r0_ohm;
            for (int i = 0; i < Branches; ++i) {
                nodes_[k].branch_ohm[i] = resistance[i] * base_[k].branch_ohm[i];
                nodes_[k].branch_time_s[i] = time[i] * base_[k].branch_time_s[i];
            }
            if constexpr (Transfer) {
                nodes_[k].transfer.exchange_current_A =
                    exchange * base_[k].transfer.exchange_current_A;
            }
        }
        for (std::size_t k = 0; k < ocv_.size(); ++k) {
            const double soc = static_cast<double>(k) / static_cast<double>(ocv_.size() - 1);
            ocv_[k].mean_V = base_ocv_[k].mean_V + ocv_shift_V(knots, x, layout.ocv(0), soc);
        }
        parameters_.capacity_Ah = base_capacity_Ah_ * std::exp(x[layout.capacity()]);
        return parameters_;
    }

  private:
    CellTables<double, Branches, Transfer> tables_;
    Parameters parameters_;
    std::vector<ResistanceNode<double, Branches, Transfer>> base_, nodes_;
    std::vector<OcvNode<double>> base_ocv_, ocv_;
    double base_capacity_Ah_{0};
};

/// The same factors on the cell itself. Spreads grow by that of their factor.
Cell refined_cell(const Cell& cell, const Eigen::VectorXd& x, const Eigen::VectorXd& std,
                  const Layout& layout, const std::vector<double>& knots) {
    Cell result = cell;
    const auto scale = [&](Grid& values, Grid& spreads, int unknown, double sign = 1) {
        const double factor = std::exp(sign * x[unknown]);
        for (std::size_t t = 0; t < values.size(); ++t) {
            for (std::size_t s = 0; s < values[t].size(); ++s) {
                values[t][s] *= factor;
                if (!spreads.empty()) {
                    spreads[t][s] = std::hypot(factor * spreads[t][s], values[t][s] * std[unknown]);
                }
            }
        }
    };
    ResistanceGrid& grid = result.resistance;
    scale(grid.r0_ohm, grid.r0_ohm_std, layout.r0());
    for (int i = 0; i < layout.branches; ++i) {
        BranchGrid& branch = grid.branches[static_cast<std::size_t>(i)];
        scale(branch.resistance_ohm, branch.resistance_ohm_std, layout.resistance(i));
        scale(branch.time_s, branch.time_s_std, layout.time(i));
    }
    if (layout.transfer) {
        scale(grid.charge_transfer->exchange_current_A,
              grid.charge_transfer->exchange_current_A_std, layout.charge_transfer(), -1);
    }
    OcvCurve& ocv = result.ocv;
    for (std::size_t k = 0; k < ocv.soc.size(); ++k) {
        const double shift_V = ocv_shift_V(knots, x, layout.ocv(0), ocv.soc[k]);
        ocv.discharge_V[k] += shift_V;
        ocv.charge_V[k] += shift_V;
        ocv.voltage_std_V[k] =
            std::hypot(ocv.voltage_std_V[k], ocv_shift_V(knots, std, layout.ocv(0), ocv.soc[k]));
        if (k > 0) {
            // A flat curve may be bent until it falls; a voltage would not tell the SOC there.
            ocv.discharge_V[k] = std::max(ocv.discharge_V[k], ocv.discharge_V[k - 1] + 1e-7);
            ocv.charge_V[k] = std::max(ocv.charge_V[k], ocv.charge_V[k - 1] + 1e-7);
        }
    }
    result.capacity_Ah = cell.capacity_Ah * std::exp(x[layout.capacity()]);
    result.capacity_Ah_std = result.capacity_Ah * std[layout.capacity()];
    return result;
}

/// Where a log starts, from its first voltage or as told.
template <int Branches, bool Transfer>
void set_start(RefinedLog& refined, const CellParameters<double, Branches, Transfer>& cell,
               const std::optional<double>& given, const RefineSettings& settings) {
    const Log& log = *refined.log;
    if (given) {
        refined.initial_soc = *given;
        refined.initial_soc_std = settings.initial_soc_std;
        return;
    }
    const double rest_A = 0.02 * cell.capacity_Ah;
    if (std::abs(log.current_A.front()) > rest_A) {
        fail(log, "starts under a current of " + number_text(log.current_A.front()) +
                      " A: say its initial SOC, or cut it to start at rest");
    }
    (void)soc_from_ocv(cell.ocv, log.voltage_V.front(), log.temperature_degC.front(), 0.0,
                       refined.initial_soc);
    const auto point = ocv_at(cell.ocv, refined.initial_soc, log.temperature_degC.front());
    constexpr double rested_std_V = 0.01;  // of the rest before the log nothing is known
    refined.initial_soc_std = std::clamp(
        std::hypot(rested_std_V, point.half_gap_V) / std::max(point.slope_V, 1e-3), 0.003, 0.3);
}

void cut_into_blocks(RefinedLog& refined, std::size_t index, const RefineSettings& settings) {
    const Log& log = *refined.log;
    const double block_s = 60 * settings.block_min;
    const double length_s = log.time_s.back() - log.time_s.front();
    refined.block_count = std::max(1, static_cast<int>(std::ceil(length_s / block_s)));
    // One bit a pair, so that halves are of one length and no two more than neighbours are alike.
    std::mt19937_64 random(settings.seed + 0x9e3779b97f4a7c15U * (index + 1));
    for (int block = 0; block < refined.block_count; block += 2) {
        const bool first = (random() >> 32U & 1U) != 0;
        refined.fitted_block.push_back(first);
        if (block + 1 < refined.block_count) refined.fitted_block.push_back(!first);
    }
    for (std::size_t k = 0; k < log.size(); ++k) {
        const auto block =
            std::min(static_cast<std::size_t>((log.time_s[k] - log.time_s.front()) / block_s),
                     static_cast<std::size_t>(refined.block_count - 1));
        refined.every_row.push_back(k);
        refined.fitted.push_back(refined.fitted_block[block]);
    }
}

/// Rows of the fitted half where something happens: a row is worth the time since the row before
/// and the change of the current, and is kept whenever enough has come together.
void keep_rows(std::vector<RefinedLog>& logs, double capacity_Ah, int max_rows) {
    constexpr double row_s = 60;
    const double row_A = 0.1 * capacity_Ah;
    const auto worth = [&](const Log& log, std::size_t k) {
        return (log.time_s[k] - log.time_s[k - 1]) / row_s +
               std::abs(log.current_A[k] - log.current_A[k - 1]) / row_A;
    };
    double whole = 0;
    std::size_t rows = 0;
    for (const RefinedLog& refined : logs) {
        for (std::size_t k = 1; k < refined.log->size(); ++k) {
            if (!refined.fitted[k]) continue;
            whole += worth(*refined.log, k);
            ++rows;
        }
    }
    const bool all = rows <= static_cast<std::size_t>(max_rows);
    const double enough = whole / max_rows;
    for (RefinedLog& refined : logs) {
        double sum = 0;
        for (std::size_t k = 1; k < refined.log->size(); ++k) {
            if (!refined.fitted[k]) continue;
            sum += worth(*refined.log, k);
            if (!all && sum < enough) continue;
            refined.rows.push_back(k);
            // A large step pays for the rows that follow it too.
            sum = std::min(sum - enough, 10 * enough);
        }
    }
}

/// How many rows say as much as one, from the correlation of neighbours (Bayley & Hammersley 1946;
/// from memory, not re-read).
double repeated_rows(const std::vector<RefinedLog>& logs, const Eigen::VectorXd& residuals,
                     Eigen::Index first) {
    double power = 0;
    double lag = 0;
    for (const RefinedLog& refined : logs) {
        const auto size = static_cast<Eigen::Index>(refined.rows.size());
        power += residuals.segment(first, size).squaredNorm();
        for (Eigen::Index j = 1; j < size; ++j)
            lag += residuals[first + j] * residuals[first + j - 1];
        first += size;
    }
    const double rho = std::clamp(lag / std::max(power, 1e-30), 0.0, 0.99);
    return (1 + rho) / (1 - rho);
}

struct Squares {
    double fitted{0};
    double held_out{0};
    std::size_t fitted_rows{0};
    std::size_t held_out_rows{0};
};

double rms(double squares, std::size_t rows) {
    return std::sqrt(squares / std::max(1.0, static_cast<double>(rows)));
}

template <int Branches, bool Transfer>
class Refinement {
  public:
    Refinement(const Cell& cell, const std::vector<Log>& logs, const RefineSettings& settings,
               const RefineProgress& progress)
        : cell_(cell), settings_(settings), progress_(progress), tables_(cell) {
        layout_ = {Branches, Transfer, static_cast<int>(settings.ocv_soc.size()),
                   static_cast<int>(logs.size())};
        x_ = Eigen::VectorXd::Zero(layout_.count());
        const auto& parameters = tables_.at(x_, layout_, settings.ocv_soc);
        std::size_t fitted = 0;
        std::size_t held_out = 0;
        for (const Log& log : logs)
            inside_.push_back(core_log(log, cell));
        for (std::size_t f = 0; f < logs.size(); ++f) {
            RefinedLog& refined = logs_.emplace_back();
            refined.log = &inside_[f];
            set_start(refined, parameters,
                      f < settings.initial_soc.size() ? settings.initial_soc[f] : std::nullopt,
                      settings);
            x_[layout_.soc(static_cast<int>(f))] = refined.initial_soc;
            cut_into_blocks(refined, f, settings);
            for (const bool one : refined.fitted)
                ++(one ? fitted : held_out);
        }
        if (fitted < 20 || held_out < 20) {
            throw Error("block_min: with blocks of " + number_text(settings.block_min) + " min, " +
                        std::to_string(fitted) + " rows are fitted and " +
                        std::to_string(held_out) +
                        " held out; each half needs at least 20. Take shorter blocks or more logs");
        }
        keep_rows(logs_, cell.capacity_Ah, settings.max_rows);
        for (const RefinedLog& refined : logs_)
            rows_ += refined.rows.size();
        prior_mean_ = x_;
        prior_std_ = Eigen::VectorXd::Constant(layout_.count(), settings.factor_log_std);
        prior_std_[layout_.capacity()] =
            std::max(settings.least_capacity_std, cell.capacity_Ah_std / cell.capacity_Ah);
        for (int k = 0; k < layout_.knots; ++k)
            prior_std_[layout_.ocv(k)] = settings.ocv_std_V;
        for (int f = 0; f < layout_.logs; ++f)
            prior_std_[layout_.soc(f)] = logs_[static_cast<std::size_t>(f)].initial_soc_std;
    }

    [[nodiscard]] RefineResult run() {
        watch(0, "the cell as it is");
        for (RefinedLog& refined : logs_) {
            run_model(tables_.at(x_, layout_, settings_.ocv_soc), refined, refined.initial_soc,
                      refined.rows, [&](std::size_t, const auto&, const auto& point) {
                          refined.std_V.push_back(
                              std::hypot(settings_.voltage_std_V,
                                         settings_.overvoltage_share_std * point.overvoltage_V));
                      });
        }
        RefineResult result;
        // The old cell gets its chance too: the SOC at the start is nobody's merit.
        fit(true, 0, 0.1);
        const Eigen::VectorXd before = x_;
        const std::vector<Squares> old_squares = squares(cell_, before);
        fit(false, 0.1, 0.5);
        const Eigen::Index priors = layout_.count();
        Eigen::VectorXd residuals(priors + static_cast<Eigen::Index>(rows_));
        fill(x_, residuals, -1);
        set_weights(residuals);
        result.iterations = fit(false, 0.5, 0.95);
        fill(x_, residuals, -1);
        set_weights(residuals);
        const Eigen::VectorXd std = spreads();

        const Cell refined = refined_cell(cell_, x_, std, layout_, settings_.ocv_soc);
        check(refined);
        const std::vector<Squares> new_squares = squares(refined, x_);
        report(result, std, old_squares, new_squares);
        result.improved = result.held_out_rms_V <
                          (1 - settings_.least_improvement) * result.held_out_before_rms_V;
        result.cell = result.improved || settings_.keep_unimproved ? refined : cell_;
        write_provenance(result);
        watch(1, "done");
        return result;
    }

  private:
    void watch(double share, const std::string& stage) const {
        if (progress_ && !progress_(share, stage)) throw Error("cancelled");
    }

    template <class Action>
    static void run_model(const CellParameters<double, Branches, Transfer>& parameters,
                          const RefinedLog& refined, double initial_soc,
                          const std::vector<std::size_t>& rows, Action&& action) {
        CellState<double, Branches, Transfer> state;
        state.soc = initial_soc;
        state.hysteresis = refined.initial_hysteresis;
        detail::run_open_loop(parameters, *refined.log, state, rows, action);
    }

    /// Residuals: priors, then the rows of the fitted half of every log.
    void fill(const Eigen::VectorXd& x, Eigen::VectorXd& out, int moved) const {
        const double weight = 1 / std::sqrt(rows_per_independent_ * excess_ * excess_);
        out.head(layout_.count()) = (x - prior_mean_).cwiseQuotient(prior_std_);
        const auto& parameters = tables_.at(x, layout_, settings_.ocv_soc);
        auto first = static_cast<Eigen::Index>(layout_.count());
        for (int f = 0; f < layout_.logs; ++f) {
            const RefinedLog& refined = logs_[static_cast<std::size_t>(f)];
            const bool same = moved >= layout_.soc(0) && moved != layout_.soc(f);
            if (!same) {
                run_model(parameters, refined, x[layout_.soc(f)], refined.rows,
                          [&](std::size_t j, const auto&, const auto& point) {
                              const double error_V =
                                  point.voltage_V - refined.log->voltage_V[refined.rows[j]];
                              out[first + static_cast<Eigen::Index>(j)] =
                                  weight * error_V / refined.std_V[j];
                          });
            }
            first += static_cast<Eigen::Index>(refined.rows.size());
        }
    }

    /// Weights from the residuals: how far the errors exceed what was expected, and how many rows
    /// repeat each other.
    void set_weights(Eigen::VectorXd& residuals) {
        const auto first = static_cast<Eigen::Index>(layout_.count());
        const double before = std::sqrt(rows_per_independent_) * excess_;
        const double power =
            residuals.tail(static_cast<Eigen::Index>(rows_)).squaredNorm() * before * before;
        rows_per_independent_ = repeated_rows(logs_, residuals, first);
        excess_ = std::max(0.05, std::sqrt(power / static_cast<double>(rows_)));
    }

    /// \return iterations
    int fit(bool only_soc, double share_from, double share_to) {
        Eigen::VectorXd steps = Eigen::VectorXd::Constant(layout_.count(), 1e-4);
        steps.tail(layout_.logs).setConstant(1e-5);
        const std::string stage = only_soc ? "where the logs start" : "factors";
        double share = share_from;
        const auto columns = static_cast<double>(layout_.count());
        const auto advance = [&] {
            share += 0.2 * (share_to - share) / columns;
            watch(share, stage);
        };
        const auto values =
            static_cast<Eigen::Index>(layout_.count()) + static_cast<Eigen::Index>(rows_);
        if (only_soc) {
            // Everything else stays where it is.
            const Eigen::VectorXd others = x_;
            const detail::DifferencedLeastSquares problem(
                steps.tail(layout_.logs), values,
                [&](const Eigen::VectorXd& soc, Eigen::VectorXd& out, int moved) {
                    Eigen::VectorXd x = others;
                    x.tail(layout_.logs) = soc;
                    fill(x, out, moved < 0 ? -1 : layout_.soc(moved));
                },
                advance);
            Eigen::VectorXd soc = x_.tail(layout_.logs);
            const int iterations = minimize(problem, soc);
            x_.tail(layout_.logs) = soc;
            return iterations;
        }
        const detail::DifferencedLeastSquares problem(
            steps, values,
            [&](const Eigen::VectorXd& x, Eigen::VectorXd& out, int moved) { fill(x, out, moved); },
            advance);
        return minimize(problem, x_);
    }
    int minimize(const detail::LeastSquares& problem, Eigen::VectorXd& x) const {
        return detail::minimize(problem, x, {1e-6, 1e-5, settings_.max_iterations}).iterations;
    }

    [[nodiscard]] Eigen::VectorXd spreads() const {
        Eigen::VectorXd steps = Eigen::VectorXd::Constant(layout_.count(), 1e-4);
        steps.tail(layout_.logs).setConstant(1e-5);
        const auto values =
            static_cast<Eigen::Index>(layout_.count()) + static_cast<Eigen::Index>(rows_);
        const detail::DifferencedLeastSquares problem(
            steps, values,
            [&](const Eigen::VectorXd& x, Eigen::VectorXd& out, int moved) { fill(x, out, moved); },
            [&] { watch(0.95, "spreads"); });
        Eigen::MatrixXd jacobian(values, layout_.count());
        problem.df(x_, jacobian);
        return detail::covariance_of(jacobian).diagonal().cwiseMax(0.0).cwiseSqrt();
    }

    /// Squared errors of a cell over every row of every log.
    [[nodiscard]] std::vector<Squares> squares(const Cell& cell, const Eigen::VectorXd& x) const {
        const CellTables<double, Branches, Transfer> tables(cell);
        const auto parameters = tables.parameters();
        std::vector<Squares> result;
        for (int f = 0; f < layout_.logs; ++f) {
            const RefinedLog& refined = logs_[static_cast<std::size_t>(f)];
            Squares& sum = result.emplace_back();
            run_model(parameters, refined, x[layout_.soc(f)], refined.every_row,
                      [&](std::size_t k, const auto&, const auto& point) {
                          const double error_V = point.voltage_V - refined.log->voltage_V[k];
                          (refined.fitted[k] ? sum.fitted : sum.held_out) += error_V * error_V;
                          ++(refined.fitted[k] ? sum.fitted_rows : sum.held_out_rows);
                      });
        }
        return result;
    }

    void report(RefineResult& result, const Eigen::VectorXd& std,
                const std::vector<Squares>& old_squares,
                const std::vector<Squares>& new_squares) const {
        const auto factor = [&](const std::string& name, int unknown) {
            result.factors.push_back({name, std::exp(x_[unknown]), std[unknown]});
        };
        factor("r0", layout_.r0());
        for (int i = 0; i < Branches; ++i) {
            factor("branch " + std::to_string(i + 1) + " resistance", layout_.resistance(i));
            factor("branch " + std::to_string(i + 1) + " time", layout_.time(i));
        }
        if (Transfer) factor("charge transfer", layout_.charge_transfer());
        factor("capacity", layout_.capacity());
        result.ocv_soc = settings_.ocv_soc;
        for (int k = 0; k < layout_.knots; ++k) {
            result.ocv_shift_V.push_back(x_[layout_.ocv(k)]);
            result.ocv_shift_std_V.push_back(std[layout_.ocv(k)]);
        }
        result.block_s = 60 * settings_.block_min;
        result.seed = settings_.seed;
        result.rows_used = rows_;
        result.rows_per_independent_row = rows_per_independent_;
        Squares old_sum;
        Squares new_sum;
        const auto add = [](Squares& sum, const Squares& one) {
            sum.fitted += one.fitted;
            sum.held_out += one.held_out;
            sum.fitted_rows += one.fitted_rows;
            sum.held_out_rows += one.held_out_rows;
        };
        for (int f = 0; f < layout_.logs; ++f) {
            const auto k = static_cast<std::size_t>(f);
            const RefinedLog& from = logs_[k];
            RefineLog& to = result.logs.emplace_back();
            to.source = from.log->source;
            to.initial_soc = x_[layout_.soc(f)];
            to.initial_soc_std = std[layout_.soc(f)];
            to.block_count = from.block_count;
            for (int block = 0; block < from.block_count; ++block) {
                if (from.fitted_block[static_cast<std::size_t>(block)])
                    to.fitted_blocks.push_back(block);
            }
            to.fitted_rows = old_squares[k].fitted_rows;
            to.rows_used = from.rows.size();
            to.held_out_rows = old_squares[k].held_out_rows;
            to.fitted_before_rms_V = rms(old_squares[k].fitted, to.fitted_rows);
            to.fitted_rms_V = rms(new_squares[k].fitted, to.fitted_rows);
            to.held_out_before_rms_V = rms(old_squares[k].held_out, to.held_out_rows);
            to.held_out_rms_V = rms(new_squares[k].held_out, to.held_out_rows);
            add(old_sum, old_squares[k]);
            add(new_sum, new_squares[k]);
        }
        result.fitted_before_rms_V = rms(old_sum.fitted, old_sum.fitted_rows);
        result.fitted_rms_V = rms(new_sum.fitted, new_sum.fitted_rows);
        result.held_out_before_rms_V = rms(old_sum.held_out, old_sum.held_out_rows);
        result.held_out_rms_V = rms(new_sum.held_out, new_sum.held_out_rows);
    }

    void write_provenance(RefineResult& result) const {
        const auto mV = [](double voltage_V) { return number_text(1e3 * voltage_V, "%.1f"); };
        const std::string verdict = "held-out half " + mV(result.held_out_before_rms_V) + " -> " +
                                    mV(result.held_out_rms_V) + " mV rms, fitted half " +
                                    mV(result.fitted_before_rms_V) + " -> " +
                                    mV(result.fitted_rms_V) + " mV";
        if (!result.improved) {
            result.notes.push_back("The held-out half is not met better (" + verdict + "); " +
                                   (settings_.keep_unimproved
                                        ? "the refined cell is returned because it was asked for."
                                        : "the cell is returned as it was."));
            if (!settings_.keep_unimproved) return;
        }
        for (const RefineFactor& factor : result.factors) {
            if (factor.name == "capacity") continue;
            const double away = std::abs(std::log(factor.factor));
            if (away > 2.5 * settings_.factor_log_std) {
                result.notes.push_back(
                    "The factor on " + factor.name + ", " + number_text(factor.factor, "%.2f") +
                    ", is far from 1: the log may not be of this cell, or the model may lack "
                    "something that it shows.");
            }
        }
        Provenance& provenance = result.cell.provenance;
        provenance.made_by = "voltkeel " VOLTKEEL_VERSION;
        std::string split;
        for (const RefineLog& log : result.logs) {
            split += (split.empty() ? "" : "; ") + log.source + ":";
            for (const int block : log.fitted_blocks)
                split += " " + std::to_string(block);
            split += " of 0.." + std::to_string(log.block_count - 1);
        }
        provenance.notes.push_back("Refined on " + std::to_string(result.logs.size()) +
                                   (result.logs.size() == 1 ? " log: " : " logs: ") + verdict +
                                   ". Blocks of " + number_text(settings_.block_min) +
                                   " min, seed " + std::to_string(settings_.seed) +
                                   ", fitted blocks " + split + ".");
        for (std::size_t f = 0; f < logs_.size(); ++f) {
            const Log& log = *logs_[f].log;
            SourceFile file;
            file.role = "log";
            file.name = log.source;
            file.rows = log.size();
            file.rows_used = result.logs[f].rows_used;
            file.temperature_degC = quantile(log.temperature_degC, 0.5);
            file.initial_soc = result.logs[f].initial_soc;
            file.initial_soc_std = result.logs[f].initial_soc_std;
            file.residual_rms_V = std::sqrt((static_cast<double>(result.logs[f].fitted_rows) *
                                                 std::pow(result.logs[f].fitted_rms_V, 2) +
                                             static_cast<double>(result.logs[f].held_out_rows) *
                                                 std::pow(result.logs[f].held_out_rms_V, 2)) /
                                            static_cast<double>(log.size()));
            provenance.files.push_back(file);
        }
    }

    const Cell& cell_;
    const RefineSettings& settings_;
    const RefineProgress& progress_;
    mutable ScaledTables<Branches, Transfer> tables_;
    Layout layout_;
    std::vector<Log> inside_;  ///< With the temperature of the core.
    std::vector<RefinedLog> logs_;
    std::size_t rows_{0};
    Eigen::VectorXd x_, prior_mean_, prior_std_;
    double rows_per_independent_{20};  // until the residuals tell
    double excess_{1};
};

void check_settings(const RefineSettings& settings, std::size_t logs) {
    struct Bounded {
        const char* field;
        double value;
        double low;
        double high;
    };
    for (const Bounded& b :
         {Bounded{"initial_soc_std", settings.initial_soc_std, 1e-6, 1},
          {"block_min", settings.block_min, 1e-3, 1e5},
          {"max_rows", static_cast<double>(settings.max_rows), 50, 1e6},
          {"factor_log_std", settings.factor_log_std, 1e-4, 10},
          {"ocv_std_V", settings.ocv_std_V, 1e-6, 1},
          {"least_capacity_std", settings.least_capacity_std, 1e-6, 1},
          {"voltage_std_V", settings.voltage_std_V, 1e-6, 1},
          {"overvoltage_share_std", settings.overvoltage_share_std, 0, 10},
          {"least_improvement", settings.least_improvement, 0, 0.99},
          {"max_iterations", static_cast<double>(settings.max_iterations), 1, 1e4}}) {
        if (!(b.value >= b.low) || !(b.value <= b.high)) {
            throw Error(std::string(b.field) + ": " + number_text(b.value) + " is outside " +
                        number_text(b.low) + " .. " + number_text(b.high));
        }
    }
    if (settings.initial_soc.size() > logs) {
        throw Error("initial_soc: has " + std::to_string(settings.initial_soc.size()) +
                    " values for " + std::to_string(logs) + " logs");
    }
    for (const auto& soc : settings.initial_soc) {
        if (soc && !(*soc >= 0 && *soc <= 1)) {
            throw Error("initial_soc: " + number_text(*soc) + " is outside 0 .. 1");
        }
    }
    if (settings.ocv_soc.empty()) throw Error("ocv_soc: needs at least one knot");
    for (std::size_t k = 0; k < settings.ocv_soc.size(); ++k) {
        const double soc = settings.ocv_soc[k];
        if (!(soc >= 0 && soc <= 1) || (k > 0 && !(soc > settings.ocv_soc[k - 1]))) {
            throw Error("ocv_soc[" + std::to_string(k) + "]: " + number_text(soc) +
                        " must rise within 0 .. 1");
        }
    }
}

}  // namespace

RefineResult refine_cell(const Cell& cell, const std::vector<Log>& logs,
                         const RefineSettings& settings, const RefineProgress& progress) {
    check(cell);
    if (logs.empty()) throw Error("a refinement needs at least one log");
    check_settings(settings, logs.size());
    for (const Log& log : logs) {
        check_log(log);
        if (log.size() < 20) {
            fail(log,
                 "a refinement needs at least 20 rows, this log has " + std::to_string(log.size()));
        }
    }
    return detail::with_unit_doubts(nullptr, {&logs}, cell.capacity_Ah, [&] {
        return with_form(cell, [&](auto form) {
            using Form = decltype(form);
            return Refinement<Form::branches, Form::transfer>(cell, logs, settings, progress).run();
        });
    });
}

}  // namespace voltkeel
