#pragma once
/// \file heat_network.hpp
/// Temperatures of all cells over a step of constant heat: each cell by the closed solution of
/// cell/heat.hpp, or, where cases touch, all together by a controlled Runge-Kutta method.

#include <array>
#include <boost/numeric/odeint.hpp>
#include <cstddef>
#include <vector>

#include "simulate/circuit.hpp"
#include "voltkeel/cell/heat.hpp"

namespace voltkeel::detail {

/// The network. Heat and conductances are per cell of a unit.
class HeatNetwork {
  public:
    HeatNetwork(const Pack& pack, const Wiring& wiring, bool each_cell);

    /// Temperatures after a step. \param heat_W made in each core, held \param case_heat_W that
    /// enters each case besides, held; null: none \param lost_J receives what each case gave to
    /// its surroundings; null when nobody asks
    void go(const std::vector<double>& from_core_degC, const std::vector<double>& from_case_degC,
            const std::vector<double>& ambient_degC, const std::vector<double>& heat_W,
            const std::vector<double>* case_heat_W, double dt_s, std::vector<double>& to_core_degC,
            std::vector<double>& to_case_degC, std::vector<double>* lost_J);

    /// Heat that a cell of a unit keeps when its temperatures rise by these, in J.
    [[nodiscard]] double kept_J(std::size_t unit, double core_K, double case_K) const;

    /// Heat capacity of a cell of a unit in J/K: the core's, or the whole where there is no core.
    [[nodiscard]] double core_J_per_K(std::size_t unit) const;

    /// Sets every resistance from case to surroundings to that of the cell files times `factor`.
    void scale_case_resistance(double factor);

  private:
    struct Run {  // units of one kind in a row
        std::size_t first{0};
        std::size_t count{0};
        ThermalParameters<double> thermal{};
    };
    struct Link {
        std::size_t a{0};
        std::size_t b{0};
        double W_per_K{0};  // between all cells of both units
        double per_copy_a{1};
        double per_copy_b{1};
    };
    struct Steps {
        double dt_s{-1};
        std::vector<ThermalStep<double>> of_run;
    };
    struct Unit {  // of a cell; inverses, so that the slope does not divide
        double skin_W_per_K{0};
        double core_W_per_K{0};
        double core_K_per_J{0};  // 0: one mass
        double skin_K_per_J{0};
    };
    const Steps& steps(double dt_s);
    void go_around(const std::vector<double>& from_core_degC,
                   const std::vector<double>& from_case_degC,
                   const std::vector<double>& ambient_degC, const std::vector<double>& heat_W,
                   double dt_s, std::vector<double>& to_core_degC,
                   std::vector<double>& to_case_degC, std::vector<double>* lost_J);
    void set_units();

    std::vector<Run> runs_;
    std::vector<std::size_t> run_of_;
    std::vector<Link> links_;
    std::vector<double> file_resistance_K_per_W_;  // of each run
    double factor_{1};
    std::array<Steps, 4> cached_;
    std::size_t oldest_{0};
    std::vector<Unit> units_;
    double fastest_per_s_{0};
    std::vector<double> work_;
    std::vector<double> warmed_degC_;  // surroundings as a case with heat of its own feels them
    boost::numeric::odeint::runge_kutta4<std::vector<double>> short_step_;
};

}  // namespace voltkeel::detail
