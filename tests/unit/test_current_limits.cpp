// Limits of one cell against fine stepping of the model: at the limit the named bound is met, no
// other is broken, and 1 % more current breaks it.

#include <algorithm>
#include <catch2/catch.hpp>
#include <cmath>
#include <cstdint>
#include <limits>
#include <random>
#include <string>
#include <vector>

#include "support/scalars.hpp"
#include "support/seed.hpp"
#include "support/window_cast.hpp"
#include "voltkeel/limits/current_limits.hpp"

namespace {

using voltkeel::CellLimits;
using voltkeel::CellParameters;
using voltkeel::CellState;
using voltkeel::CurrentTable;
using voltkeel::DirectionLimit;
using voltkeel::HorizonLimit;
using voltkeel::LimitReason;
using voltkeel::LimitSettings;
using voltkeel::Status;

/// A cell, its limits and a state in plain doubles, from which both scalars are made.
struct Case {
    double capacity_Ah{5};
    double efficiency{1};
    double leak_per_s{0};
    double hysteresis_rate{0};
    std::vector<double> mean_V, half_gap_V, entropy_V_per_K;  // evenly spaced over SOC
    int soc_count{2};
    double first_degC{-30}, last_degC{70};
    int temperature_count{2};
    // [temperature][soc], then per branch
    std::vector<double> r0_ohm;
    std::vector<std::vector<double>> branch_ohm, branch_s;
    double heat_capacity_J_per_K{50}, thermal_K_per_W{10};
    voltkeel::CellWindow<double> window;
    struct Table {
        double duration_s{0};
        std::vector<double> temperature_degC, soc, charge_A, discharge_A;
    };
    std::vector<Table> tables;
    double soc{0.5}, hysteresis{0}, scale{1}, temperature_degC{25};
    std::vector<double> branch_V;
};

/// The tables of a case at one scalar.
template <class Real, int Branches>
class Fixture {
  public:
    explicit Fixture(const Case& c) {
        const auto convert = [](const std::vector<double>& from) {
            std::vector<Real> to;
            to.reserve(from.size());
            for (const double x : from)
                to.push_back(static_cast<Real>(x));
            return to;
        };
        const auto real = [](double x) { return static_cast<Real>(x); };
        for (std::size_t k = 0; k < c.mean_V.size(); ++k) {
            ocv_.push_back({real(c.mean_V[k]), real(c.half_gap_V[k]), real(c.entropy_V_per_K[k])});
        }
        for (std::size_t k = 0; k < c.r0_ohm.size(); ++k) {
            voltkeel::ResistanceNode<Real, Branches> node;
            node.r0_ohm = real(c.r0_ohm[k]);
            for (int i = 0; i < Branches; ++i) {
                node.branch_ohm[i] = real(c.branch_ohm[static_cast<std::size_t>(i)][k]);
                node.branch_time_s[i] = real(c.branch_s[static_cast<std::size_t>(i)][k]);
            }
            resistance_.push_back(node);
        }
        cell.capacity_Ah = real(c.capacity_Ah);
        cell.coulombic_efficiency = real(c.efficiency);
        cell.self_discharge_per_s = real(c.leak_per_s);
        cell.hysteresis_rate = real(c.hysteresis_rate);
        cell.ocv = {ocv_.data(), static_cast<int>(ocv_.size()), Real(25)};
        cell.resistance = {
            resistance_.data(), voltkeel::uniform_axis(Real(0), Real(1), c.soc_count),
            voltkeel::uniform_axis(real(c.first_degC), real(c.last_degC), c.temperature_count)};
        cell.thermal = {real(c.heat_capacity_J_per_K), real(c.thermal_K_per_W)};
        limits.window = voltkeel_test::window_cast<Real>(c.window);
        for (const Case::Table& t : c.tables) {
            owned_.push_back({convert(t.temperature_degC), convert(t.soc), convert(t.charge_A),
                              convert(t.discharge_A)});
        }
        for (std::size_t k = 0; k < owned_.size(); ++k) {
            const Owned& o = owned_[k];
            views_.push_back({real(c.tables[k].duration_s), o.temperature_degC.data(),
                              static_cast<int>(o.temperature_degC.size()), o.soc.data(),
                              static_cast<int>(o.soc.size()), o.charge_A.data(),
                              o.discharge_A.data()});
        }
        limits.tables = views_.data();
        limits.table_count = static_cast<int>(views_.size());
        state.soc = real(c.soc);
        state.hysteresis = real(c.hysteresis);
        state.resistance_scale = real(c.scale);
        for (std::size_t i = 0; i < c.branch_V.size(); ++i)
            state.branch_V[i] = real(c.branch_V[i]);
        temperature_degC = real(c.temperature_degC);
    }
    Fixture(const Fixture&) = delete;
    Fixture& operator=(const Fixture&) = delete;

    CellParameters<Real, Branches> cell{};
    CellLimits<Real> limits{};
    CellState<Real, Branches> state{};
    Real temperature_degC{25};

