#include "voltkeel/fit/single_pulse.hpp"

#include <Eigen/Core>
#include <algorithm>
#include <array>
#include <cmath>

#include "fit/least_squares.hpp"
#include "io/number_text.hpp"
#include "voltkeel/cell/compensated_sum.hpp"
#include "voltkeel/cell/exponential.hpp"
#include "voltkeel/error.hpp"
#include "voltkeel/units.hpp"

namespace voltkeel {

namespace {

constexpr int parameter_count = 5;
constexpr int at_time = 3;  // the only parameter that does not enter linearly
using Normal = Eigen::Matrix<double, parameter_count, parameter_count>;
using Parameters = Eigen::Matrix<double, parameter_count, 1>;

/// One step of the current through a lag, for a unit resistance:
/// p' = p + share (I - p) with a held current, p' = e p + now I + before I_before with a ramp; and
/// the derivatives of the coefficients with ln tau.
struct Lag {
    double kept{1}, now{0}, before{0};
    double kept_by_time{0}, now_by_time{0}, before_by_time{0};
};

Lag lag_of(double dt_s, double tau_s, CurrentHold hold) {
    const double x = dt_s / tau_s;
    const double share = relaxed_fraction(x);
    Lag lag;
    lag.kept = 1 - share;
    lag.kept_by_time = x * lag.kept;
    if (hold == CurrentHold::held) {
        lag.now = share;
        lag.now_by_time = -lag.kept_by_time;
    } else {
        const double mean = x > 0 ? share / x : 1;
        lag.now = 1 - mean;
        lag.before = mean - lag.kept;
        lag.now_by_time = -lag.before;
        lag.before_by_time = lag.before - lag.kept_by_time;
    }
    return lag;
}

/// Rows of one pulse and the passes over them.
class PulseRows {
  public:
    PulseRows(const Log& log, std::size_t first, std::size_t count,
              const SinglePulseSettings& settings)
        : time_s_(log.time_s.data() + first),
          current_A_(log.current_A.data() + first),
          voltage_V_(log.voltage_V.data() + first),
          count_(count),
          settings_(settings) {
        const double mean_s = (time_s_[count - 1] - time_s_[0]) / static_cast<double>(count - 1);
        even_ = true;
        for (std::size_t k = 1; k < count && even_; ++k)
            even_ = std::abs(time_s_[k] - time_s_[0] - static_cast<double>(k) * mean_s) <=
                    1e-7 * mean_s;
        step_s_ = mean_s;
    }

    [[nodiscard]] std::size_t count() const { return count_; }
    [[nodiscard]] double step_s() const { return step_s_; }
    [[nodiscard]] double duration_s() const { return time_s_[count_ - 1] - time_s_[0]; }

    /// Sums over the rows at some parameters: J'J, J'r and r'r, and the product of neighbouring
    /// residuals.
    struct Sums {
        Normal normal;
        Parameters gradient;
        double squares{0};
        double neighbours{0};
    };
    void add_up(const Parameters& x, Sums& sums) const {
        const bool lumped = settings_.form == PulseForm::lumped;
        if (even_)
            lumped ? pass<true, true>(x, sums) : pass<true, false>(x, sums);
        else
            lumped ? pass<false, true>(x, sums) : pass<false, false>(x, sums);
    }

