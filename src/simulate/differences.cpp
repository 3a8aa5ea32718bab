#include "voltkeel/simulate/differences.hpp"

#include "simulate/bounds.hpp"
#include "voltkeel/simulate/random.hpp"

namespace voltkeel {

CellDifferences draw_differences(const Pack& pack, const SpreadSettings& settings) {
    detail::need_within("capacity_log_std", settings.capacity_log_std, 0, 1);
    detail::need_within("resistance_log_std", settings.resistance_log_std, 0, 1);
    detail::need_within("soc_std", settings.soc_std, 0, 0.5);
    detail::need_within("leak_median_A", settings.leak_median_A, 0, 1e3);
    detail::need_within("leak_log_std", settings.leak_log_std, 0, 3);
    detail::need_within("temperature_std_K", settings.temperature_std_K, 0, 50);
    detail::need_within("cut_std", settings.cut_std, 0.1, 100);
    const auto cells = static_cast<std::size_t>(cell_count(pack));
    CellDifferences differ;
    // Every quantity has a stream of its own, so that one more spread does not move the others.
    std::uint64_t stream = 0;
    const auto draw = [&](std::vector<double>& column, bool wanted, auto value) {
        ++stream;
        if (!wanted) return;
        PortableRandom random(settings.seed * 0x9E3779B97F4A7C15ULL + stream);
        column.reserve(cells);
        for (std::size_t k = 0; k < cells; ++k)
            column.push_back(value(random.normal_within(settings.cut_std)));
    };
    const auto factor = [](double log_std) {
        return [log_std](double x) { return exponential(log_std * x); };
    };
    draw(differ.capacity_factor, settings.capacity_log_std > 0, factor(settings.capacity_log_std));
    draw(differ.resistance_factor, settings.resistance_log_std > 0,
         factor(settings.resistance_log_std));
    draw(differ.soc_offset, settings.soc_std > 0, [&](double x) { return settings.soc_std * x; });
    draw(differ.leak_A, settings.leak_median_A > 0,
         [&](double x) { return settings.leak_median_A * exponential(settings.leak_log_std * x); });
    draw(differ.temperature_offset_K, settings.temperature_std_K > 0,
         [&](double x) { return settings.temperature_std_K * x; });
    return differ;
}

}  // namespace voltkeel