  private:
    struct Owned {
        std::vector<Real> temperature_degC, soc, charge_A, discharge_A;
    };
    std::vector<voltkeel::OcvNode<Real>> ocv_;
    std::vector<voltkeel::ResistanceNode<Real, Branches>> resistance_;
    std::vector<Owned> owned_;
    std::vector<CurrentTable<Real>> views_;
};

/// Constant resistance, straight OCV from 3.4 to 4.2 V, wide windows.
Case plain_case(int branches) {
    Case c;
    c.mean_V = {3.4, 4.2};
    c.half_gap_V = {0, 0};
    c.entropy_V_per_K = {0, 0};
    c.r0_ohm.assign(4, 0.02);
    for (int i = 0; i < branches; ++i) {
        c.branch_ohm.emplace_back(4, 0.01 / branches);
        c.branch_s.emplace_back(4, i == 0 ? 2.0 : 2.0 * std::pow(8.0, i));
    }
    c.branch_V.assign(static_cast<std::size_t>(branches), 0);
    c.window = {2.5, 4.25, 0.02, 0.98, 0, 45, -20, 60};
    return c;
}

/// A cell between 1 and 300 Ah with everything drawn: resistance like a bath tub over SOC and
/// falling with temperature, hysteresis, entropy, and a polarised state.
Case random_case(std::mt19937_64& random, int branches) {
    const auto between = [&](double low, double high) {
        return std::uniform_real_distribution<double>(low, high)(random);
    };
    Case c;
    c.capacity_Ah = std::exp(between(0, std::log(300.0)));
    c.efficiency = between(0.97, 1);
    c.leak_per_s = between(0, 1) < 0.5 ? 0 : between(0, 1e-7);
    c.hysteresis_rate = between(0, 80);
    constexpr int nodes = 21;
    double volt = between(2.8, 3.1);
    const double gap = between(0, 0.01);
    for (int k = 0; k < nodes; ++k) {
        c.mean_V.push_back(volt);
        c.half_gap_V.push_back(gap);
        c.entropy_V_per_K.push_back(between(-4e-4, 2e-4));
        volt += k < 2 ? between(0.1, 0.25) : between(0.002, 0.06);
    }
    c.soc_count = nodes;
    c.first_degC = -30;
    c.last_degC = 70;
    c.temperature_count = 21;
    const double r25_ohm = between(0.03, 0.15) / c.capacity_Ah;
    const double tub = between(0, 1.5);
    const double activation_K = between(2000, 4500);
    const double base_s = between(0.5, 4);
    c.branch_ohm.resize(static_cast<std::size_t>(branches));
    c.branch_s.resize(static_cast<std::size_t>(branches));
    for (int t = 0; t < c.temperature_count; ++t) {
        const double kelvin = 273.15 + c.first_degC + 5.0 * t;
        const double cold = std::exp(activation_K * (1 / kelvin - 1 / 298.15));
        for (int s = 0; s < nodes; ++s) {
            const double soc = s / double(nodes - 1);
            const double shape = 1 + tub * (std::exp(-12 * soc) + 0.3 * std::exp(-15 * (1 - soc)));
            c.r0_ohm.push_back(r25_ohm * cold * (0.6 + 0.4 * shape));
            for (int i = 0; i < branches; ++i) {
                const auto b = static_cast<std::size_t>(i);
                c.branch_ohm[b].push_back(r25_ohm * cold * shape / branches);
                c.branch_s[b].push_back(base_s * std::pow(9.0, i));
            }
        }
    }
    c.heat_capacity_J_per_K = c.capacity_Ah * between(12, 25);
    c.thermal_K_per_W = between(5, 60) / c.capacity_Ah;
    c.window.voltage_min_V = c.mean_V.front() - between(0, 0.5);
    c.window.voltage_max_V = c.mean_V.back() + between(-0.05, 0.1);
    c.window.soc_min = between(0, 0.1);
    c.window.soc_max = between(0.9, 1);
    c.window.charge_temperature_min_degC = between(-5, 5);
    c.window.charge_temperature_max_degC = between(40, 50);
    c.window.discharge_temperature_min_degC = between(-30, -10);
    c.window.discharge_temperature_max_degC = between(50, 65);
    if (between(0, 1) < 0.5) {
        // Longer pulses are allowed less, as in every maker's table.
        std::vector<double> charge_A, discharge_A;
        for (int k = 0; k < 12; ++k) {
            charge_A.push_back(c.capacity_Ah * between(0, 8));
            discharge_A.push_back(c.capacity_Ah * between(1, 14));
        }
        for (const double duration_s : {5.0, 20.0, 100.0}) {
            for (double& x : charge_A)
                x *= between(0.5, 1);
            for (double& x : discharge_A)
                x *= between(0.5, 1);
            c.tables.push_back({duration_s, {-10, 5, 25, 50}, {0, 0.5, 1}, charge_A, discharge_A});
        }
    }
    c.soc = between(0, 1) < 0.1 ? between(-0.02, 1.02) : between(0.02, 0.99);
    c.hysteresis = between(-1, 1);
    c.scale = between(0.8, 2);
    c.temperature_degC = between(-25, 58);
    const double before_A = between(-1.5, 1.0) * c.capacity_Ah;
    for (int i = 0; i < branches; ++i) {
        c.branch_V.push_back(before_A * r25_ohm / branches * between(0, 1));
    }
    return c;
}

/// What happens while a current is held, by 3000 small steps with the temperature, and the one
/// that the resistance has come to, moved by Euler's rule. Near empty a discharge meets the margin.
struct Held {
    double start_V{0};
    double lowest_V{1e9}, highest_V{-1e9};
    double end_V{0}, end_soc{0}, end_degC{0};
    double turned_over_K{0};  // warming plus cooling, each counted positive
};
template <int Branches>
Held fine(const Fixture<double, Branches>& f, double current_A, double horizon_s, bool charging) {
    constexpr int steps = 3000;
    const double dt = horizon_s / steps;
    const LimitSettings<double> settings;
    CellState<double, Branches> state = f.state;
    if (!charging && state.soc < settings.low_soc) {
        state.resistance_scale *=
            1 + settings.low_soc_margin * std::min(1.0, 1 - state.soc / settings.low_soc);
    }
    double temperature = f.temperature_degC;
    double felt = temperature;
    Held held;
    for (int k = 0; k <= steps; ++k) {
        const auto p = voltkeel::voltage_at(f.cell, state, current_A, felt);
        if (k == 0) held.start_V = p.voltage_V;
        held.lowest_V = std::min(held.lowest_V, p.voltage_V);
        held.highest_V = std::max(held.highest_V, p.voltage_V);
        held.end_V = p.voltage_V;
        if (k == steps) break;
        const double friction = current_A * (p.voltage_V - p.ocv_V);
        const double reversible = current_A * (temperature + 273.15) * p.entropy_V_per_K;
        const double lost = (temperature - f.temperature_degC) / f.cell.thermal.resistance_K_per_W;
        voltkeel::step(f.cell, {current_A, dt, felt}, state);
        felt += dt / settings.warmth_lag_s * (temperature - felt);
        const double per_J = dt / f.cell.thermal.heat_capacity_J_per_K;
        temperature += per_J * (friction + reversible - lost);
        held.turned_over_K += per_J * (std::abs(friction) + std::abs(reversible));
    }
    held.end_soc = state.soc;
    held.end_degC = temperature;
    return held;
}

/// Straight-line interpolation in a maker's table, written out again.
double table_current_A(const Case& c, double horizon_s, bool charging) {
    const Case::Table* table = nullptr;
    for (const auto& t : c.tables) {
        if (table == nullptr || table->duration_s < horizon_s) table = &t;
    }
    if (table == nullptr) return std::numeric_limits<double>::infinity();
    const auto weights = [](const std::vector<double>& axis, double x) {
        std::vector<double> w(axis.size(), 0.0);
        if (x <= axis.front()) {
            w.front() = 1;
        } else if (x >= axis.back()) {
            w.back() = 1;
        } else {
            const auto k = static_cast<std::size_t>(std::upper_bound(axis.begin(), axis.end(), x) -
                                                    axis.begin());
            w[k] = (x - axis[k - 1]) / (axis[k] - axis[k - 1]);
            w[k - 1] = 1 - w[k];
        }
        return w;
    };
    const auto wt = weights(table->temperature_degC, c.temperature_degC);
    const auto ws = weights(table->soc, c.soc);
    const auto& values = charging ? table->charge_A : table->discharge_A;
    double sum = 0;
    for (std::size_t t = 0; t < wt.size(); ++t) {
        for (std::size_t s = 0; s < ws.size(); ++s)
            sum += wt[t] * ws[s] * values[t * ws.size() + s];
    }
    return sum;
}

/// How far beyond each bound a held current leads (positive: broken).
struct Excess {
    double voltage_V{0};      // at any time
    double end_voltage_V{0};  // at the first instant or at the end
    double soc{0}, temperature_K{0}, table_A{0};
};
template <int Branches>
Excess excess(const Case& c, const Fixture<double, Branches>& f, double current_A, double horizon_s,
              bool charging) {
    const Held held = fine(f, current_A, horizon_s, charging);
    const auto& w = c.window;
    Excess e;
    e.voltage_V = charging ? held.highest_V - w.voltage_max_V : w.voltage_min_V - held.lowest_V;
    e.end_voltage_V = charging ? std::max(held.start_V, held.end_V) - w.voltage_max_V
                               : w.voltage_min_V - std::min(held.start_V, held.end_V);
    e.soc = charging ? held.end_soc - w.soc_max : w.soc_min - held.end_soc;
    e.temperature_K = held.end_degC -
                      (charging ? w.charge_temperature_max_degC : w.discharge_temperature_max_degC);
    e.table_A = std::abs(current_A) - table_current_A(c, horizon_s, charging);
    return e;
}

}  // namespace

