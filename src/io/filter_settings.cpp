#include "voltkeel/io/filter_settings.hpp"

#include <algorithm>
#include <cmath>
#include <cstddef>
#include <vector>

#include "voltkeel/cell/ocv.hpp"

namespace voltkeel {

SocFilterSettings<double> filter_settings(const Cell& cell) {
    check(cell);
    SocFilterSettings<double> settings;

    if (cell.noise.voltage_std_V > 0) {
        // Errors that last are not averaged away by fusing more of them. What lasts longer than
        // half a minute is not noise to the filter but something to follow: resistance scale and
        // SOC floor take it.
        constexpr double longest_s = 30;
        const double rows = std::min(cell.noise.correlation_time_s, longest_s) /
                            std::max(settings.update_interval_s, 1e-3);
        const double grown = std::sqrt(1 + 2 * cell.noise.lasting_share * rows);
        settings.voltage_std_V = std::clamp(grown * cell.noise.voltage_std_V, 1e-3, 0.2);
        settings.overvoltage_share_std =
            std::clamp(grown * cell.noise.overvoltage_share_std, 0.0, 2.0);
        settings.log_scale_std_initial =
            std::max(settings.log_scale_std_initial, 2 * cell.noise.resistance_log_std);
        // Never less than the default: use goes on changing what a test leaves alone.
        settings.log_scale_std_per_sqrt_h = std::clamp(cell.noise.resistance_log_std_per_sqrt_h,
                                                       settings.log_scale_std_per_sqrt_h, 1.0);
    }

    std::vector<double> stds_V = cell.ocv.voltage_std_V;
    const auto middle = stds_V.begin() + static_cast<std::ptrdiff_t>(stds_V.size() / 2);
    std::nth_element(stds_V.begin(), middle, stds_V.end());
    const double ocv_std_V = *middle;
    const std::vector<OcvNode<double>> nodes = ocv_nodes<double>(cell.ocv);
    const OcvTable<double> ocv{nodes.data(), static_cast<int>(nodes.size()),
                               cell.ocv.reference_temperature_degC};
    constexpr double low_soc = 0.2;
    constexpr double high_soc = 0.8;
    const double slope_V =
        (ocv_at(ocv, high_soc, 25.0).mean_V - ocv_at(ocv, low_soc, 25.0).mean_V) /
        (high_soc - low_soc);
    const double half_gap_V = ocv_at(ocv, 0.5, 25.0).half_gap_V;
    // What the defaults are made for: an OCV known to a few millivolts.
    constexpr double known_V = 0.008;
    if (ocv_std_V > known_V) {
        settings.voltage_std_V = std::max(settings.voltage_std_V, 1.5 * ocv_std_V);
        settings.soc_std_floor =
            std::clamp(std::hypot(ocv_std_V, half_gap_V) / slope_V, settings.soc_std_floor, 0.25);
    }

    const ResistanceGrid& grid = cell.resistance;
    if (!grid.r0_ohm_std.empty()) {
        // At the middle SOC of the warmest row, where a cell is known best.
        const std::size_t t = grid.temperature_degC.size() - 1;
        const std::size_t s = grid.soc.size() / 2;
        const double share_std = grid.r0_ohm_std[t][s] / grid.r0_ohm[t][s];
        settings.log_scale_std_initial = std::clamp(share_std, settings.log_scale_std_initial, 1.0);
    }

    // A wrong capacity makes counting wrong by the same share of what is counted.
    const double capacity_share_std = cell.capacity_Ah_std / cell.capacity_Ah;
    settings.soc_std_per_sqrt_h =
        std::clamp(0.4 * capacity_share_std, settings.soc_std_per_sqrt_h, 0.2);
    return settings;
}

}  // namespace voltkeel
