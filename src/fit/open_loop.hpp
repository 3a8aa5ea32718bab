#pragma once
// A cell model run over a log without any correction, and least squares whose few unknowns are
// differentiated numerically.

#include <Eigen/Core>
#include <cstddef>
#include <functional>
#include <unsupported/Eigen/NonLinearOptimization>
#include <utility>
#include <vector>

#include "voltkeel/cell/model.hpp"
#include "voltkeel/error.hpp"
#include "voltkeel/io/csv.hpp"

namespace voltkeel::detail {

/// Runs the model from `state` over a log with its current and temperature.
/// \param rows where action(j, state, point) is called with the state and voltage at rows[j];
/// rising
template <int Branches, bool Transfer, class Action>
void run_open_loop(const CellParameters<double, Branches, Transfer>& cell, const Log& log,
                   CellState<double, Branches, Transfer> state,
                   const std::vector<std::size_t>& rows, Action&& action) {
    std::size_t j = 0;
    for (std::size_t k = 0; j < rows.size(); ++k) {
        const double temperature_degC = log.temperature_degC[k];
        const auto place = locate(cell.resistance.temperature_degC, temperature_degC);
        if (k > 0) {
            step(cell, {log.current_A[k], log.time_s[k] - log.time_s[k - 1], temperature_degC},
                 place, state);
        }
        if (rows[j] != k) continue;
        action(j++, state, voltage_at(cell, state, log.current_A[k], temperature_degC, place));
    }
}

/// What Eigen's Levenberg-Marquardt asks for, from a function that fills the residuals; central
/// differences.
class DifferencedLeastSquares {
  public:
    using Scalar = double;
    enum { InputsAtCompileTime = Eigen::Dynamic, ValuesAtCompileTime = Eigen::Dynamic };
    using InputType = Eigen::VectorXd;
    using ValueType = Eigen::VectorXd;
    using JacobianType = Eigen::MatrixXd;
    /// residuals(x, values, moved): with `moved` >= 0, `values` holds those of a point that differs
    /// in that unknown only, so that what it does not touch need not be worked out again.
    using Residuals = std::function<void(const Eigen::VectorXd&, Eigen::VectorXd&, int)>;

    /// \param steps of the differences, one an unknown
    /// \param watch called before every difference; throws to cancel
    DifferencedLeastSquares(Eigen::VectorXd steps, Eigen::Index values, Residuals residuals,
                            std::function<void()> watch)
        : steps_(std::move(steps)),
          values_(values),
          residuals_(std::move(residuals)),
          watch_(std::move(watch)) {}

    [[nodiscard]] int inputs() const { return static_cast<int>(steps_.size()); }
    [[nodiscard]] int values() const { return static_cast<int>(values_); }
    int operator()(const Eigen::VectorXd& x, Eigen::VectorXd& out) const {
        residuals_(x, out, -1);
        return out.allFinite() ? 0 : -1;
    }
    int df(const Eigen::VectorXd& x, Eigen::MatrixXd& jacobian) const {
        Eigen::VectorXd here(values_);
        residuals_(x, here, -1);
        Eigen::VectorXd up;
        Eigen::VectorXd down;
        for (int k = 0; k < inputs(); ++k) {
            if (watch_) watch_();
            Eigen::VectorXd moved = x;
            up = here;
            down = here;
            moved[k] = x[k] + steps_[k];
            residuals_(moved, up, k);
            moved[k] = x[k] - steps_[k];
            residuals_(moved, down, k);
            jacobian.col(k) = (up - down) / (2 * steps_[k]);
        }
        return jacobian.allFinite() ? 0 : -1;
    }

  private:
    Eigen::VectorXd steps_;
    Eigen::Index values_;
    Residuals residuals_;
    std::function<void()> watch_;
};

}  // namespace voltkeel::detail