TEMPLATE_TEST_CASE_SIG(
    "at the limit the named bound is met, none is broken, and 1 % more breaks it",
    "[limits][property]", ((typename Real, int Branches), Real, Branches), VOLTKEEL_SCALARS_AND(1),
    VOLTKEEL_SCALARS_AND(2), VOLTKEEL_SCALARS_AND(3), VOLTKEEL_SCALARS_AND(4)) {
    const std::uint64_t seed =
        1000003 * voltkeel_test::seed() + static_cast<std::uint64_t>(Branches);
    std::mt19937_64 random(seed);
    constexpr bool is_float = sizeof(Real) == sizeof(float);
    int seen[5] = {};
    for (int n = 0; n < VOLTKEEL_CASES(150, 50); ++n) {
        const Case c = random_case(random, Branches);
        const Fixture<Real, Branches> f(c);
        const Fixture<double, Branches> exact(c);
        REQUIRE(voltkeel::validate(f.cell).status == Status::ok);
        REQUIRE(voltkeel::validate(f.limits).status == Status::ok);
        HorizonLimit<Real> out[3];
        REQUIRE(voltkeel::current_limits(f.cell, f.limits, f.state, f.temperature_degC, out) ==
                Status::ok);
        for (int k = 0; k < 3; ++k) {
            const auto horizon_s = double(out[k].horizon_s);
            for (const bool charging : {true, false}) {
                const DirectionLimit<Real>& limit = charging ? out[k].charge : out[k].discharge;
                const auto current_A = double(limit.current_A);
                CAPTURE(seed, n, Branches, horizon_s, charging, current_A, c.soc,
                        c.temperature_degC, message(limit.reason), double(limit.binding_value),
                        c.capacity_Ah);
                ++seen[static_cast<int>(limit.reason)];
                CHECK((charging ? current_A >= 0 : current_A <= 0));
                if (k > 0) {  // a longer horizon never allows more
                    const auto& shorter = charging ? out[k - 1].charge : out[k - 1].discharge;
                    CHECK(std::abs(limit.current_A) <= std::abs(shorter.current_A));
                }
                const auto& w = c.window;
                const double hot =
                    charging ? w.charge_temperature_max_degC : w.discharge_temperature_max_degC;
                const double cold =
                    charging ? w.charge_temperature_min_degC : w.discharge_temperature_min_degC;
                if (c.temperature_degC < cold || c.temperature_degC > hot) {
                    CHECK(limit.current_A == Real(0));
                    CHECK(limit.reason == LimitReason::temperature);
                    CHECK(limit.binding_value == Real(c.temperature_degC < cold ? cold : hot));
                    continue;
                }
                const Excess at = excess(c, exact, current_A, horizon_s, charging);
                const Held held = fine(exact, current_A, horizon_s, charging);
                // The sub-steps follow R(SOC, T) to second order, which leaves 0.5 % of the most
                // that the current moves the voltage; a peak between their ends, where the SOC
                // passes a kink of the OCV, adds as much again. 0.2 mV is for float.
                const double moved_V = std::max(
                    std::abs(held.end_V - fine(exact, 0, horizon_s, charging).end_V),
                    std::abs((charging ? held.highest_V : held.lowest_V) -
                             voltkeel::voltage_at(exact.cell, exact.state, 0.0, c.temperature_degC)
                                 .voltage_V));
                const double voltage_tolerance_V = 2e-4 + 5e-3 * moved_V;
                const double temperature_tolerance_K =
                    (is_float ? 1e-4 : 1e-6) + 0.02 * held.turned_over_K;
                const double soc_tolerance = is_float ? 1e-6 : 1e-9;
                const double table_tolerance_A = (is_float ? 1e-5 : 1e-9) * c.capacity_Ah;
                if (current_A != 0) {
                    CHECK(at.end_voltage_V <= voltage_tolerance_V);
                    CHECK(at.voltage_V <= 2 * voltage_tolerance_V);
                    CHECK(at.soc <= soc_tolerance);
                    CHECK(at.temperature_K <= temperature_tolerance_K);
                    CHECK(at.table_A <= table_tolerance_A);
                }
                // Every smaller current is allowed as well.
                for (const double share : {0.3, 0.7}) {
                    if (current_A == 0) break;
                    const Excess less = excess(c, exact, share * current_A, horizon_s, charging);
                    CHECK(less.voltage_V <= 2 * voltage_tolerance_V);
                    CHECK(less.soc <= soc_tolerance);
                    CHECK(less.temperature_K <= temperature_tolerance_K);
                }
                // The end voltage and the power belong to the current.
                CHECK(double(limit.end_voltage_V) ==
                      Approx(held.end_V).margin(voltage_tolerance_V));
                CHECK(std::abs(double(limit.power_W)) >=
                      std::abs(current_A * double(limit.end_voltage_V)) * (1 - 1e-6));

                const double step_A = std::max(0.01 * std::abs(current_A), 2e-3);
                const double more_A = current_A + (charging ? step_A : -step_A);
                const Excess beyond = excess(c, exact, more_A, horizon_s, charging);
                // Together with the checks above: the bound lies between the limit and 1 % more.
                switch (limit.reason) {
                    case LimitReason::voltage:
                        CHECK(double(limit.binding_value) ==
                              Approx(charging ? w.voltage_max_V : w.voltage_min_V));
                        CHECK(beyond.voltage_V > 0);
                        break;
                    case LimitReason::soc:
                        CHECK(double(limit.binding_value) ==
                              Approx(charging ? w.soc_max : w.soc_min));
                        CHECK(beyond.soc > 0);
                        break;
                    case LimitReason::temperature:
                        CHECK(double(limit.binding_value) == Approx(hot));
                        CHECK(beyond.temperature_K > 0);
                        break;
                    case LimitReason::maker_table:
                        CHECK(beyond.table_A > 0);
                        CHECK(double(limit.binding_value) == Approx(std::abs(current_A)));
                        break;
                    case LimitReason::none:
                        CHECK(std::abs(current_A) == Approx(100 * c.capacity_Ah));
                        break;
                    default:
                        FAIL_CHECK("not a reason of one cell");
                }
            }
        }
    }
    // The draw reaches what it is meant to reach.
    CHECK(seen[static_cast<int>(LimitReason::voltage)] > 20);
    CHECK(seen[static_cast<int>(LimitReason::soc)] > 0);
    CHECK(seen[static_cast<int>(LimitReason::temperature)] > 20);
    CHECK(seen[static_cast<int>(LimitReason::maker_table)] > 20);
}

