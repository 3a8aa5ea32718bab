#include "voltkeel/fit/thermal.hpp"

#include <Eigen/Core>
#include <algorithm>
#include <cmath>
#include <utility>

#include "fit/common_practice.hpp"
#include "fit/least_squares.hpp"
#include "fit/statistics.hpp"
#include "io/number_text.hpp"
#include "voltkeel/cell/heat.hpp"
#include "voltkeel/cell/model.hpp"
#include "voltkeel/error.hpp"
#include "voltkeel/units.hpp"

namespace voltkeel {

namespace {

struct HeatRow {
    double time_s;  ///< At its end, from the start of the log.
    double dt_s;
    double heat_W;
    double case_degC;
};

/// A log as heat and case temperature.
struct HeatLog {
    std::vector<HeatRow> rows;
    double start_degC{0};
    double length_s{0};
    double std_K{0.05};    ///< Of a row as if rows were independent; found from the residuals.
    double heat_J{0};      ///< Made, both signs as positive.
    double heat_J_std{0};  ///< What the spread of the OCV and of its entropy makes of it.
};

// Unknowns of the fit.
enum { log_capacity, log_resistance, log_core_resistance, core_logit, unknown_count };
using Unknowns = Eigen::Matrix<double, unknown_count, 1>;

/// Usual values per ampere-hour, and how far cells differ from them (of the logarithm, or of the
/// logit of the core's share). 45 g at 1000 J/(kg K) for 3 Ah of a small cell, still air around it;
/// 2 K/W and 80 s between core and case of an 18650 (common practice, from memory, not re-read).
struct Usual {
    explicit Usual(double capacity_Ah) {
        mean << std::log(15 * capacity_Ah), std::log(60 / std::sqrt(capacity_Ah) / 3),
            std::log(5.8 / capacity_Ah), std::log(0.88 / 0.10);  // share 0.89
        std << 0.5, 1.5, 0.35, 0.5;
    }
    Unknowns mean;
    Unknowns std;
};

ThermalParameters<double> parameters_of(const Unknowns& x) {
    const double whole = std::exp(x[log_capacity]);
    // Between the bounds of validate(), and with a slope everywhere.
    const double share = 0.01 + 0.98 / (1 + std::exp(-x[core_logit]));
    return {whole, std::exp(x[log_resistance]), std::exp(x[log_core_resistance]), whole * share};
}

/// SOC at the first row, from the voltage less what its current, which is taken to have flowed for
/// one step of the log, does to a rested cell.
template <int Branches, bool Transfer>
double start_soc(const CellParameters<double, Branches, Transfer>& cell, const Log& log) {
    const double flowed_s = log.time_s[1] - log.time_s[0];
    const double current_A = log.current_A.front();
    const double temperature_degC = log.temperature_degC.front();
    double soc = 0.5;
    double overvoltage_V = 0;
    for (int turn = 0; turn < 4; ++turn) {
        (void)soc_from_ocv(cell.ocv, log.voltage_V.front() - overvoltage_V, temperature_degC, 0.0,
                           soc);
        const auto node = resistance_at(cell.resistance, soc, temperature_degC).value;
        overvoltage_V = node.r0_ohm * current_A;
        for (int i = 0; i < Branches; ++i) {
            overvoltage_V +=
                node.branch_ohm[i] * current_A * relaxed_fraction(flowed_s / node.branch_time_s[i]);
        }
        if constexpr (Transfer)
            overvoltage_V +=
                charge_transfer_step(node.transfer, 0.0, current_A, flowed_s).voltage_V;
    }
    return soc;
}

/// Runs a log through the cell and calls `body(row, step_s, heat_W)` for every row but the first.
template <class Body>
void for_each_heat(const Log& log, const Cell& cell, Body body) {
    with_form(cell, [&](auto form) {
        using Form = decltype(form);
        const CellTables<double, Form::branches, Form::transfer> tables(cell);
        const auto parameters = tables.parameters();
        CellState<double, Form::branches, Form::transfer> state;
        state.soc = start_soc(parameters, log);
        for (std::size_t k = 1; k < log.size(); ++k) {
            const double step_s = log.time_s[k] - log.time_s[k - 1];
            const double current_A = log.current_A[k];
            const double temperature_degC = log.temperature_degC[k];
            step(parameters, {current_A, step_s, temperature_degC}, state);
            const auto point = voltage_at(parameters, state, current_A, temperature_degC);
            body(k, step_s,
                 heat_W(current_A, log.voltage_V[k], point.ocv_V, point.entropy_V_per_K,
                        temperature_degC));
        }
    });
}

constexpr std::size_t least_rows = 20;

HeatLog heat_log(const Log& log, const Cell& cell) {
    // Rows end where there is something to see: every 5 s while heat is made and two minutes after,
    // 10 s while it is little, and a minute at rest.
    constexpr double much_W = 0.1;
    constexpr double little_W = 0.02;
    constexpr double after_s = 120;
    // Shifts of rested voltages tell the entropy no better (DEVELOPERS.md, "Heat").
    constexpr double entropy_std_V_per_K = 1e-4;
    double entropy_J = 0;
    double ocv_std_V = 0;
    for (const double std_V : cell.ocv.voltage_std_V)
        ocv_std_V += std_V / static_cast<double>(cell.ocv.voltage_std_V.size());
    HeatLog result;
    result.start_degC = log.temperature_degC.front();
    result.length_s = log.time_s.back() - log.time_s.front();
    double dt_s = 0;
    double energy_J = 0;
    double quiet_s = after_s;
    for_each_heat(log, cell, [&](std::size_t k, double step_s, double heat) {
        energy_J += step_s * heat;
        result.heat_J += step_s * std::abs(heat);
        result.heat_J_std += step_s * std::abs(log.current_A[k]) * ocv_std_V;
        entropy_J += step_s * log.current_A[k] *
                     (log.temperature_degC[k] + zero_celsius_K<double>)*entropy_std_V_per_K;
        dt_s += step_s;
        const double mean_W = std::abs(energy_J) / dt_s;
        const double wanted_s =
            mean_W > much_W || quiet_s < after_s ? 5 : (mean_W > little_W ? 10 : 60);
        if (dt_s < wanted_s && k + 1 < log.size()) return;
        quiet_s = mean_W > much_W ? 0 : quiet_s + dt_s;
        result.rows.push_back(
            {log.time_s[k] - log.time_s.front(), dt_s, energy_J / dt_s, log.temperature_degC[k]});
        dt_s = 0;
        energy_J = 0;
    });
    result.heat_J_std = std::hypot(result.heat_J_std, entropy_J);
    return result;
}

/// What a log leaves open beside the cell: start temperatures and the surroundings. The case
/// temperature is linear in all of them, so they are solved for, not searched for (variable
/// projection: Golub, Pereyra, SIAM J. Numer. Anal. 10 (1973) 413, from memory, not re-read).
class Surroundings {
  public:
    explicit Surroundings(const HeatLog& log)
        : spans_(std::max(1, static_cast<int>(std::ceil(log.length_s / knot_s)))),
          span_s_(std::max(1.0, log.length_s) / spans_) {}

