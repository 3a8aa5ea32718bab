#pragma once
/// \file differences.hpp
/// How the cells of a pack differ from their cell file and from each other.

#include <cstdint>
#include <vector>

#include "voltkeel/io/pack.hpp"

namespace voltkeel {

/// One value per cell, in the order string, group, cell; an empty vector means no difference.
struct CellDifferences {
    std::vector<double> capacity_factor;       ///< On the capacity of the cell file, > 0.
    std::vector<double> resistance_factor;     ///< On all its resistances, > 0.
    std::vector<double> soc_offset;            ///< Added to the SOC at the start.
    std::vector<double> leak_A;                ///< Lost inside besides its self-discharge, >= 0.
    std::vector<double> temperature_offset_K;  ///< Of the cell at the start, and its surroundings.
};

/// What cells are drawn from. Factors are spread by their logarithm.
struct SpreadSettings {
    std::uint64_t seed{1};
    double capacity_log_std{0};    ///< New cells: 0.01 to 0.03.
    double resistance_log_std{0};  ///< New cells: 0.1 to 0.2.
    double soc_std{0};
    double leak_median_A{0};  ///< 0: no leak.
    double leak_log_std{0};
    double temperature_std_K{0};
    double cut_std{3};  ///< What lies further out is drawn again: cells are sorted.
};

/// Draws the differences of every cell of a pack, the same on every machine for one seed.
/// Quantities without a spread stay empty, and do not move the draws of the others.
/// \throws Error naming the setting that is out of bounds
[[nodiscard]] CellDifferences draw_differences(const Pack& pack, const SpreadSettings& settings);

}  // namespace voltkeel