TEMPLATE_TEST_CASE("a window that is already left gives 0 and says which", "[limits]",
                   VOLTKEEL_SCALARS) {
    using Real = TestType;
    Case c = plain_case(1);
    HorizonLimit<Real> out[3];
    const auto solve = [&] {
        const Fixture<Real, 1> f(c);
        REQUIRE(voltkeel::current_limits(f.cell, f.limits, f.state, f.temperature_degC, out) ==
                Status::ok);
    };
    const auto is_zero = [](const DirectionLimit<Real>& limit, LimitReason reason, double bound) {
        CHECK(limit.current_A == Real(0));
        CHECK_FALSE(std::signbit(limit.current_A));
        CHECK(limit.power_W == Real(0));
        CHECK(limit.reason == reason);
        CHECK(double(limit.binding_value) == Approx(bound));
    };
    SECTION("above the SOC window: no charge, discharge as usual") {
        c.soc = 0.99;
        solve();
        for (const auto& h : out) {
            is_zero(h.charge, LimitReason::soc, 0.98);
            CHECK(h.discharge.current_A < Real(-1));
        }
    }
    SECTION("below the SOC window: no discharge, charge as usual") {
        c.soc = 0.01;
        solve();
        for (const auto& h : out) {
            is_zero(h.discharge, LimitReason::soc, 0.02);
            CHECK(h.charge.current_A > Real(1));
        }
    }
    SECTION("above the voltage window while nothing flows") {
        c.branch_V[0] = 0.7;
        solve();
        for (const auto& h : out) {
            is_zero(h.charge, LimitReason::voltage, 4.25);
            CHECK(h.discharge.current_A < Real(-1));
        }
    }
    SECTION("inside now, outside by relaxation alone") {
        // OCV 3.8 V, held up by 0.2 V that is gone (tau 2 s) after 10 s but not after 2 s.
        c.branch_V[0] = 0.2;
        c.window.voltage_min_V = 3.85;
        solve();
        CHECK(out[0].discharge.current_A < Real(0));
        is_zero(out[1].discharge, LimitReason::voltage, 3.85);
        is_zero(out[2].discharge, LimitReason::voltage, 3.85);
    }
    SECTION("too cold to charge, warm enough to discharge") {
        c.temperature_degC = -5;
        solve();
        for (const auto& h : out) {
            is_zero(h.charge, LimitReason::temperature, 0);
            CHECK(h.discharge.current_A < Real(-1));
        }
    }
    SECTION("too hot for both") {
        c.temperature_degC = 61;
        solve();
        for (const auto& h : out) {
            is_zero(h.charge, LimitReason::temperature, 45);
            is_zero(h.discharge, LimitReason::temperature, 60);
        }
    }
    SECTION("the maker allows nothing") {
        c.tables.push_back({100, {25}, {0.5}, {0}, {0}});
        solve();
        for (const auto& h : out) {
            is_zero(h.charge, LimitReason::maker_table, 0);
            is_zero(h.discharge, LimitReason::maker_table, 0);
        }
    }
}