    /// Start of the case, core over case at the start, then the surroundings at every knot.
    [[nodiscard]] int count() const { return 3 + spans_; }
    [[nodiscard]] int priors() const { return 1 + spans_; }

    /// Knot before a time, and the share of the way to the next one.
    [[nodiscard]] std::pair<int, double> place(double time_s) const {
        const int k = std::clamp(static_cast<int>(time_s / span_s_), 0, spans_ - 1);
        return {k, time_s / span_s_ - k};
    }

    /// Case temperature less the heat's part as a matrix over the open values, and the heat's part.
    void respond(const HeatLog& log, const ThermalParameters<double>& thermal,
                 Eigen::MatrixXd& by_open, Eigen::VectorXd& by_heat_K) const {
        const auto rows = static_cast<Eigen::Index>(log.rows.size());
        by_open.setZero(rows, count());
        by_heat_K.resize(rows);
        std::vector<CellTemperature<double>> part(static_cast<std::size_t>(count()), {0, 0});
        part[0] = {1, 1};
        part[1] = {1, 0};
        CellTemperature<double> heated{0, 0};
        ThermalStep<double> step;
        double step_dt_s = -1;
        for (Eigen::Index r = 0; r < rows; ++r) {
            const HeatRow& row = log.rows[static_cast<std::size_t>(r)];
            if (row.dt_s != step_dt_s) step = thermal_step(thermal, row.dt_s);
            step_dt_s = row.dt_s;
            heated = step(heated, 0.0, row.heat_W);
            by_heat_K[r] = heated.case_degC;
            const auto [knot, share] = place(row.time_s - 0.5 * row.dt_s);
            // Knots to come have had no part yet.
            for (int k = 0; k <= std::min(count() - 1, 3 + knot); ++k) {
                const double ambient = k == 2 + knot ? 1 - share : (k == 3 + knot ? share : 0.0);
                auto& now = part[static_cast<std::size_t>(k)];
                now = step(now, ambient, 0.0);
                by_open(r, k) = now.case_degC;
            }
        }
    }

