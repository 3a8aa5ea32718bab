#include "voltkeel/fit/incremental_capacity.hpp"

#include <algorithm>
#include <cmath>

#include "io/number_text.hpp"
#include "voltkeel/error.hpp"
#include "voltkeel/units.hpp"

namespace voltkeel {

namespace {

/// Charge that lies evenly between two voltages.
struct Piece {
    double low_V;
    double high_V;
    double charge_Ah;
};

/// Distribution function of the standard normal.
double normal_share(double x) {
    constexpr double root_half = 0.70710678118654752;
    return 0.5 * std::erfc(-x * root_half);
}

constexpr double reach = 6;  // standard deviations after which a Gaussian is over

IncrementalCapacity smoothed(const std::vector<Piece>& pieces,
                             const IncrementalCapacitySettings& settings) {
    double first_V = pieces.front().low_V;
    double last_V = pieces.front().high_V;
    for (const Piece& piece : pieces) {
        first_V = std::min(first_V, piece.low_V);
        last_V = std::max(last_V, piece.high_V);
    }
    const double h_V = settings.smoothing_V;
    const double count = std::floor((last_V - first_V) / settings.step_V) + 1;
    constexpr double most = 1e6;
    if (!(count >= 2) || count > most) {
        throw Error("step_V: " + number_text(settings.step_V) + " does not divide the " +
                    number_text(first_V) + " .. " + number_text(last_V) +
                    " V there are into 2 to 1000000 voltages");
    }
    IncrementalCapacity result;
    result.voltage_V.resize(static_cast<std::size_t>(count));
    result.charge_Ah_per_V.assign(result.voltage_V.size(), 0.0);
    for (std::size_t k = 0; k < result.voltage_V.size(); ++k)
        result.voltage_V[k] = first_V + static_cast<double>(k) * settings.step_V;

    // Mirrored at both ends: what the Gaussian carries beyond them comes back inside.
    const auto add = [&](double low_V, double high_V, double charge_Ah) {
        const double from = std::ceil((low_V - reach * h_V - first_V) / settings.step_V);
        const double to = std::floor((high_V + reach * h_V - first_V) / settings.step_V);
        if (!(to >= 0) || !(from < count)) return;
        const auto begin = static_cast<std::size_t>(std::max(from, 0.0));
        const auto end = static_cast<std::size_t>(std::min(to, count - 1));
        const double width_V = high_V - low_V;
        for (std::size_t k = begin; k <= end; ++k) {
            const double v = result.voltage_V[k];
            double density_per_V = 0;
            if (width_V > 1e-3 * h_V) {
                density_per_V =
                    (normal_share((v - low_V) / h_V) - normal_share((v - high_V) / h_V)) / width_V;
            } else {
                const double x = (v - 0.5 * (low_V + high_V)) / h_V;
                constexpr double per_root_2_pi = 0.39894228040143268;
                density_per_V = per_root_2_pi / h_V * std::exp(-0.5 * x * x);
            }
            result.charge_Ah_per_V[k] += charge_Ah * density_per_V;
        }
    };
    for (const Piece& piece : pieces) {
        add(piece.low_V, piece.high_V, piece.charge_Ah);
        if (piece.low_V < first_V + reach * h_V)
            add(2 * first_V - piece.high_V, 2 * first_V - piece.low_V, piece.charge_Ah);
        if (piece.high_V > last_V - reach * h_V)
            add(2 * last_V - piece.high_V, 2 * last_V - piece.low_V, piece.charge_Ah);
    }
    return result;
}

void check_settings(const IncrementalCapacitySettings& settings) {
    if (!(settings.smoothing_V > 0) || !std::isfinite(settings.smoothing_V))
        throw Error("smoothing_V: " + number_text(settings.smoothing_V) + " must be above 0");
    if (!(settings.step_V > 0) || !std::isfinite(settings.step_V))
        throw Error("step_V: " + number_text(settings.step_V) + " must be above 0");
}

Piece piece_of(double a_V, double b_V, double charge_Ah) {
    return {std::min(a_V, b_V), std::max(a_V, b_V), charge_Ah};
}

}  // namespace

IncrementalCapacity incremental_capacity(const Log& log, bool charging,
                                         const IncrementalCapacitySettings& settings) {
    check_settings(settings);
    check_log(log);
    std::vector<Piece> pieces;
    for (std::size_t k = 1; k < log.size(); ++k) {
        const double current_A = log.current_A[k];
        if (!(charging ? current_A > 0 : current_A < 0)) continue;
        // The first row under current: the jump over R0 from the rest before is no charge.
        const bool jump = !(charging ? log.current_A[k - 1] > 0 : log.current_A[k - 1] < 0);
        pieces.push_back(piece_of(
            jump ? log.voltage_V[k] : log.voltage_V[k - 1], log.voltage_V[k],
            std::abs(current_A) * (log.time_s[k] - log.time_s[k - 1]) / seconds_per_hour<double>));
    }
    if (pieces.empty()) {
        throw Error(log.source + ": no row " +
                    (charging ? "charges" : "discharges (current_A below 0)") +
                    ", so there is no incremental capacity");
    }
    return smoothed(pieces, settings);
}

IncrementalCapacity incremental_capacity(const OcvCurve& curve, double capacity_Ah, bool charging,
                                         const IncrementalCapacitySettings& settings) {
    check_settings(settings);
    if (!(capacity_Ah > 0) || !std::isfinite(capacity_Ah))
        throw Error("capacity_Ah: " + number_text(capacity_Ah) + " must be above 0");
    const std::vector<double>& voltage_V = charging ? curve.charge_V : curve.discharge_V;
    if (voltage_V.size() < 2 || voltage_V.size() != curve.soc.size())
        throw Error("curve: soc and voltages must have the same length, at least 2");
    std::vector<Piece> pieces;
    for (std::size_t k = 1; k < voltage_V.size(); ++k) {
        const double charge_Ah = capacity_Ah * (curve.soc[k] - curve.soc[k - 1]);
        if (!(charge_Ah > 0) || !std::isfinite(voltage_V[k]) || !std::isfinite(voltage_V[k - 1]))
            throw Error("curve: at node " + std::to_string(k) +
                        " SOC does not increase or a voltage is not finite");
        pieces.push_back(piece_of(voltage_V[k - 1], voltage_V[k], charge_Ah));
    }
    return smoothed(pieces, settings);
}

}  // namespace voltkeel