TEMPLATE_TEST_CASE("bounds that need no search come out exactly", "[limits]", VOLTKEEL_SCALARS) {
    using Real = TestType;
    Case c = plain_case(2);
    c.window.voltage_min_V = 0.5;
    c.window.voltage_max_V = 9;
    c.window.discharge_temperature_max_degC = 5000;
    c.window.charge_temperature_max_degC = 5000;
    c.efficiency = 0.98;
    c.heat_capacity_J_per_K = 1e6;
    HorizonLimit<Real> out[3];
    SECTION("SOC: room times capacity over the horizon") {
        c.soc = 0.975;
        const Fixture<Real, 2> f(c);
        REQUIRE(voltkeel::current_limits(f.cell, f.limits, f.state, f.temperature_degC, out) ==
                Status::ok);
        CHECK(out[2].charge.reason == LimitReason::soc);
        CHECK(double(out[2].charge.current_A) ==
              Approx(0.005 * 3600 * 5 / (0.98 * 30)).epsilon(sizeof(Real) == 4 ? 1e-4 : 1e-9));
    }
    SECTION("nothing binds: the largest current searched, reason none") {
        c.r0_ohm.assign(4, 1e-5);
        for (auto& branch : c.branch_ohm)
            branch.assign(4, 1e-5);
        const Fixture<Real, 2> f(c);
        LimitSettings<Real> settings;
        settings.largest_rate_per_h = Real(20);
        REQUIRE(voltkeel::current_limits(f.cell, f.limits, f.state, f.temperature_degC, out,
                                         settings) == Status::ok);
        CHECK(out[0].charge.reason == LimitReason::none);
        CHECK(double(out[0].charge.current_A) == Approx(100));
        CHECK(double(out[0].discharge.current_A) == Approx(-100));
        CHECK(double(out[0].charge.binding_value) == Approx(100));
    }
}