    /// The open values that meet the log best, and what is left in units of its spread.
    /// \param residuals rows of the log, then priors()
    [[nodiscard]] Eigen::VectorXd solve(const HeatLog& log,
                                        const ThermalParameters<double>& thermal,
                                        Eigen::Ref<Eigen::VectorXd> residuals) const {
        respond(log, thermal, by_open_, by_heat_K_);
        const Eigen::Index rows = by_open_.rows();
        for (Eigen::Index r = 0; r < rows; ++r)
            by_heat_K_[r] = log.rows[static_cast<std::size_t>(r)].case_degC - by_heat_K_[r];
        const double weight = 1 / (log.std_K * log.std_K);
        Eigen::MatrixXd normal = weight * (by_open_.transpose() * by_open_);
        const Eigen::VectorXd right = weight * (by_open_.transpose() * by_heat_K_);
        normal(1, 1) += 1 / (start_std_K * start_std_K);
        const double drift_K =
            drift_std_K_per_sqrt_h * std::sqrt(span_s_ / seconds_per_hour<double>);
        const double drift_weight = 1 / (drift_K * drift_K);
        for (int k = 2; k + 1 < count(); ++k) {
            normal(k, k) += drift_weight;
            normal(k + 1, k + 1) += drift_weight;
            normal(k, k + 1) -= drift_weight;
            normal(k + 1, k) -= drift_weight;
        }
        Eigen::VectorXd open = detail::solve_normal(normal, right);
        residuals.head(rows) = (by_open_ * open - by_heat_K_) / log.std_K;
        residuals[rows] = open[1] / start_std_K;
        for (int k = 2; k + 1 < count(); ++k)
            residuals[rows + k - 1] = (open[k + 1] - open[k]) / drift_K;
        return open;
    }