  private:
    template <bool Even, bool Lumped>
    void pass(const Parameters& x, Sums& sums) const {
        // Upper triangle of [J r]'[J r] for the columns 1, I, p, dp, q, r.
        constexpr int columns = parameter_count + 1;
        constexpr int pairs = columns * (columns + 1) / 2;
        constexpr std::size_t block = 512;
        std::array<double, pairs> total{};
        std::array<double, pairs> carry{};
        double neighbours = 0;

        const double v0 = x[0];
        const double r0 = x[1];
        const double r1 = x[2];
        const double tau_s = std::exp(x[at_time]);
        const double fifth = x[4];
        const double known_slope = Lumped ? 0 : settings_.ocv_slope_V_per_Ah;
        const double slow_s = settings_.slow_time_s;
        const CurrentHold hold = settings_.hold;
        Lag fast = lag_of(step_s_, tau_s, hold);
        Lag slow = lag_of(step_s_, slow_s, hold);
        double per_row_Ah = step_s_ / seconds_per_hour<double>;
        double last_step_s = step_s_;
        double p = 0;
        double p_by_time = 0;
        double slow_p = 0;
        double charge_Ah = 0;
        double before_A = current_A_[0];
        double before_r = 0;
        std::size_t k = 0;
        while (k < count_) {
            const std::size_t end = std::min(count_, k + block);
            std::array<double, pairs> s{};
            for (; k < end; ++k) {
                const double current_A = current_A_[k];
                if (k > 0) {
                    if constexpr (!Even) {
                        const double dt_s = time_s_[k] - time_s_[k - 1];
                        if (std::abs(dt_s - last_step_s) > 1e-9 * last_step_s) {
                            fast = lag_of(dt_s, tau_s, hold);
                            if constexpr (!Lumped) slow = lag_of(dt_s, slow_s, hold);
                            per_row_Ah = dt_s / seconds_per_hour<double>;
                            last_step_s = dt_s;
                        }
                    }
                    p_by_time = fast.kept * p_by_time +
                                (fast.kept_by_time * p + fast.now_by_time * current_A +
                                 fast.before_by_time * before_A);
                    p = fast.kept * p + (fast.now * current_A + fast.before * before_A);
                    if constexpr (!Lumped)
                        slow_p =
                            slow.kept * slow_p + (slow.now * current_A + slow.before * before_A);
                    charge_Ah +=
                        per_row_Ah *
                        (hold == CurrentHold::held ? current_A : 0.5 * (current_A + before_A));
                    before_A = current_A;
                }
                const double q = Lumped ? charge_Ah : slow_p;
                const double by_time = r1 * p_by_time;
                const double r = (v0 + r0 * current_A + r1 * p + fifth * q +
                                  (Lumped ? 0 : known_slope * charge_Ah)) -
                                 voltage_V_[k];
                neighbours += r * before_r;
                before_r = r;
                s[1] += current_A;
                s[2] += p;
                s[3] += by_time;
                s[4] += q;
                s[5] += r;
                s[6] += current_A * current_A;
                s[7] += current_A * p;
                s[8] += current_A * by_time;
                s[9] += current_A * q;
                s[10] += current_A * r;
                s[11] += p * p;
                s[12] += p * by_time;
                s[13] += p * q;
                s[14] += p * r;
                s[15] += by_time * by_time;
                s[16] += by_time * q;
                s[17] += by_time * r;
                s[18] += q * q;
                s[19] += q * r;
                s[20] += r * r;
            }
            // Blocks are added with their rounding kept, so that a long log loses no digits.
            for (std::size_t i = 1; i < s.size(); ++i)
                add_compensated(total[i], carry[i], s[i]);
        }
        total[0] = static_cast<double>(count_);
        std::size_t at = 0;
        for (int row = 0; row < parameter_count; ++row) {
            for (int column = row; column < parameter_count; ++column)
                sums.normal(row, column) = sums.normal(column, row) = total[at++];
            sums.gradient[row] = total[at++];
        }
        sums.squares = total[at];
        sums.neighbours = neighbours;
    }

    const double* time_s_;
    const double* current_A_;
    const double* voltage_V_;
    std::size_t count_;
    SinglePulseSettings settings_;
    bool even_{false};
    double step_s_{0};
};

/// The problem as the solver sees it: as many residuals as parameters and one more, with the same
/// sum of squares, J'J and J'r as the rows have. With R'R = J'J they are R^-T J'r and what is left
/// of the norm.
class ReducedProblem : public detail::LeastSquares {
  public:
    explicit ReducedProblem(const PulseRows& rows) : rows_(rows) {}

    [[nodiscard]] int inputs() const override { return parameter_count; }
    [[nodiscard]] int values() const override { return parameter_count + 1; }
    [[nodiscard]] const PulseRows::Sums& sums() const { return sums_; }
    [[nodiscard]] int evaluations() const { return evaluations_; }
    [[nodiscard]] bool solvable() const { return solvable_; }

    int operator()(const Eigen::VectorXd& x, Eigen::VectorXd& residuals) const override {
        look_at(x);
        residuals.head<parameter_count>() = projected_;
        residuals[parameter_count] =
            std::sqrt(std::max(0.0, sums_.squares - projected_.squaredNorm()));
        return 0;
    }
    int df(const Eigen::VectorXd& x, Eigen::MatrixXd& jacobian) const override {
        look_at(x);
        jacobian.setZero(values(), inputs());
        jacobian.topRows<parameter_count>() = upper_;
        return 0;
    }