TEMPLATE_TEST_CASE("margins act as a fuller or emptier cell and a narrower window", "[limits]",
                   VOLTKEEL_SCALARS) {
    using Real = TestType;
    std::mt19937_64 random(voltkeel_test::seed() + 77);
    for (int n = 0; n < 50; ++n) {
        Case c = random_case(random, 2);
        c.soc = 0.5;
        c.temperature_degC = 20;
        LimitSettings<Real> settings;
        settings.soc_margin = Real(0.0625);
        settings.voltage_margin_V = Real(0.03125);
        HorizonLimit<Real> with_margin[3], fuller[3], emptier[3];
        const Fixture<Real, 2> f(c);
        REQUIRE(voltkeel::current_limits(f.cell, f.limits, f.state, f.temperature_degC, with_margin,
                                         settings) == Status::ok);
        c.window.voltage_max_V -= 0.03125;
        c.window.voltage_min_V += 0.03125;
        c.soc = 0.5625;
        const Fixture<Real, 2> full(c);
        c.soc = 0.4375;
        const Fixture<Real, 2> empty(c);
        REQUIRE(voltkeel::current_limits(full.cell, full.limits, full.state, full.temperature_degC,
                                         fuller) == Status::ok);
        REQUIRE(voltkeel::current_limits(empty.cell, empty.limits, empty.state,
                                         empty.temperature_degC, emptier) == Status::ok);
        for (int k = 0; k < 3; ++k) {
            CAPTURE(n, k);
            // 0.2 %: each search stops up to 0.1 % below its limit.
            CHECK(double(with_margin[k].charge.current_A) ==
                  Approx(double(fuller[k].charge.current_A)).epsilon(2e-3));
            CHECK(double(with_margin[k].discharge.current_A) ==
                  Approx(double(emptier[k].discharge.current_A)).epsilon(2e-3));
        }
    }
}

TEMPLATE_TEST_CASE("beyond the tested current the voltage is taken to move further", "[limits]",
                   VOLTKEEL_SCALARS) {
    using Real = TestType;
    Case c = plain_case(1);
    c.heat_capacity_J_per_K = 1e6;
    Fixture<Real, 1> f(c);
    const Real horizons_s[] = {Real(10)};
    const auto limit_for = [&](double tested_A, double share, double sigmas) {
        f.limits.tested_current_A = static_cast<Real>(tested_A);
        f.limits.untested_share_std = static_cast<Real>(share);
        LimitSettings<Real> settings;
        settings.untested_sigmas = static_cast<Real>(sigmas);
        HorizonLimit<Real> out[1];
        REQUIRE(voltkeel::current_limits(f.cell, f.limits, f.state, Real(25), horizons_s, 1, out,
                                         settings) == Status::ok);
        return out[0];
    };
    // In 10 s a current moves 3.8 V by R0 + R1 (1 - exp(-10 / 2)) and 0.8 V of OCV over 5 Ah.
    const double per_A = 0.02 + 0.01 * -std::expm1(-5.0) + 0.8 * 10 / 3600 / 5;
    const auto model = limit_for(0, 0.03, 1);
    for (const bool charging : {true, false}) {
        const double room_V = charging ? 4.25 - 3.8 : 3.8 - 2.5;
        const auto side = [&](const HorizonLimit<Real>& limit) {
            return charging ? limit.charge : limit.discharge;
        };
        CHECK(std::abs(double(side(model).current_A)) == Approx(room_V / per_A).epsilon(1e-3));
        for (const double sigmas : {1.0, 2.0}) {
            for (const double tested_A : {2.0, 5.0, 10.0}) {
                CAPTURE(charging, sigmas, tested_A);
                double current_A = room_V / per_A;
                for (int turn = 0; turn < 50; ++turn) {
                    const double further =
                        1 + sigmas * 0.03 * std::max(0.0, std::log2(current_A / tested_A));
                    current_A = room_V / per_A / further;
                }
                const auto limit = side(limit_for(tested_A, 0.03, sigmas));
                CHECK(std::abs(double(limit.current_A)) == Approx(current_A).epsilon(1e-3));
                CHECK(limit.reason == LimitReason::voltage);
                // The voltage that is told is the model's.
                CHECK(std::abs(double(limit.end_voltage_V) - 3.8) ==
                      Approx(std::abs(double(limit.current_A)) * per_A).epsilon(1e-3));
            }
        }
        // Inside what was tested, or with no sigmas, no bit changes.
        CHECK(side(limit_for(100, 0.03, 1)).current_A == side(model).current_A);
        CHECK(side(limit_for(5, 0.03, 0)).current_A == side(model).current_A);
    }
    f.limits.untested_share_std = Real(2);
    const auto wide = voltkeel::validate(f.limits);
    CHECK(wide.status == Status::out_of_range);
    CHECK(std::string(wide.field) == "untested_share_std");
    f.limits.untested_share_std = std::numeric_limits<Real>::quiet_NaN();
    CHECK(voltkeel::validate(f.limits).status == Status::not_finite);
}