  private:
    static constexpr double knot_s = 14400;
    static constexpr double drift_std_K_per_sqrt_h = 0.2;  ///< A thermal chamber, a room.
    static constexpr double start_std_K = 0.5;             ///< Core over case at the start.
    int spans_;
    double span_s_;
    mutable Eigen::MatrixXd by_open_;
    mutable Eigen::VectorXd by_heat_K_;
};

/// Residuals of all logs and of what is usual, in units of their spread.
class ThermalProblem : public detail::LeastSquares {
  public:
    ThermalProblem(const std::vector<HeatLog>& logs, const Usual& usual)
        : logs_(&logs), usual_(&usual) {
        for (const HeatLog& log : logs) {
            surroundings_.emplace_back(log);
            count_ += static_cast<int>(log.rows.size()) + surroundings_.back().priors();
        }
    }
    [[nodiscard]] int inputs() const override { return unknown_count; }
    [[nodiscard]] int values() const override { return count_; }
    int operator()(const Eigen::VectorXd& x, Eigen::VectorXd& residuals) const override {
        const ThermalParameters<double> thermal = parameters_of(x);
        residuals.head(unknown_count) = (x - usual_->mean).cwiseQuotient(usual_->std);
        Eigen::Index at = unknown_count;
        for (std::size_t f = 0; f < logs_->size(); ++f) {
            const Eigen::Index size =
                static_cast<Eigen::Index>((*logs_)[f].rows.size()) + surroundings_[f].priors();
            (void)surroundings_[f].solve((*logs_)[f], thermal, residuals.segment(at, size));
            at += size;
        }
        return 0;
    }
    /// By differences: the unknowns are logarithms, so one step suits them all (a step in
    /// proportion to a logarithm would vanish where it is 0).
    int df(const Eigen::VectorXd& x, Eigen::MatrixXd& jacobian) const override {
        constexpr double difference = 1e-5;
        Eigen::VectorXd here(count_);
        Eigen::VectorXd there(count_);
        (*this)(x, here);
        for (int k = 0; k < unknown_count; ++k) {
            Eigen::VectorXd moved = x;
            moved[k] += difference;
            (*this)(moved, there);
            jacobian.col(k) = (there - here) / difference;
        }
        return 0;
    }
    /// The residuals of one log's rows within all residuals.
    [[nodiscard]] Eigen::VectorXd rows_of(std::size_t f, const Eigen::VectorXd& residuals) const {
        Eigen::Index at = unknown_count;
        for (std::size_t k = 0; k < f; ++k) {
            at += static_cast<Eigen::Index>((*logs_)[k].rows.size()) + surroundings_[k].priors();
        }
        return residuals.segment(at, static_cast<Eigen::Index>((*logs_)[f].rows.size()));
    }

