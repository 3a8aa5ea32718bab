#pragma once
/// \file heat_network.hpp
/// Temperatures of all cells over a step of constant heat: each cell by the closed solution of
/// cell/heat.hpp, or, where cases touch, all together by a controlled Runge-Kutta method.

#include <cstddef>
#include <vector>

#include "simulate/circuit.hpp"
#include "voltkeel/cell/heat.hpp"

namespace voltkeel::detail {

/// The network. Heat and conductances are per cell of a unit.
class HeatNetwork {
  public:
    HeatNetwork(const Pack& pack, const Wiring& wiring, bool each_cell);

    /// Temperatures after a step. \param from_case, to_case the same unit order \param heat_W made
    /// in each core, held
    void go(const std::vector<double>& from_core_degC, const std::vector<double>& from_case_degC,
            const std::vector<double>& ambient_degC, const std::vector<double>& heat_W, double dt_s,
            std::vector<double>& to_core_degC, std::vector<double>& to_case_degC);

    /// Heat kept by each cell of a unit between two pairs of temperatures, in J.
    [[nodiscard]] double kept_J(std::size_t unit, double core_K, double case_K) const;

    [[nodiscard]] bool coupled() const { return !links_.empty(); }

    /// Heat that flowed to neighbours is not in a cell's own balance: at the present temperatures, in
    /// W per cell, positive into the cell.
    void from_neighbours_W(const std::vector<double>& case_degC, std::vector<double>& out) const;

  private:
    struct Run {  // units of one kind in a row
        std::size_t first{0};
        std::size_t count{0};
        ThermalParameters<double> thermal{};
    };
    struct Link {
        std::size_t a{0};
        std::size_t b{0};
        double W_per_K{0};
    };
    struct Steps {
        double dt_s{-1};
        std::vector<ThermalStep<double>> of_run;
    };
    const Steps& steps(double dt_s);

    std::vector<Run> runs_;
    std::vector<std::size_t> run_of_;
    std::vector<Link> links_;
    Steps cached_[2];
    int oldest_{0};
    std::vector<double> work_;
};

}  // namespace voltkeel::detail
