#include "fit/model_errors.hpp"

#include <algorithm>
#include <cmath>
#include <limits>

#include "voltkeel/cell/model.hpp"

namespace voltkeel::detail {

double noise_std_V(double overvoltage_V, const VoltageNoise& noise) {
    return std::hypot(noise.voltage_std_V, noise.overvoltage_share_std * overvoltage_V);
}
// Fisher scoring on both variances; the repeat from the lag-one correlation (Bayley & Hammersley
// 1946; from memory, not re-read).
VoltageNoise noise_of(const std::vector<RowError>& errors) {
    const auto square = [](double x) { return x * x; };
    double squares = 0;
    double overvoltages = 0;
    for (const RowError& e : errors) {
        squares += square(e.error_V);
        overvoltages += square(e.overvoltage_V);
    }
    const auto count = static_cast<double>(errors.size());
    constexpr double least_V = 1e-3;  // a model no better than a millivolt at rest
    double constant = std::max(square(least_V), 0.5 * squares / count);
    double share = 0.5 * squares / std::max(overvoltages, 1e-12);
    for (int turn = 0; turn < 50; ++turn) {
        double a11 = 0, a12 = 0, a22 = 0, b1 = 0, b2 = 0;
        for (const RowError& e : errors) {
            const double x = square(e.overvoltage_V);
            const double weight = 1 / square(constant + share * x);
            a11 += weight;
            a12 += weight * x;
            a22 += weight * x * x;
            b1 += weight * square(e.error_V);
            b2 += weight * x * square(e.error_V);
        }
        const double determinant = a11 * a22 - a12 * a12;
        double next_share = determinant > 1e-12 * a11 * a22 ? (a11 * b2 - a12 * b1) / determinant
                                                            : b2 / std::max(a22, 1e-30);
        next_share = std::clamp(next_share, 0.0, 1.0);
        const double next = std::max(square(least_V), (b1 - a12 * next_share) / a11);
        const bool settled = std::abs(next - constant) < 1e-6 * constant &&
                             std::abs(next_share - share) < 1e-6 * (share + 1e-9);
        constant = next;
        share = next_share;
        if (settled) break;
    }
    VoltageNoise noise{std::sqrt(constant), std::sqrt(share), 1};
    double lag = 0;
    double sum = 0;
    for (std::size_t k = 0; k < errors.size(); ++k) {
        const double z = errors[k].error_V / noise_std_V(errors[k].overvoltage_V, noise);
        sum += z * z;
        if (k > 0 && errors[k].log == errors[k - 1].log)
            lag += z * errors[k - 1].error_V / noise_std_V(errors[k - 1].overvoltage_V, noise);
    }
    // Beyond 0.9 the correlation is that of a misfit, not of noise.
    const double rho = std::clamp(lag / std::max(sum, 1e-30), 0.0, 0.9);
    noise.rows_per_independent_row = (1 + rho) / (1 - rho);
    return noise;
}

ErrorMemory memory_of(const std::vector<RowError>& errors, const VoltageNoise& noise) {
    // Mean product of two standardized errors over their distance in time, in bins of a factor 1.6,
    // each of them one point of the curve share * exp(-distance / time).
    constexpr double growth = 1.6;
    constexpr double longest_s = 3600;
    struct Bin {
        double product{0};
        double distance_s{0};
        double pairs{0};
    };
    std::vector<Bin> bins(static_cast<std::size_t>(std::log(longest_s) / std::log(growth)) + 2);
    std::vector<double> z;
    z.reserve(errors.size());
    for (const RowError& e : errors)
        z.push_back(e.error_V / noise_std_V(e.overvoltage_V, noise));
    for (std::size_t k = 0; k < errors.size(); ++k) {
        for (std::size_t i = k + 1; i < errors.size() && errors[i].log == errors[k].log; ++i) {
            const double distance_s = errors[i].time_s - errors[k].time_s;
            if (distance_s > longest_s) break;
            if (distance_s < 1) continue;
            Bin& bin = bins[static_cast<std::size_t>(std::log(distance_s) / std::log(growth))];
            bin.product += z[k] * z[i];
            bin.distance_s += distance_s;
            bin.pairs += 1;
        }
    }
    ErrorMemory best;
    double least = std::numeric_limits<double>::infinity();
    for (double time_s = 2; time_s < longest_s; time_s *= 1.1) {
        double xx = 0;
        double xy = 0;
        double yy = 0;
        for (const Bin& bin : bins) {
            if (bin.pairs < 20) continue;
            const double x = std::exp(-bin.distance_s / bin.pairs / time_s);
            const double y = bin.product / bin.pairs;
            xx += x * x;
            xy += x * y;
            yy += y * y;
        }
        if (!(xx > 0)) continue;
        const double share = std::clamp(xy / xx, 0.0, 1.0);
        const double left = yy - 2 * share * xy + share * share * xx;
        if (left < least) {
            least = left;
            best = {share, time_s};
        }
    }
    return best;
}

double scale_walk_per_sqrt_h(std::vector<RowError> errors, const VoltageNoise& noise) {
    constexpr double window_s = 3600;
    struct Hour {
        std::size_t log{0};
        double time_s{0};
        double share{0};
        std::size_t first{0};
        std::size_t last{0};
    };
    std::vector<Hour> hours;
    for (std::size_t k = 0; k < errors.size();) {
        Hour hour{errors[k].log, 0, 0, k, k};
        const double window = std::floor(errors[k].time_s / window_s);
        double product = 0;
        double square = 0;
        for (; k < errors.size() && errors[k].log == hour.log &&
               std::floor(errors[k].time_s / window_s) == window;
             ++k) {
            const RowError& e = errors[k];
            const double weight = 1 / std::pow(noise_std_V(e.overvoltage_V, noise), 2);
            product += weight * e.error_V * e.overvoltage_V;
            square += weight * e.overvoltage_V * e.overvoltage_V;
            hour.time_s += weight * e.overvoltage_V * e.overvoltage_V * e.time_s;
        }
        if (!(square > 0)) continue;
        hour.last = k;
        hour.time_s /= square;
        hour.share = std::clamp(product / square, -1.0, 0.9);
        for (std::size_t i = hour.first; i < hour.last; ++i)
            errors[i].error_V -= hour.share * errors[i].overvoltage_V;
        hours.push_back(hour);
    }
    // What an hour cannot know of its own scale goes by what is left without it.
    const VoltageNoise left = noise_of(errors);
    const auto variance_of = [&](const Hour& hour) {
        double square = 0;
        for (std::size_t i = hour.first; i < hour.last; ++i) {
            square +=
                std::pow(errors[i].overvoltage_V / noise_std_V(errors[i].overvoltage_V, left), 2);
        }
        return left.rows_per_independent_row / std::max(square, 1e-12) /
               std::pow(1 - hour.share, 2);
    };
    constexpr double known_to =
        0.2;  // an hour that tells the scale no better than this is left out
    double squares = 0;
    double variances = 0;
    double span_h = 0;
    const Hour* before = nullptr;
    double before_variance = 0;
    for (const Hour& hour : hours) {
        const double variance = variance_of(hour);
        if (!(variance < known_to * known_to)) continue;
        if (before != nullptr && before->log == hour.log) {
            const double change = std::log1p(-hour.share) - std::log1p(-before->share);
            const double own = variance + before_variance;
            squares += change * change - own;
            variances += 2 * own * own;  // of the square of a normal variate
            span_h += (hour.time_s - before->time_s) / 3600;
        }
        before = &hour;
        before_variance = variance;
    }
    return span_h > 0 ? std::sqrt((std::max(0.0, squares) + std::sqrt(variances)) / span_h) : 0;
}

namespace {

/// Runs the model along a log, open loop.
/// \param row called after every step with its row, its length, what gives the voltage there, and
/// the SOC
template <class Row>
void run_along(const Log& log, const Cell& cell, double initial_soc, Row&& row) {
    with_form(cell, [&](auto form) {
        using Form = decltype(form);
        const CellTables<double, Form::branches, Form::transfer> tables(cell);
        const auto parameters = tables.parameters();
        CellState<double, Form::branches, Form::transfer> state;
        state.soc = initial_soc;
        for (std::size_t k = 1; k < log.size(); ++k) {
            const double dt_s = log.time_s[k] - log.time_s[k - 1];
            step(parameters, {log.current_A[k], dt_s, log.temperature_degC[k]}, state);
            const auto point = [&] {
                return voltage_at(parameters, state, log.current_A[k], log.temperature_degC[k]);
            };
            row(k, dt_s, point, state.soc);
        }
    });
}

}  // namespace

std::vector<DropError> drop_errors(const Log& log, const Cell& cell, double initial_soc) {
    constexpr double longest_s = 60;
    const double rest_A = 0.02 * cell.capacity_Ah;
    const double edge_A = 0.1 * cell.capacity_Ah;
    std::vector<DropError> found;
    bool rested = false;   // a rest came right before
    double before_V = 0;   // measured, at its end
    double model_V = 0;    // model likewise
    double time_s = 0;     // of the pulse
    double charge_As = 0;  // likewise
    run_along(log, cell, initial_soc,
              [&](std::size_t k, double dt_s, const auto& point, double soc) {
                  const double current_A = log.current_A[k];
                  if (std::abs(current_A) < rest_A) {
                      rested = true;
                      before_V = log.voltage_V[k];
                      model_V = point().voltage_V;
                      time_s = charge_As = 0;
                      return;
                  }
                  time_s += dt_s;
                  charge_As += current_A * dt_s;
                  const bool last =
                      k + 1 == log.size() || std::abs(log.current_A[k + 1] - current_A) > edge_A;
                  if (!last) return;
                  const double drop_V = log.voltage_V[k] - before_V;
                  if (rested && time_s < longest_s && drop_V * charge_As > 0) {
                      found.push_back({(point().voltage_V - model_V) / drop_V - 1,
                                       std::abs(charge_As / time_s), soc});
                  }
                  rested = false;
              });
    return found;
}

std::vector<RowError> model_errors(const Log& log, const Cell& cell, double initial_soc,
                                   std::size_t index) {
    std::vector<RowError> errors;
    const double edge_A = 0.02 * cell.capacity_Ah;
    double since_edge_s = 0;
    double next_s = 0;
    run_along(
        log, cell, initial_soc, [&](std::size_t k, double dt_s, const auto& point, double /*soc*/) {
            if (std::abs(log.current_A[k] - log.current_A[k - 1]) > edge_A) {
                since_edge_s = 0;
                next_s = 0;
            }
            since_edge_s += dt_s;
            if (since_edge_s < next_s && k + 1 < log.size()) return;
            next_s = std::max(since_edge_s * 1.3, since_edge_s + 0.05);
            const auto here = point();
            errors.push_back(
                {here.voltage_V - log.voltage_V[k], here.overvoltage_V, index, log.time_s[k]});
        });
    return errors;
}

}  // namespace voltkeel::detail