  private:
    const std::vector<HeatLog>* logs_;
    const Usual* usual_;
    std::vector<Surroundings> surroundings_;
    int count_{unknown_count};
};

/// How many rows tell as much as one independent row: 1 + 2 times the sum of the autocorrelation,
/// as far as it stands out of the noise.
double rows_per_independent_row(const Eigen::VectorXd& r) {
    const double power = r.squaredNorm();
    if (!(power > 0)) return 1;
    double sum = 1;
    for (Eigen::Index lag = 1; lag < r.size() / 4; ++lag) {
        const Eigen::Index n = r.size() - lag;
        const double share = r.head(n).dot(r.tail(n)) / power;
        if (share < 0.05) break;
        sum += 2 * share;
    }
    return sum;
}

double rms(const Eigen::VectorXd& r) {
    return r.norm() / std::sqrt(static_cast<double>(std::max<Eigen::Index>(1, r.size())));
}

}  // namespace

ThermalFit fit_thermal(const std::vector<Log>& logs, const Cell& cell) {
    const Usual usual(cell.capacity_Ah);
    const ThermalParameters<double> start = parameters_of(usual.mean);
    ThermalFit fit;
    fit.heat_capacity_J_per_K = 15 * cell.capacity_Ah;
    fit.heat_capacity_J_per_K_std = 7 * cell.capacity_Ah;
    fit.resistance_K_per_W = start.resistance_K_per_W;
    fit.resistance_K_per_W_std = fit.resistance_K_per_W;
    fit.core_resistance_K_per_W = start.core_resistance_K_per_W;
    fit.core_resistance_K_per_W_std = usual.std[log_core_resistance] * fit.core_resistance_K_per_W;
    fit.core_heat_capacity_J_per_K = start.core_heat_capacity_J_per_K;
    fit.core_heat_capacity_J_per_K_std = 0.5 * fit.core_heat_capacity_J_per_K;
    fit.source = "assumed: usual values per ampere-hour";

    std::vector<HeatLog> heat;
    std::vector<double> magnitudes_W;
    double largest_rise_K = 0;
    for (const Log& log : logs) {
        check_log(log);
        const auto [low, high] =
            std::minmax_element(log.temperature_degC.begin(), log.temperature_degC.end());
        largest_rise_K = std::max(largest_rise_K, *high - *low);
        if (log.size() < least_rows) continue;
        heat.push_back(heat_log(log, cell));
        for (const HeatRow& row : heat.back().rows)
            magnitudes_W.push_back(std::abs(row.heat_W));
    }
    if (heat.empty() || largest_rise_K < 1.0) return fit;

    Eigen::VectorXd x = usual.mean;
    Eigen::VectorXd residuals;
    Eigen::MatrixXd information;
    double squares_K2 = 0;
    double rows = 0;
    // Weights from the residuals, then once more with them.
    constexpr int rounds = 3;
    for (int round = 0; round < rounds; ++round) {
        const ThermalProblem problem(heat, usual);
        (void)detail::minimize(problem, x, {1e-6, 1e-5, 60});
        residuals.resize(problem.values());
        problem(x, residuals);
        if (round + 1 == rounds) {
            Eigen::MatrixXd jacobian(problem.values(), problem.inputs());
            problem.df(x, jacobian);
            information = jacobian.transpose() * jacobian;
        }
        squares_K2 = 0;
        rows = 0;
        for (std::size_t f = 0; f < heat.size(); ++f) {
            const Eigen::VectorXd own = problem.rows_of(f, residuals) * heat[f].std_K;
            squares_K2 += own.squaredNorm();
            rows += static_cast<double>(own.size());
            // A sensor writes hundredths at best.
            constexpr double least_std_K = 0.005;
            heat[f].std_K =
                std::max(least_std_K, rms(own)) * std::sqrt(rows_per_independent_row(own));
        }
    }
    const Eigen::MatrixXd covariance = detail::inverse_of(information);
    // An error of the OCV makes all heat too large or too small; C and 1 / R go with it, whatever
    // the temperatures say.
    double heat_J = 0;
    double heat_J_std = 0;
    for (const HeatLog& log : heat) {
        heat_J += log.heat_J;
        heat_J_std += log.heat_J_std;
    }
    const double heat_share_std = heat_J > 0 ? heat_J_std / heat_J : 0;
    const auto std_of = [&](const Unknowns& direction) {
        return std::hypot(std::sqrt(std::max(0.0, direction.dot(covariance * direction))),
                          heat_share_std);
    };
    const ThermalParameters<double> found = parameters_of(x);
    const double share = found.core_heat_capacity_J_per_K / found.heat_capacity_J_per_K;
    fit.heat_capacity_J_per_K = found.heat_capacity_J_per_K;
    fit.resistance_K_per_W = found.resistance_K_per_W;
    fit.core_resistance_K_per_W = found.core_resistance_K_per_W;
    fit.core_heat_capacity_J_per_K = found.core_heat_capacity_J_per_K;
    fit.heat_capacity_J_per_K_std =
        found.heat_capacity_J_per_K * std_of(Unknowns::Unit(log_capacity));
    fit.resistance_K_per_W_std = found.resistance_K_per_W * std_of(Unknowns::Unit(log_resistance));
    fit.core_resistance_K_per_W_std =
        found.core_resistance_K_per_W * std_of(Unknowns::Unit(log_core_resistance));
    const double share_by_logit = (share - 0.01) * (0.99 - share) / 0.98;
    const Unknowns core_direction =
        Unknowns::Unit(log_capacity) + share_by_logit / share * Unknowns::Unit(core_logit);
    fit.core_heat_capacity_J_per_K_std = found.core_heat_capacity_J_per_K * std_of(core_direction);

    // How long the case lags: ln(R_core C_core C_case / C). The data alone say it when what is
    // usual of the core resistance is taken out and its std still stays below that of the usual.
    const Unknowns lag =
        Unknowns::Unit(log_core_resistance) + Unknowns::Unit(log_capacity) +
        share_by_logit * (1 / share - 1 / (1 - share)) * Unknowns::Unit(core_logit);
    Eigen::MatrixXd alone = information;
    alone(log_core_resistance, log_core_resistance) -=
        1 / (usual.std[log_core_resistance] * usual.std[log_core_resistance]);
    const double lag_std = std::sqrt(std::abs(lag.dot(detail::inverse_of(alone) * lag)));
    const double lag_s = found.core_time_s() * (1 - share);
    const double seen_W = quantile(magnitudes_W, 0.98);
    fit.source = "fitted to the case temperatures of " + std::to_string(heat.size()) +
                 (heat.size() == 1 ? " log" : " logs") + " (" +
                 number_text(std::sqrt(squares_K2 / rows), "%.2f") + " K left); ";
    if (lag_std < usual.std[log_core_resistance]) {
        fit.source += "the case lags by " + number_text(lag_s, "%.1f") + " s (std " +
                      number_text(lag_s * lag_std, "%.1f") +
                      "), how it splits into core resistance and core mass is taken as usual: the "
                      "case does not show it";
    } else {
        fit.source += "core taken as usual: the case alone does not show its lag below about " +
                      number_text(seen_W * lag_std / usual.std[log_core_resistance], "%.1f") + " W";
    }
    return fit;
}

std::size_t thermal_rows(const Log& log, const Cell& cell) {
    check_log(log);
    return log.size() < least_rows ? 0 : heat_log(log, cell).rows.size();
}

ThermalTrace thermal_trace(const Log& log, const Cell& cell) {
    check_log(log);
    if (log.size() < 2) throw Error(log.source + ": a thermal trace needs at least 2 rows");
    const HeatLog heat = heat_log(log, cell);
    const ThermalFit& t = cell.thermal;
    const ThermalParameters<double> thermal{t.heat_capacity_J_per_K, t.resistance_K_per_W,
                                            t.core_resistance_K_per_W,
                                            t.core_heat_capacity_J_per_K};
    const Surroundings surroundings(heat);
    Eigen::VectorXd residuals(static_cast<Eigen::Index>(heat.rows.size()) + surroundings.priors());
    const Eigen::VectorXd open = surroundings.solve(heat, thermal, residuals);
    ThermalTrace trace;
    double core_degC = heat.start_degC;
    double before_degC = heat.start_degC;
    for (std::size_t k = 0; k < heat.rows.size(); ++k) {
        const HeatRow& row = heat.rows[k];
        core_degC = core_temperature_after(thermal, core_degC, before_degC, row.case_degC,
                                           row.heat_W, row.dt_s);
        before_degC = row.case_degC;
        const auto [knot, share] = surroundings.place(row.time_s);
        trace.time_s.push_back(log.time_s.front() + row.time_s);
        trace.heat_W.push_back(row.heat_W);
        trace.ambient_degC.push_back(open[2 + knot] + share * (open[3 + knot] - open[2 + knot]));
        trace.case_degC.push_back(row.case_degC +
                                  residuals[static_cast<Eigen::Index>(k)] * heat.std_K);
        trace.core_degC.push_back(core_degC);
    }
    trace.residual_rms_K =
        rms(residuals.head(static_cast<Eigen::Index>(heat.rows.size()))) * heat.std_K;
    return trace;
}

Log core_log(const Log& log, const Cell& cell) {
    check_log(log);
    Log inside = log;
    if (!follows_core(cell.thermal) || log.size() < 2) return inside;
    const ThermalFit& t = cell.thermal;
    const ThermalParameters<double> thermal{t.heat_capacity_J_per_K, t.resistance_K_per_W,
                                            t.core_resistance_K_per_W,
                                            t.core_heat_capacity_J_per_K};
    for_each_heat(log, cell, [&](std::size_t k, double step_s, double heat) {
        inside.temperature_degC[k] = core_temperature_after(thermal, inside.temperature_degC[k - 1],
                                                            log.temperature_degC[k - 1],
                                                            log.temperature_degC[k], heat, step_s);
    });
    return inside;
}

}  // namespace voltkeel