    /// Parameters that enter linearly, at the time constant in `x`: one Gauss-Newton step finds
    /// them. Returns the squares that are left.
    double solve_linear(Eigen::VectorXd& x) const {
        look_at(x);
        constexpr std::array<int, parameter_count - 1> linear{0, 1, 2, 4};
        Eigen::MatrixXd a(4, 4);
        Eigen::VectorXd b(4);
        for (int i = 0; i < 4; ++i) {
            for (int j = 0; j < 4; ++j)
                a(i, j) = sums_.normal(linear[static_cast<std::size_t>(i)],
                                       linear[static_cast<std::size_t>(j)]);
            b[i] = sums_.gradient[linear[static_cast<std::size_t>(i)]];
        }
        const Eigen::VectorXd change = detail::solve_normal(a, b);
        if (!change.allFinite()) return sums_.squares;
        for (int i = 0; i < 4; ++i)
            x[linear[static_cast<std::size_t>(i)]] -= change[i];
        return sums_.squares - change.dot(b);
    }

  private:
    void look_at(const Eigen::VectorXd& x) const {
        if (evaluations_ > 0 && x == at_) return;
        at_ = x;
        ++evaluations_;
        rows_.add_up(at_, sums_);
        // Cholesky with a floor under each pivot: a parameter that the rows do not tell gets a
        // derivative of almost nothing instead of a NaN.
        upper_.setZero();
        solvable_ = true;
        for (int j = 0; j < parameter_count; ++j) {
            for (int i = 0; i < j; ++i) {
                double sum = sums_.normal(i, j);
                for (int k = 0; k < i; ++k)
                    sum -= upper_(k, i) * upper_(k, j);
                upper_(i, j) = sum / upper_(i, i);
            }
            double pivot = sums_.normal(j, j);
            for (int k = 0; k < j; ++k)
                pivot -= upper_(k, j) * upper_(k, j);
            const double least = 1e-14 * sums_.normal(j, j);
            if (!(pivot > least)) {
                solvable_ = false;
                pivot = std::max(least, 1e-300);
            }
            upper_(j, j) = std::sqrt(pivot);
        }
        for (int i = 0; i < parameter_count; ++i) {
            double sum = sums_.gradient[i];
            for (int k = 0; k < i; ++k)
                sum -= upper_(k, i) * projected_[k];
            projected_[i] = sum / upper_(i, i);
        }
    }