TEMPLATE_TEST_CASE("the continuous limit keeps the temperature of ever", "[limits]",
                   VOLTKEEL_SCALARS) {
    using Real = TestType;
    Case c = plain_case(1);
    c.window = {0.5, 5.5, 0.02, 0.98, 0, 45, -20, 60};
    c.thermal_K_per_W = 2;
    c.heat_capacity_J_per_K = 2000;  // 600 s go by long before the heat has found its way out
    const Fixture<Real, 1> f(c);
    const Real horizons_s[] = {Real(600), voltkeel::continuous_horizon_s<Real>};
    HorizonLimit<Real> out[2];
    REQUIRE(voltkeel::current_limits(f.cell, f.limits, f.state, Real(30), horizons_s, 2, out) ==
            Status::ok);
    // 15 K over 2 K/W are 7.5 W in 30 mohm, 15.8 A; 600 s allow the SOC's 14.4 A, discharge 30 K.
    CHECK(out[0].charge.reason == LimitReason::soc);
    CHECK(out[1].charge.reason == LimitReason::soc);
    c.thermal_K_per_W = 4;
    const Fixture<Real, 1> hot(c);
    REQUIRE(voltkeel::current_limits(hot.cell, hot.limits, hot.state, Real(30), horizons_s, 2,
                                     out) == Status::ok);
    CHECK(out[0].charge.reason == LimitReason::soc);
    CHECK(out[1].charge.reason == LimitReason::temperature);
    CHECK(double(out[1].charge.current_A) ==
          Approx(std::sqrt(15.0 / 4 / 0.03))
              .epsilon(3e-3));  // I^2 R R_th = 15 K, once the branch is full
    CHECK(double(out[1].charge.binding_value) == 45);
}

TEMPLATE_TEST_CASE("tapers lead to nothing in a straight line", "[limits]", VOLTKEEL_SCALARS) {
    using Real = TestType;
    Case c = plain_case(1);
    c.window = {0.5, 5.5, 0.02, 0.98, 0, 45, -20, 60};
    c.tables = {{100, {-20, 60}, {0, 1}, {4, 4, 4, 4}, {6, 6, 6, 6}}};
    LimitSettings<Real> settings;
    settings.temperature_taper_K = Real(8);
    settings.soc_taper = Real(0.125);
    const Real two_s[] = {Real(2)};
    const auto at = [&](double soc, double temperature_degC) {
        c.soc = soc;
        c.temperature_degC = temperature_degC;
        const Fixture<Real, 1> f(c);
        HorizonLimit<Real> out[1];
        REQUIRE(voltkeel::current_limits(f.cell, f.limits, f.state, f.temperature_degC, two_s, 1,
                                         out, settings) == Status::ok);
        return out[0];
    };
    for (const double share : {1.5, 1.0, 0.75, 0.5, 0.25, 0.125, 0.0}) {
        CAPTURE(share);
        const double kept = std::min(share, 1.0);
        CHECK(double(at(0.5, 8 * share).charge.current_A) == Approx(4 * kept).margin(1e-5));
        CHECK(double(at(0.5, 45 - 8 * share).charge.current_A) == Approx(4 * kept).margin(1e-5));
        CHECK(double(at(0.5, -20 + 8 * share).discharge.current_A) ==
              Approx(-6 * kept).margin(1e-5));
        CHECK(double(at(0.98 - 0.125 * share, 25).charge.current_A) ==
              Approx(4 * kept).margin(2e-3 * kept + 1e-5));
        CHECK(double(at(0.02 + 0.125 * share, 25).discharge.current_A) ==
              Approx(-6 * kept).margin(2e-3 * kept + 1e-5));
    }
    CHECK(at(0.5, 4).charge.reason == LimitReason::temperature);
    CHECK(at(0.5, 4).charge.binding_value == Real(0));
    CHECK(at(0.5, 8.5).charge.reason == LimitReason::maker_table);
    CHECK(at(0.95, 25).charge.reason == LimitReason::soc);
    // The nearer end counts: 0.25 of one, 0.5 of the other.
    CHECK(double(at(0.98 - 0.0625, 2).charge.current_A) == Approx(1).margin(1e-5));
}

TEMPLATE_TEST_CASE("a temperature that may be off counts on its worse side", "[limits]",
                   VOLTKEEL_SCALARS) {
    using Real = TestType;
    Case c = plain_case(2);
    c.r0_ohm = {0.06, 0.06, 0.01, 0.01};  // of -30 and 70 degC
    c.tables = {
        {100, {0, 10, 20, 60}, {0, 1}, {0, 0, 4, 4, 9, 9, 2, 2}, {50, 50, 50, 50, 50, 50, 50, 50}}};
    LimitSettings<Real> settings;
    settings.temperature_margin_K = Real(3);
    const Real two_s[] = {Real(2)};
    const auto at = [&](double temperature_degC, bool margin) {
        c.temperature_degC = temperature_degC;
        const Fixture<Real, 2> f(c);
        HorizonLimit<Real> out[1];
        REQUIRE(voltkeel::current_limits(f.cell, f.limits, f.state, f.temperature_degC, two_s, 1,
                                         out,
                                         margin ? settings : LimitSettings<Real>{}) == Status::ok);
        return out[0];
    };
    CHECK(double(at(10, true).charge.current_A) == Approx(double(at(7, false).charge.current_A)));
    CHECK(double(at(30, true).charge.current_A) == Approx(double(at(33, false).charge.current_A)));
    CHECK(at(2.5, true).charge.current_A == Real(0));
    CHECK(at(2.5, true).charge.reason == LimitReason::temperature);
    CHECK(at(42.5, true).charge.current_A == Real(0));
    CHECK(double(at(-10, true).discharge.current_A) ==
          Approx(double(at(-13, false).discharge.current_A)).epsilon(2e-3));
}

