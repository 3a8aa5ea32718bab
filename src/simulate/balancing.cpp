#include "voltkeel/simulate/balancing.hpp"

#include <algorithm>
#include <limits>
#include <map>

#include "simulate/bounds.hpp"
#include "voltkeel/cell/ocv.hpp"

namespace voltkeel {

namespace {

/// The OCV of a kind of cell, alone.
struct KindOcv {
    std::vector<OcvNode<double>> nodes;
    OcvTable<double> table;
    double resolved_share{0};
};

KindOcv ocv_of(const Cell& cell, const BalancingOutlookSettings& settings) {
    KindOcv ocv;
    ocv.nodes = ocv_nodes<double>(cell.ocv);
    ocv.table = {ocv.nodes.data(), static_cast<int>(ocv.nodes.size()),
                 cell.ocv.reference_temperature_degC};
    const int steps = 1000;
    int resolved = 0;
    for (int k = 0; k < steps; ++k) {
        const double soc = (k + 0.5) / steps;
        const double low = std::max(0.0, soc - 0.5 * settings.soc_step);
        const double high = std::min(1.0, soc + 0.5 * settings.soc_step);
        const double rise_V =
            ocv_at(ocv.table, high, 25.0).mean_V - ocv_at(ocv.table, low, 25.0).mean_V;
        if (rise_V * settings.soc_step >= settings.voltage_error_V * (high - low)) ++resolved;
    }
    ocv.resolved_share = static_cast<double>(resolved) / steps;
    return ocv;
}

}  // namespace

std::vector<BalancingOutlook> balancing_outlook(const Pack& pack, const PackState& state,
                                                const CellDifferences& differences,
                                                const BalancingOutlookSettings& settings) {
    check(pack);
    const auto cells = static_cast<std::size_t>(cell_count(pack));
    for (const auto* column : {&state.soc, &state.hysteresis, &state.core_degC}) {
        if (column->size() != cells)
            throw Error("state: has " + std::to_string(column->size()) + " cells, the pack has " +
                        std::to_string(cells));
    }
    if (!differences.capacity_factor.empty() && differences.capacity_factor.size() != cells)
        throw Error("differences.capacity_factor: has " +
                    std::to_string(differences.capacity_factor.size()) +
                    " values, needs one for each of " + std::to_string(cells) + " cells");
    detail::need_within("threshold_V", settings.threshold_V, 0, 1);
    detail::need_within("voltage_error_V", settings.voltage_error_V, 0, 1);
    detail::need_within("soc_step", settings.soc_step, 1e-3, 0.5);
    std::map<std::string, KindOcv> kinds;
    for (const PackModule& kind : pack.modules)
        kinds.emplace(kind.name, ocv_of(kind.cell, settings));
    // The views point into the map's own nodes.
    for (auto& one : kinds)
        one.second.table.nodes = one.second.nodes.data();
    std::vector<BalancingOutlook> all;
    std::size_t cell = 0;
    for (const PackString& string : pack.strings) {
        BalancingOutlook out;
        out.string = string.name;
        std::vector<double> headroom_Ah;
        std::vector<double> group_V;
        double least_held_Ah = std::numeric_limits<double>::infinity();
        double least_room_Ah = least_held_Ah;
        out.balanced_Ah = least_held_Ah;
        out.resolved_share = 1;
        double low_V = least_held_Ah;
        double high_V = 0;
        for (const std::string& name : string.modules) {
            const PackModule& kind = module_named(pack, name);
            const KindOcv& ocv = kinds.at(name);
            out.resolved_share = std::min(out.resolved_share, ocv.resolved_share);
            for (int g = 0; g < kind.layout.series; ++g) {
                double capacity_Ah = 0;
                double held_Ah = 0;
                double sum_V = 0;
                double slope_V = 0;
                for (int k = 0; k < kind.layout.parallel; ++k, ++cell) {
                    const double one_Ah =
                        kind.cell.capacity_Ah * (differences.capacity_factor.empty()
                                                     ? 1.0
                                                     : differences.capacity_factor[cell]);
                    const OcvPoint<double> at =
                        ocv_at(ocv.table, state.soc[cell], state.core_degC[cell]);
                    capacity_Ah += one_Ah;
                    held_Ah += one_Ah * state.soc[cell];
                    sum_V += at.mean_V + state.hysteresis[cell] * at.half_gap_V;
                    slope_V += at.slope_V;
                }
                sum_V /= kind.layout.parallel;
                slope_V /= kind.layout.parallel;
                headroom_Ah.push_back(capacity_Ah - held_Ah);
                group_V.push_back(sum_V);
                low_V = std::min(low_V, sum_V);
                high_V = std::max(high_V, sum_V);
                least_held_Ah = std::min(least_held_Ah, held_Ah);
                least_room_Ah = std::min(least_room_Ah, headroom_Ah.back());
                out.balanced_Ah = std::min(out.balanced_Ah, capacity_Ah);
                out.threshold_soc = std::max(out.threshold_soc, settings.threshold_V / slope_V);
            }
        }
        out.usable_Ah = least_held_Ah + least_room_Ah;
        out.gain_Ah = out.balanced_Ah - out.usable_Ah;
        out.seen_V = high_V - low_V;
        const double most_Ah = *std::max_element(headroom_Ah.begin(), headroom_Ah.end());
        for (std::size_t g = 0; g < headroom_Ah.size(); ++g) {
            const double bleed_Ah = most_Ah - headroom_Ah[g];
            out.group_bleed_Ah.push_back(bleed_Ah);
            out.bleed_Ah += bleed_Ah;
            out.bleed_J += 3600 * bleed_Ah * group_V[g];
            if (!pack.bleed) continue;
            const double current_A = pack.bleed->duty * group_V[g] / pack.bleed->resistance_ohm;
            out.time_s = std::max(out.time_s, 3600 * bleed_Ah / current_A);
            out.hottest_W =
                std::max(out.hottest_W, group_V[g] * group_V[g] / pack.bleed->resistance_ohm);
        }
        all.push_back(std::move(out));
    }
    return all;
}

}  // namespace voltkeel