    const PulseRows& rows_;
    mutable PulseRows::Sums sums_;
    mutable Parameters at_;
    mutable Normal upper_;
    mutable Parameters projected_;
    mutable int evaluations_{0};
    mutable bool solvable_{false};
};

void check_settings(const Log& log, const SinglePulseSettings& settings) {
    check_log(log);
    if (!(settings.slow_time_s > 0) || !std::isfinite(settings.slow_time_s)) {
        throw Error("slow_time_s: " + number_text(settings.slow_time_s) + " must be above 0");
    }
    if (!std::isfinite(settings.ocv_slope_V_per_Ah))
        throw Error("ocv_slope_V_per_Ah: is not a finite number");
    if (settings.max_evaluations < 10) {
        throw Error("max_evaluations: " + std::to_string(settings.max_evaluations) +
                    " must be at least 10");
    }
    constexpr std::size_t fewest = 10;
    if (settings.first_row >= log.size() || settings.row_count > log.size() - settings.first_row) {
        throw Error(log.source + ": first_row " + std::to_string(settings.first_row) +
                    " and row_count " + std::to_string(settings.row_count) + " do not lie in its " +
                    std::to_string(log.size()) + " rows");
    }
    const std::size_t rows =
        settings.row_count > 0 ? settings.row_count : log.size() - settings.first_row;
    if (rows < fewest) {
        throw Error(log.source + ": a pulse needs at least " + std::to_string(fewest) +
                    " rows, here are " + std::to_string(rows));
    }
}

}  // namespace

SinglePulseFit fit_single_pulse(const Log& log, const SinglePulseSettings& settings) {
    check_settings(log, settings);
    const std::size_t count =
        settings.row_count > 0 ? settings.row_count : log.size() - settings.first_row;
    const auto first = log.current_A.begin() + static_cast<std::ptrdiff_t>(settings.first_row);
    const auto extremes = std::minmax_element(first, first + static_cast<std::ptrdiff_t>(count));
    const double swing_A = *extremes.second - *extremes.first;
    if (!(swing_A > 0))
        throw Error(log.source + ": current_A does not change, so there is no pulse to fit");
    if (std::abs(*first) > 0.05 * swing_A) {
        throw Error(log.source + ": the first row carries " + number_text(*first) +
                    " A; a pulse must start at rest");
    }
    const PulseRows rows(log, settings.first_row, count, settings);
    ReducedProblem problem(rows);

    // Start: the best of a few time constants, the other parameters by linear least squares.
    Eigen::VectorXd x(parameter_count);
    double least = -1;
    for (const double share : {0.004, 0.03, 0.2}) {
        Eigen::VectorXd tried(parameter_count);
        tried << log.voltage_V[settings.first_row], 0, 0,
            std::log(std::max(share * rows.duration_s(), 0.5 * rows.step_s())), 0;
        const double squares = problem.solve_linear(tried);
        if (std::isfinite(squares) && (least < 0 || squares < least)) {
            least = squares;
            x = tried;
        }
    }
    if (least < 0) throw Error(log.source + ": the pulse fit cannot start");

    (void)detail::minimize(problem, x, {1e-9, 1e-9, settings.max_evaluations});
    Eigen::VectorXd residuals(parameter_count + 1);
    problem(x, residuals);

    SinglePulseFit fit;
    fit.rows = count;
    fit.evaluations = problem.evaluations();
    fit.ocv_V = x[0];
    fit.r0_ohm = x[1];
    fit.branch_ohm = x[2];
    fit.branch_time_s = std::exp(x[at_time]);
    const bool lumped = settings.form == PulseForm::lumped;
    fit.slow_ohm = lumped ? 0 : x[4];
    fit.ocv_slope_V_per_Ah = lumped ? x[4] : settings.ocv_slope_V_per_Ah;
    const double shortest_s = 0.05 * rows.step_s();
    const double longest_s = 100 * rows.duration_s();
    const auto fail_untold = [&] {
        throw Error(log.source + ": these rows do not tell all five parameters (time constant " +
                    number_text(fit.branch_time_s) + " s, rows every " +
                    number_text(rows.step_s()) + " s over " + number_text(rows.duration_s()) +
                    " s); take a longer pulse, or the rest after it as well");
    };
    if (!problem.solvable() || !(fit.branch_time_s > shortest_s) ||
        !(fit.branch_time_s < longest_s)) {
        fail_untold();
    }
    if (!(fit.r0_ohm > 0) && fit.r0_ohm + fit.branch_ohm > 0) fail_untold();
    if (!(fit.r0_ohm > 0)) {
        throw Error(log.source + ": r0_ohm comes out as " + number_text(fit.r0_ohm) +
                    ". Current must be positive when charging; if this log has the other sign, "
                    "turn it first");
    }
    const PulseRows::Sums& sums = problem.sums();
    fit.cost_V2 = 0.5 * sums.squares;
    fit.residual_rms_V = std::sqrt(sums.squares / static_cast<double>(count));
    // Lag-one correlation of the residuals, as in the fit of whole pulse tests.
    const double rho =
        sums.squares > 0 ? std::clamp(sums.neighbours / sums.squares, 0.0, 0.98) : 0.0;
    fit.rows_per_independent_row = (1 + rho) / (1 - rho);
    const double variance_V2 =
        sums.squares / static_cast<double>(count - parameter_count) * fit.rows_per_independent_row;
    // Scaled to a unit diagonal before it is inverted: the columns differ by orders of magnitude.
    const Parameters scale = sums.normal.diagonal().cwiseSqrt().cwiseInverse();
    const Normal inverse =
        detail::inverse_of_normal(Normal(scale.asDiagonal() * sums.normal * scale.asDiagonal()));
    const Normal covariance = variance_V2 * (scale.asDiagonal() * inverse * scale.asDiagonal());
    const Parameters spread = covariance.diagonal().cwiseMax(0.0).cwiseSqrt();
    // Known to no better than a factor of e: a branch that is not there.
    if (!(spread[at_time] < 1)) fail_untold();
    fit.ocv_V_std = spread[0];
    fit.r0_ohm_std = spread[1];
    fit.branch_ohm_std = spread[2];
    fit.branch_time_s_std = fit.branch_time_s * spread[at_time];
    (lumped ? fit.ocv_slope_V_per_Ah_std : fit.slow_ohm_std) = spread[4];
    for (int i = 0; i < parameter_count; ++i) {
        fit.correlation.emplace_back();
        for (int j = 0; j < parameter_count; ++j)
            fit.correlation.back().push_back(inverse(i, j) /
                                             std::sqrt(inverse(i, i) * inverse(j, j)));
    }
    return fit;
}

}  // namespace voltkeel