TEST_CASE("what cannot be used is refused and changes nothing", "[limits]") {
    const Case c = plain_case(1);
    const Fixture<double, 1> f(c);
    const double nan = std::numeric_limits<double>::quiet_NaN();
    const double infinite = std::numeric_limits<double>::infinity();
    HorizonLimit<double> out[3];
    for (auto& h : out)
        h.horizon_s = -7;
    const auto refused = [&](Status expected, Status got) {
        CHECK(got == expected);
        for (const auto& h : out) {
            CHECK(h.horizon_s == -7);
            CHECK(h.charge.current_A == 0);
        }
    };
    for (const double bad : {nan, infinite, -infinite}) {
        refused(Status::sample_not_finite,
                voltkeel::current_limits(f.cell, f.limits, f.state, bad, out));
        auto state = f.state;
        state.soc = bad;
        refused(Status::sample_not_finite,
                voltkeel::current_limits(f.cell, f.limits, state, 25.0, out));
        state = f.state;
        state.branch_V[0] = bad;
        refused(Status::sample_not_finite,
                voltkeel::current_limits(f.cell, f.limits, state, 25.0, out));
        if (bad == infinite) continue;  // the continuous limit
        const double horizons_s[] = {2, bad};
        refused(Status::sample_not_finite,
                voltkeel::current_limits(f.cell, f.limits, f.state, 25.0, horizons_s, 2, out));
    }
    for (const double bad : {nan, infinite, -infinite}) {
        LimitSettings<double> settings;
        settings.soc_margin = bad;
        refused(Status::not_finite,
                voltkeel::current_limits(f.cell, f.limits, f.state, 25.0, out, settings));
    }
    const double beyond_continuous_s[] = {voltkeel::continuous_horizon_s<double>,
                                          voltkeel::continuous_horizon_s<double>};
    refused(Status::not_increasing,
            voltkeel::current_limits(f.cell, f.limits, f.state, 25.0, beyond_continuous_s, 2, out));
    auto state = f.state;
    state.resistance_scale = 0;
    refused(Status::out_of_range, voltkeel::current_limits(f.cell, f.limits, state, 25.0, out));
    const double falling_s[] = {10, 2};
    refused(Status::not_increasing,
            voltkeel::current_limits(f.cell, f.limits, f.state, 25.0, falling_s, 2, out));
    const double negative_s[] = {-1};
    refused(Status::out_of_range,
            voltkeel::current_limits(f.cell, f.limits, f.state, 25.0, negative_s, 1, out));
    refused(Status::out_of_range,
            voltkeel::current_limits(f.cell, f.limits, f.state, 25.0, negative_s, 0, out));
    auto cell = f.cell;
    cell.ocv.nodes = nullptr;
    refused(Status::missing_table, voltkeel::current_limits(cell, f.limits, f.state, 25.0, out));
    LimitSettings<double> settings;
    settings.current_tolerance = 0;
    refused(Status::out_of_range,
            voltkeel::current_limits(f.cell, f.limits, f.state, 25.0, out, settings));
    const auto finding = voltkeel::validate(settings);
    CHECK(std::string(finding.field) == "current_tolerance");
    CHECK(finding.bound == 1e-5);
}

TEST_CASE("every limit reason has words of its own and a frozen number", "[limits]") {
    std::vector<std::string> words;
    for (int k = 0; k <= 14; ++k)
        words.emplace_back(message(static_cast<LimitReason>(k)));
    std::sort(words.begin(), words.end());
    CHECK(std::adjacent_find(words.begin(), words.end()) == words.end());
    CHECK(std::count(words.begin(), words.end(), "unknown reason") == 1);
    CHECK(static_cast<int>(LimitReason::none) == 0);
    CHECK(static_cast<int>(LimitReason::voltage) == 1);
    CHECK(static_cast<int>(LimitReason::soc) == 2);
    CHECK(static_cast<int>(LimitReason::temperature) == 3);
    CHECK(static_cast<int>(LimitReason::maker_table) == 4);
    CHECK(static_cast<int>(LimitReason::fuse) == 5);
    CHECK(static_cast<int>(LimitReason::contactor) == 6);
    CHECK(static_cast<int>(LimitReason::cable) == 7);
    CHECK(static_cast<int>(LimitReason::connector) == 8);
    CHECK(static_cast<int>(LimitReason::charger) == 9);
    CHECK(static_cast<int>(LimitReason::drive) == 10);
    CHECK(static_cast<int>(LimitReason::driver) == 11);
    CHECK(static_cast<int>(LimitReason::pulse_used) == 12);
    CHECK(static_cast<int>(LimitReason::opening) == 13);
}
