#include "voltkeel/fit/thermal.hpp"

#include <Eigen/Cholesky>
#include <Eigen/Core>
#include <algorithm>
#include <cmath>
#include <unsupported/Eigen/NonLinearOptimization>
#include <unsupported/Eigen/NumericalDiff>

#include "voltkeel/cell/heat.hpp"
#include "voltkeel/cell/ocv.hpp"
#include "voltkeel/error.hpp"
#include "voltkeel/units.hpp"

namespace voltkeel {

namespace {

struct HeatRow {
    double dt_s;
    double heat_W;
    double temperature_degC;
};

/// Unknowns: ln heat capacity, ln thermal resistance, then start and surroundings of every log.
class ThermalProblem {
  public:
    using Scalar = double;
    enum { InputsAtCompileTime = Eigen::Dynamic, ValuesAtCompileTime = Eigen::Dynamic };
    using InputType = Eigen::VectorXd;
    using ValueType = Eigen::VectorXd;
    using JacobianType = Eigen::MatrixXd;

    explicit ThermalProblem(const std::vector<std::vector<HeatRow>>& logs) : logs_(&logs) {
        for (const auto& log : logs)
            rows_ += static_cast<int>(log.size());
    }
    [[nodiscard]] int inputs() const { return 2 + 2 * static_cast<int>(logs_->size()); }
    [[nodiscard]] int values() const { return rows_; }
    int operator()(const Eigen::VectorXd& x, Eigen::VectorXd& residuals) const {
        const ThermalParameters<double> thermal{std::exp(x[0]), std::exp(x[1])};
        int row = 0;
        for (std::size_t f = 0; f < logs_->size(); ++f) {
            double temperature_degC = x[2 + 2 * static_cast<int>(f)];
            const double ambient_degC = x[3 + 2 * static_cast<int>(f)];
            for (const HeatRow& r : (*logs_)[f]) {
                temperature_degC =
                    temperature_after(thermal, temperature_degC, ambient_degC, r.heat_W, r.dt_s);
                residuals[row++] = temperature_degC - r.temperature_degC;
            }
        }
        return 0;
    }

  private:
    const std::vector<std::vector<HeatRow>>* logs_;
    int rows_{0};
};

}  // namespace

ThermalFit fit_thermal(const std::vector<Log>& logs, const Cell& cell) {
    const std::vector<OcvNode<double>> nodes = ocv_nodes<double>(cell.ocv);
    const OcvTable<double> ocv{nodes.data(), static_cast<int>(nodes.size()),
                               cell.ocv.reference_temperature_degC};

    std::vector<std::vector<HeatRow>> rows;
    std::vector<double> first_degC;
    double largest_rise_K = 0;
    for (const Log& log : logs) {
        double soc = 1;
        if (soc_from_ocv(ocv, log.voltage_V.front(), log.temperature_degC.front(), 0.0, soc) ==
            Status::sample_not_finite)
            continue;
        std::vector<HeatRow> one;
        double dt_s = 0;
        double energy_J = 0;
        const auto [low, high] =
            std::minmax_element(log.temperature_degC.begin(), log.temperature_degC.end());
        largest_rise_K = std::max(largest_rise_K, *high - *low);
        for (std::size_t k = 1; k < log.size(); ++k) {
            const double step_s = log.time_s[k] - log.time_s[k - 1];
            soc += log.current_A[k] * step_s / (seconds_per_hour<double> * cell.capacity_Ah);
            const double open_V = ocv_at(ocv, soc, log.temperature_degC[k]).mean_V;
            energy_J += step_s * heat_W(log.current_A[k], log.voltage_V[k], open_V, 0.0,
                                        log.temperature_degC[k]);
            dt_s += step_s;
            if (dt_s >= 5.0 || k + 1 == log.size()) {
                one.push_back({dt_s, energy_J / dt_s, log.temperature_degC[k]});
                dt_s = 0;
                energy_J = 0;
            }
        }
        rows.push_back(std::move(one));
        first_degC.push_back(log.temperature_degC.front());
    }
    // Usual values: 45 g and 1000 J/(kg K) for 3 Ah of a small cell, still air around it (facts
    // from memory, not re-read).
    ThermalFit fit{15 * cell.capacity_Ah, 7 * cell.capacity_Ah,
                   60 / std::sqrt(cell.capacity_Ah) / 3, 0,
                   "assumed: usual values per ampere-hour"};
    fit.resistance_K_per_W_std = fit.resistance_K_per_W;
    if (rows.empty() || largest_rise_K < 1.0) return fit;

    const ThermalProblem problem(rows);
    Eigen::NumericalDiff<ThermalProblem> with_difference(problem);
    Eigen::VectorXd x(problem.inputs());
    x[0] = std::log(fit.heat_capacity_J_per_K);
    x[1] = std::log(fit.resistance_K_per_W);
    for (std::size_t f = 0; f < rows.size(); ++f) {
        x[2 + 2 * static_cast<int>(f)] = first_degC[f];
        x[3 + 2 * static_cast<int>(f)] = first_degC[f];
    }
    Eigen::LevenbergMarquardt<Eigen::NumericalDiff<ThermalProblem>> solver(with_difference);
    solver.parameters.maxfev = 400;
    (void)solver.minimize(x);
    Eigen::VectorXd residuals(problem.values());
    problem(x, residuals);
    Eigen::MatrixXd jacobian(problem.values(), problem.inputs());
    with_difference.df(x, jacobian);
    // Temperatures repeat their error over minutes (gradients, sensor place): one independent row a
    // minute is assumed.
    const double variance =
        12 * residuals.squaredNorm() / std::max(1, problem.values() - problem.inputs());
    const Eigen::MatrixXd normal = jacobian.transpose() * jacobian;
    const Eigen::MatrixXd covariance = variance * normal.ldlt().solve(Eigen::MatrixXd::Identity(
                                                      problem.inputs(), problem.inputs()));
    fit.heat_capacity_J_per_K = std::exp(x[0]);
    fit.resistance_K_per_W = std::exp(x[1]);
    fit.heat_capacity_J_per_K_std =
        fit.heat_capacity_J_per_K * std::sqrt(std::max(0.0, covariance(0, 0)));
    fit.resistance_K_per_W_std =
        fit.resistance_K_per_W * std::sqrt(std::max(0.0, covariance(1, 1)));
    fit.source = "fitted to the temperatures of the pulse tests";
    return fit;
}

}  // namespace voltkeel
