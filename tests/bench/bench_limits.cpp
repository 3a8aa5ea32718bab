// Cost of the limits: of one cell, and of a pack of 96 groups over four horizons, both directions.
// Cells and states are invented; times are of the processor, the best of many.

#include <algorithm>
#include <cstdio>
#include <ctime>
#include <vector>

#include "../support/example_cell.hpp"
#include "voltkeel/limits/pack_limits.hpp"

using namespace voltkeel;

namespace {

template <class Action>
double best_us(int repeats, const Action& action) {
    double best_s = 1e9;
    for (int k = 0; k < 40; ++k) {
        const std::clock_t start = std::clock();
        for (int n = 0; n < repeats; ++n)
            action();
        best_s = std::min(best_s, static_cast<double>(std::clock() - start) / CLOCKS_PER_SEC);
    }
    return 1e6 * best_s / repeats;
}

/// A cell of 50 Ah with curved tables, as cells show them.
template <class Real>
voltkeel_test::OwnedCell<Real, 3> made_cell() {
    voltkeel_test::OwnedCell<double, 3> cell;
    for (int k = 0; k <= 200; ++k) {
        const double soc = k / 200.0;
        cell.ocv.push_back(
            {3.2 + 0.95 * soc - 0.25 * std::exp(-25 * soc), 0.004, 1e-4 * (soc - 0.5)});
    }
    auto& table = cell.scalars.resistance;
    table.soc = uniform_axis(0.0, 1.0, 11);
    table.temperature_degC = uniform_axis(-30.0, 60.0, 37);
    for (int t = 0; t < 37; ++t) {
        const double cold = std::exp(3200 * (1 / (243.15 + 2.5 * t) - 1 / 298.15));
        for (int s = 0; s < 11; ++s) {
            const double shape = 1 + 0.8 * std::exp(-s / 1.5);
            ResistanceNode<double, 3> node;
            node.r0_ohm = 0.0011 * cold * shape;
            const double shares_ohm[] = {0.0004, 0.0006, 0.0005};
            const double times_s[] = {1.5, 18, 220};
            for (int i = 0; i < 3; ++i) {
                node.branch_ohm[i] = shares_ohm[i] * cold * shape;
                node.branch_time_s[i] = times_s[i];
            }
            cell.resistance.push_back(node);
        }
    }
    cell.scalars.capacity_Ah = 50;
    cell.scalars.hysteresis_rate = 30;
    cell.scalars.thermal = {900, 2.5};
    return voltkeel_test::cell_cast<Real>(cell);
}

template <class Real>
void run(const char* scalar) {
    constexpr int count = 96;
    const auto own = made_cell<Real>();
    const auto cell = own.view();
    CellLimits<Real> limits;
    limits.window = {Real(2.8), Real(4.18), Real(0.02), Real(0.98),
                     Real(0),   Real(45),   Real(-20),  Real(60)};
    static FixedPackLimitWorkspace<Real, 3, false, count, 2> workspace;
    struct Case {
        double spread;
        bool strings;  // two, the second of them 2 points emptier and older
    };
    for (const auto& [spread, strings] :
         {Case{0, false}, Case{0.01, false}, Case{0.1, false}, Case{0.01, true}}) {
        voltkeel_test::Random random(5);
        std::vector<Real> soc, degC, scale, lags;
        for (int g = 0; g < count; ++g) {
            const bool second = strings && g >= count / 2;
            soc.push_back(static_cast<Real>((second ? 0.48 : 0.5) + spread * random.normal()));
            degC.push_back(static_cast<Real>(22 + 100 * spread * random.normal()));
            scale.push_back(
                static_cast<Real>((second ? 1.4 : 1.1) * std::exp(3 * spread * random.normal())));
            for (int i = 0; i < 3; ++i)
                lags.push_back(Real(-0.004));
        }
        LimitPack<Real, 3> pack;
        pack.cells = &cell;
        pack.limits = &limits;
        pack.group_count = count;
        const LimitString<Real> two[] = {{0, count / 2, Real(0.003), true},
                                         {count / 2, count / 2, Real(0.003), true}};
        if (strings) {
            pack.strings = two;
            pack.string_count = 2;
        }
        GroupStates<Real> states;
        states.soc = soc.data();
        states.temperature_degC = degC.data();
        states.resistance_scale = scale.data();
        states.branch_V = lags.data();
        PackHorizonLimit<Real> out[4];
        bool fine = true;
        const double pack_us = best_us(20, [&] {
            fine = fine && pack_limits(pack, states, default_pack_horizons_s<Real>, 4,
                                       workspace.view(), out) == Status::ok;
        });
        if (!fine) std::printf("failed\n");
        std::printf(
            "%s, 96 groups that differ by %.0f %% of SOC%s, 4 horizons: %.1f us, %.3f us a group "
            "and "
            "horizon; 10 s: %.1f A, %.1f A (%s)\n",
            scalar, 100 * spread, strings ? " in two unlike strings" : "", pack_us,
            pack_us / (4 * count), double(out[1].charge.current_A),
            double(out[1].discharge.current_A), message(out[1].discharge.reason));
    }
    CellState<Real, 3> state;
    state.soc = Real(0.5);
    HorizonLimit<Real> out[4];
    const double cell_us = best_us(100, [&] {
        static_cast<void>(
            current_limits(cell, limits, state, Real(22), default_pack_horizons_s<Real>, 4, out));
    });
    std::printf("%s, one cell, 4 horizons: %.1f us\n", scalar, cell_us);
}

}  // namespace

int main() {
    run<double>("double");
    run<float>("float");
}
