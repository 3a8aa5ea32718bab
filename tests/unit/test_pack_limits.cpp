// Limits of a pack against each of its groups solved alone: the pre-selection must never miss the
// group that decides. And what a pack adds: strings, components, margins.

#include "support/scalars.hpp"
#include "voltkeel/limits/pack_limits.hpp"

#include <algorithm>
#include <catch2/catch.hpp>
#include <cmath>
#include <cstdint>
#include <limits>
#include <string>
#include <vector>

#include "support/example_cell.hpp"
#include "support/seed.hpp"
#include "support/transfer_cell.hpp"
#include "support/window_cast.hpp"

namespace {

using voltkeel::CellLimits;
using voltkeel::CurrentTable;
using voltkeel::GroupStates;
using voltkeel::LimitComponent;
using voltkeel::LimitPack;
using voltkeel::LimitReason;
using voltkeel::LimitString;
using voltkeel::PackDirectionLimit;
using voltkeel::PackHorizonLimit;
using voltkeel::PackLimitSettings;
using voltkeel::PackLimitWorkspace;
using voltkeel::Status;
using voltkeel_test::Random;

/// Steps of one length, with what limits add to the model: warmth that is felt late, and a margin
/// near empty.
template <class Real>
struct HoldLikeALimit {
    const voltkeel::LimitSettings<Real>& settings;
    Real dt_s;

    template <class State>
    [[nodiscard]] State met(State state, Real current_A) const {
        if (current_A < Real(0)) {
            const Real depth = std::max(Real(0), Real(1) - state.soc / settings.low_soc);
            state.resistance_scale *= Real(1) + settings.low_soc_margin * std::min(Real(1), depth);
        }
        return state;
    }
    template <class Cell, class Held>
    void operator()(const Cell& cell, Real current_A, Real ambient_degC, Held& held) const {
        voltkeel::detail::hold(
            cell, current_A, dt_s, ambient_degC, voltkeel::thermal_step(cell.thermal, dt_s),
            voltkeel::detail::warmth_step(settings.warmth_lag_s, dt_s), Real(0), held);
    }
};

/// Groups with all that is known of them, in the caller's scalar.
template <class Real, int Branches, bool Transfer>
struct Groups {
    static constexpr int lags = voltkeel::lag_count<Branches, Transfer>;
    std::vector<Real> soc, temperature_degC, hysteresis, branch_V, resistance_scale, capacity_scale;
    std::vector<int> parallel;
    std::vector<voltkeel::detail::GroupWork<Real, Branches, Transfer>> work;
    std::vector<voltkeel::detail::StringWork<Real>> string_work;

    void add(double group_soc, double degC, double scale, double capacity, double h, int cells,
             const std::vector<double>& lags_V) {
        soc.push_back(static_cast<Real>(group_soc));
        temperature_degC.push_back(static_cast<Real>(degC));
        resistance_scale.push_back(static_cast<Real>(scale));
        capacity_scale.push_back(static_cast<Real>(capacity));
        hysteresis.push_back(static_cast<Real>(h));
        parallel.push_back(cells);
        for (const double u : lags_V)
            branch_V.push_back(static_cast<Real>(u));
    }
    [[nodiscard]] int count() const { return static_cast<int>(soc.size()); }
    [[nodiscard]] GroupStates<Real> states() const {
        GroupStates<Real> s;
        s.soc = soc.data();
        s.temperature_degC = temperature_degC.data();
        s.hysteresis = hysteresis.data();
        s.branch_V = branch_V.data();
        s.resistance_scale = resistance_scale.data();
        s.capacity_scale = capacity_scale.data();
        return s;
    }
    [[nodiscard]] PackLimitWorkspace<Real, Branches, Transfer> workspace(int strings = 1) {
        work.resize(soc.size());
        string_work.resize(static_cast<std::size_t>(strings));
        return {work.data(), count(), string_work.data(), strings};
    }
};

/// A pack whose groups spread by `width`: 0 all alike, 1 as far as groups can be.
template <class Real, int Branches, bool Transfer>
Groups<Real, Branches, Transfer> random_groups(Random& random, int count, double width,
                                               double capacity_Ah, double ohm) {
    Groups<Real, Branches, Transfer> groups;
    const double soc = random.uniform(0.03, 0.97);
    const double degC = random.uniform(-15, 42);
    const double scale = random.uniform(0.8, 2);
    const double before_A = random.uniform(-2, 1.5) * capacity_Ah;
    std::vector<double> lags_V;
    for (int i = 0; i < groups.lags; ++i)
        lags_V.push_back(before_A * ohm * random.uniform(0, 0.5));
    const int cells = random.whole(1, 8);
    const double h = random.uniform(-1, 1);
    for (int g = 0; g < count; ++g) {
        std::vector<double> group_lags_V = lags_V;
        for (double& u : group_lags_V)
            u *= 1 + width * random.uniform(-0.8, 0.8);
        groups.add(std::clamp(soc + width * random.uniform(-0.4, 0.4), 0.0, 1.0),
                   degC + width * random.uniform(-15, 15),
                   scale * std::exp(width * random.uniform(-0.7, 0.7)),
                   1 + width * random.uniform(-0.3, 0.3),
                   std::clamp(h + width * random.uniform(-1, 1), -1.0, 1.0),
                   width > 0.5 && random.uniform(0, 1) < 0.2 ? random.whole(1, 8) : cells,
                   group_lags_V);
    }
    return groups;
}

/// The random cell with resistances as cells show them: like a bath tub over the SOC, by Arrhenius'
/// law over the temperature, and 2 % of scatter from node to node.
template <int Branches>
voltkeel_test::OwnedCell<double, Branches> smooth_cell(Random& random) {
    auto cell = voltkeel_test::random_cell<Branches>(random);
    auto& table = cell.scalars.resistance;
    table.soc = voltkeel::uniform_axis(0.0, 1.0, random.whole(9, 21));
    table.temperature_degC = voltkeel::uniform_axis(-30.0, 60.0, 37);
    cell.resistance.clear();
    const double base_ohm = random.uniform(0.04, 0.12) / cell.scalars.capacity_Ah;
    const double tub = random.uniform(0.2, 1.5);
    const double activation_K = random.uniform(2000, 4500);
    const double base_s = random.uniform(0.7, 3);
    for (int t = 0; t < table.temperature_degC.count; ++t) {
        const double cold = std::exp(activation_K * (1 / (243.15 + 2.5 * t) - 1 / 298.15));
        for (int s = 0; s < table.soc.count; ++s) {
            const double soc = s / (table.soc.count - 1.0);
            const double shape = 1 + tub * (std::exp(-10 * soc) + 0.3 * std::exp(-12 * (1 - soc)));
            voltkeel::ResistanceNode<double, Branches> node;
            const auto scatter = [&] { return random.uniform(0.98, 1.02); };
            node.r0_ohm = base_ohm * cold * (0.6 + 0.4 * shape) * scatter();
            for (int i = 0; i < Branches; ++i) {
                node.branch_ohm[i] = base_ohm * cold * shape / Branches * scatter();
                node.branch_time_s[i] = base_s * std::pow(9.0, i) * scatter();
            }
            cell.resistance.push_back(node);
        }
    }
    cell.scalars.thermal.heat_capacity_J_per_K = cell.scalars.capacity_Ah * random.uniform(12, 25);
    cell.scalars.thermal.resistance_K_per_W = random.uniform(5, 60) / cell.scalars.capacity_Ah;
    return cell;
}

/// Windows and a maker's table as a cell of that capacity has them.
template <class Real>
struct OwnedLimits {
    std::vector<Real> temperature_degC, soc, charge_A, discharge_A;
    std::vector<CurrentTable<Real>> tables;
    CellLimits<Real> limits;

    OwnedLimits(Random& random, double low_V, double high_V, double capacity_Ah) {
        const auto real = [](double x) { return static_cast<Real>(x); };
        limits.window = {
            real(low_V - random.uniform(0, 0.4)), real(high_V + random.uniform(-0.03, 0.08)),
            real(random.uniform(0, 0.08)),        real(random.uniform(0.92, 1)),
            real(random.uniform(-5, 5)),          real(random.uniform(40, 50)),
            real(random.uniform(-30, -10)),       real(random.uniform(50, 60))};
        if (random.uniform(0, 1) < 0.5) return;
        for (const double t : {-10, 5, 25, 50})
            temperature_degC.push_back(real(t));
        for (const double s : {0.0, 0.5, 1.0})
            soc.push_back(real(s));
        for (int k = 0; k < 12; ++k) {
            charge_A.push_back(real(capacity_Ah * random.uniform(0.1, 4)));
            discharge_A.push_back(real(capacity_Ah * random.uniform(0.5, 8)));
        }
        tables.push_back({Real(20), temperature_degC.data(), 4, soc.data(), 3, charge_A.data(),
                          discharge_A.data()});
        limits.tables = tables.data();
        limits.table_count = 1;
    }
    OwnedLimits(const OwnedLimits&) = delete;
    OwnedLimits& operator=(const OwnedLimits&) = delete;
};

template <class Real>
const PackDirectionLimit<Real>& of(const PackHorizonLimit<Real>& limit, bool charging) {
    return charging ? limit.charge : limit.discharge;
}

/// Every group alone, and the least of them, against the pack.
/// \param tolerance of the current: 0.1 %, and half of it more for a group that is missed by little
/// once in some 15 000 (with `every_group` none is); in float what its digits leave of a voltage
/// \param voltage_tolerance share of what the current moves the voltage of the pack by
template <class Real, int Branches, bool Transfer>
void compare(const voltkeel::CellParameters<Real, Branches, Transfer>& cell,
             const CellLimits<Real>& limits, Groups<Real, Branches, Transfer>& groups,
             int (&reasons)[16], double tolerance = sizeof(Real) == sizeof(float) ? 2e-3 : 1.5e-3,
             double voltage_tolerance = 0.15, bool every_group = false) {
    LimitPack<Real, Branches, Transfer> pack;
    pack.cells = &cell;
    pack.limits = &limits;
    pack.group_count = groups.count();
    pack.cells_in_parallel = groups.parallel.data();
    REQUIRE(voltkeel::validate(pack).status == Status::ok);
    PackLimitSettings<Real> settings;
    settings.search.current_tolerance_A = Real(1e-4);
    settings.every_group = every_group;
    PackHorizonLimit<Real> out[4];
    REQUIRE(voltkeel::pack_limits(pack, groups.states(), voltkeel::default_pack_horizons_s<Real>, 4,
                                  groups.workspace(), out, settings) == Status::ok);
    double least_A[4][2];
    double end_V[4][2] = {};
    int binds[4][2];
    for (auto& row : least_A)
        row[0] = row[1] = std::numeric_limits<double>::infinity();
    const GroupStates<Real> states = groups.states();
    constexpr int lags = Groups<Real, Branches, Transfer>::lags;
    for (int g = 0; g < groups.count(); ++g) {
        voltkeel::CellParameters<Real, Branches, Transfer> aged = cell;
        aged.capacity_Ah *= states.capacity_scale[g];
        voltkeel::CellState<Real, Branches, Transfer> state;
        state.soc = states.soc[g];
        state.hysteresis = states.hysteresis[g];
        state.resistance_scale = states.resistance_scale[g];
        for (int i = 0; i < lags; ++i)
            state.branch_V[i] = states.branch_V[g * lags + i];
        voltkeel::HorizonLimit<Real> alone[4];
        voltkeel::LimitSettings<Real> search = settings.search;
        search.current_tolerance = Real(1e-4);
        REQUIRE(voltkeel::current_limits(aged, limits, state, states.temperature_degC[g],
                                         voltkeel::default_pack_horizons_s<Real>, 4, alone,
                                         search) == Status::ok);
        const int parallel = groups.parallel[static_cast<std::size_t>(g)];
        for (int k = 0; k < 4; ++k) {
            for (int d = 0; d < 2; ++d) {
                const auto& limit = d == 0 ? alone[k].charge : alone[k].discharge;
                const double current_A = parallel * std::abs(double(limit.current_A));
                if (current_A < least_A[k][d]) {
                    least_A[k][d] = current_A;
                    binds[k][d] = g;
                }
                // What the group does at the limit of the pack.
                const Real held_A = of(out[k], d == 0).current_A / static_cast<Real>(parallel);
                const double horizon_s = std::min(double(out[k].horizon_s), 600.0);
                const HoldLikeALimit<Real> hold{search, static_cast<Real>(horizon_s / 40)};
                auto held = voltkeel::detail::begin_hold(
                    aged, hold.met(state, held_A),
                    {states.temperature_degC[g], states.temperature_degC[g]}, held_A);
                for (int step = 0; step < 40; ++step)
                    hold(aged, held_A, states.temperature_degC[g], held);
                end_V[k][d] += double(held.point.voltage_V);
            }
        }
    }
    for (int k = 0; k < 4; ++k) {
        for (int d = 0; d < 2; ++d) {
            const PackDirectionLimit<Real>& limit = of(out[k], d == 0);
            const double current_A = std::abs(double(limit.current_A));
            CAPTURE(k, d, binds[k][d], limit.group, message(limit.reason), current_A, least_A[k][d],
                    groups.count());
            ++reasons[static_cast<int>(limit.reason)];
            CHECK((d == 0 ? limit.current_A >= 0 : limit.current_A <= 0));
            CHECK(current_A <= least_A[k][d] * (1 + tolerance) + 2e-3);
            CHECK(current_A >= least_A[k][d] * (1 - tolerance) - 2e-3);
            CHECK(limit.group >= 0);
            CHECK(limit.string == 0);
            CHECK(limit.component == -1);
            if (current_A > 0) {
                CHECK(std::abs(double(limit.power_W)) >=
                      current_A * double(limit.end_voltage_V) * (1 - 1e-6));
                // The voltage of groups that do not decide comes from one step of the model; said
                // of currents that packs are used at.
                const bool usual =
                    k < 3 && current_A < 3 * double(cell.capacity_Ah) *
                                             *std::min_element(groups.parallel.begin(),
                                                               groups.parallel.end());
                if (!usual) continue;
                const double moved_V = std::abs(end_V[k][d] - double(limit.rest_voltage_V));
                CHECK(double(limit.end_voltage_V) ==
                      Approx(end_V[k][d]).margin(3e-3 * end_V[k][d] + voltage_tolerance * moved_V));
            }
        }
    }
}

/// Packs of cells whose tables jump by a third from node to node.
void compare_jumping_tables(int salt, int count, double tolerance, bool every_group) {
    Random random(salt);
    CAPTURE(voltkeel_test::seed());
    int reasons[16] = {};
    for (int n = 0; n < count; ++n) {
        auto own = voltkeel_test::random_cell<3>(random);
        own.scalars.thermal.heat_capacity_J_per_K = own.scalars.capacity_Ah * 18;
        own.scalars.thermal.resistance_K_per_W = 20 / own.scalars.capacity_Ah;
        const auto cell = own.view();
        const OwnedLimits<double> limits(random, own.ocv.front().mean_V, own.ocv.back().mean_V,
                                         own.scalars.capacity_Ah);
        auto groups = random_groups<double, 3, false>(
            random, random.whole(1, 40), std::pow(10, random.uniform(-2.5, 0)),
            own.scalars.capacity_Ah, own.resistance[own.resistance.size() / 2].r0_ohm);
        CAPTURE(n);
        compare<double, 3, false>(cell, limits.limits, groups, reasons, tolerance, 0.3,
                                  every_group);
    }
}

}  // namespace

TEMPLATE_TEST_CASE_SIG("the group that decides is never missed", "[limits][pack][property]",
                       ((typename Real, int Branches), Real, Branches), (float, 2), (double, 1),
                       (double, 3)) {
    Random random(7100 + Branches);
    CAPTURE(voltkeel_test::seed());
    int reasons[16] = {};
    for (int n = 0; n < 60; ++n) {
        const auto own = smooth_cell<Branches>(random);
        const auto same = voltkeel_test::cell_cast<Real>(own);
        const auto cell = same.view();
        OwnedLimits<Real> limits(random, own.ocv.front().mean_V, own.ocv.back().mean_V,
                                 own.scalars.capacity_Ah);
        if (n % 2 == 0) {  // tested up to 1C
            limits.limits.tested_current_A = cell.capacity_Ah;
            limits.limits.untested_share_std = static_cast<Real>(0.05);
        }
        const double width = n % 5 == 0 ? 0 : std::pow(10, random.uniform(-2.5, 0));
        auto groups = random_groups<Real, Branches, false>(
            random, random.whole(1, 40), width, own.scalars.capacity_Ah,
            own.resistance[own.resistance.size() / 2].r0_ohm);
        CAPTURE(n, width);
        compare<Real, Branches, false>(cell, limits.limits, groups, reasons);
    }
    CHECK(reasons[static_cast<int>(LimitReason::voltage)] > 20);
    CHECK(reasons[static_cast<int>(LimitReason::soc)] > 5);
    CHECK(reasons[static_cast<int>(LimitReason::temperature)] > 20);
    CHECK(reasons[static_cast<int>(LimitReason::maker_table)] > 0);
}

TEST_CASE("with every group tried no group is missed, whatever the tables",
          "[limits][pack][property]") {
    compare_jumping_tables(7500, 30, 2e-3, true);
}

TEST_CASE("tables that jump by a third from node to node", "[limits][pack][property]") {
    // No cell is like that; the group that decides may then be missed, by little.
    compare_jumping_tables(7300, 40, 0.03, false);
}

TEST_CASE("the group that decides is never missed, with charge transfer",
          "[limits][pack][property]") {
    Random random(7200);
    CAPTURE(voltkeel_test::seed());
    int reasons[16] = {};
    for (int n = 0; n < 40; ++n) {
        const auto linear = smooth_cell<2>(random);
        const double scale_V = random.uniform(0.03, 0.1);
        const double exchange_A = linear.scalars.capacity_Ah * random.uniform(0.2, 1.5);
        const double time_s = random.uniform(0.1, 2);
        const auto own = voltkeel_test::with_transfer<double>(linear, [&](int t, int) {
            const double cold = std::exp(2.0 * (1 - t / 36.0));
            return voltkeel::ChargeTransfer<double>{scale_V, exchange_A / cold, time_s * cold};
        });
        const auto cell = own.view();
        const OwnedLimits<double> limits(random, own.ocv.front().mean_V, own.ocv.back().mean_V,
                                         own.scalars.capacity_Ah);
        const double width = n % 5 == 0 ? 0 : std::pow(10, random.uniform(-2.5, 0));
        auto groups = random_groups<double, 2, true>(
            random, random.whole(1, 40), width, own.scalars.capacity_Ah,
            own.resistance[own.resistance.size() / 2].r0_ohm);
        CAPTURE(n, width);
        compare<double, 2, true>(cell, limits.limits, groups, reasons);
    }
    CHECK(reasons[static_cast<int>(LimitReason::voltage)] > 20);
}

namespace {

/// A pack of linear cells: 0.8 V over the SOC, 30 mohm at once, one branch of 20 mohm and 30 s.
template <class Real>
struct LinearPack {
    voltkeel_test::OwnedCell<Real, 1> own;
    voltkeel::CellParameters<Real, 1> cell;
    CellLimits<Real> limits;
    LimitPack<Real, 1> pack;
    std::vector<Real> soc, temperature_degC;
    std::vector<voltkeel::detail::GroupWork<Real, 1, false>> work;
    std::vector<voltkeel::detail::StringWork<Real>> string_work;
    PackLimitSettings<Real> settings;

    explicit LinearPack(int count) : own(make()), cell(own.view()) {
        limits.window = {Real(2.5), Real(4.25), Real(0),   Real(1),
                         Real(0),   Real(45),   Real(-20), Real(60)};
        pack.cells = &cell;
        pack.limits = &limits;
        pack.group_count = count;
        soc.assign(static_cast<std::size_t>(count), Real(0.5));
        temperature_degC.assign(static_cast<std::size_t>(count), Real(25));
        work.resize(soc.size());
        string_work.resize(8);
        settings.search.soc_taper = Real(0);
        settings.search.temperature_taper_K = Real(0);
    }
    LinearPack(const LinearPack&) = delete;
    LinearPack& operator=(const LinearPack&) = delete;

    [[nodiscard]] GroupStates<Real> states() const {
        GroupStates<Real> s;
        s.soc = soc.data();
        s.temperature_degC = temperature_degC.data();
        return s;
    }
    [[nodiscard]] PackHorizonLimit<Real> at(double horizon_s, const GroupStates<Real>& s) {
        PackHorizonLimit<Real> out[1];
        const Real horizons_s[] = {static_cast<Real>(horizon_s)};
        REQUIRE(voltkeel::validate(pack).status == Status::ok);
        REQUIRE(voltkeel::pack_limits(pack, s, horizons_s, 1,
                                      {work.data(), static_cast<int>(work.size()),
                                       string_work.data(), static_cast<int>(string_work.size())},
                                      out, settings) == Status::ok);
        return out[0];
    }
    [[nodiscard]] PackHorizonLimit<Real> at(double horizon_s) { return at(horizon_s, states()); }

  private:
    static voltkeel_test::OwnedCell<Real, 1> make() {
        auto made = voltkeel_test::linear_cell<Real, 1>();
        made.scalars.thermal = {Real(5000), Real(2)};
        return made;
    }
};

}  // namespace

TEMPLATE_TEST_CASE("the result names the group, what binds it, and the value", "[limits][pack]",
                   VOLTKEEL_SCALARS) {
    using Real = TestType;
    LinearPack<Real> p(12);
    p.soc[7] = Real(0.1);
    auto limit = p.at(10);
    CHECK(limit.discharge.group == 7);
    CHECK(limit.discharge.reason == LimitReason::voltage);
    CHECK(double(limit.discharge.binding_value) == 2.5);
    CHECK(limit.charge.group != 7);
    CHECK(double(limit.charge.binding_value) == 4.25);
    // One group that is warmer decides when the heat does; another that is too cold, at once.
    p.temperature_degC[3] = Real(59.99);
    limit = p.at(10);
    CHECK(limit.discharge.group == 3);
    CHECK(limit.discharge.reason == LimitReason::temperature);
    CHECK(double(limit.discharge.binding_value) == 60);
    p.temperature_degC[3] = Real(25);
    p.temperature_degC[9] = Real(-0.5);
    limit = p.at(10);
    CHECK(limit.charge.current_A == Real(0));
    CHECK(limit.charge.power_W == Real(0));
    CHECK(limit.charge.group == 9);
    CHECK(limit.charge.reason == LimitReason::temperature);
    CHECK(limit.discharge.current_A < Real(0));
}

TEMPLATE_TEST_CASE("kinds of cells and parallel cells of each group count", "[limits][pack]",
                   VOLTKEEL_SCALARS) {
    using Real = TestType;
    LinearPack<Real> p(4);
    auto weak = voltkeel_test::linear_cell<Real, 1>({3, 3.4, 4.2, 0, 0, 0.09, {0.06, 0, 0, 0}});
    weak.scalars.thermal = {Real(5000), Real(2)};
    const voltkeel::CellParameters<Real, 1> cells[] = {p.cell, weak.view()};
    const CellLimits<Real> limits[] = {p.limits, p.limits};
    const double alone_A = double(p.at(10).discharge.current_A);
    const int kind[] = {0, 0, 1, 0};
    p.pack.cells = cells;
    p.pack.limits = limits;
    p.pack.kind_count = 2;
    p.pack.kind = kind;
    auto limit = p.at(2);
    CHECK(limit.discharge.group == 2);
    // 90 mohm and 60 mohm (1 - exp(-2/30)), and the SOC's 0.8 V 2 s / 3 Ah.
    const double weak_ohm = 0.09 + 0.06 * (1 - std::exp(-2.0 / 30)) + 0.8 * 2 / 10800;
    CHECK(double(limit.discharge.current_A) == Approx(-1.3 / weak_ohm).epsilon(1e-3));
    // Four weak cells in parallel bear more than one of the others.
    const int parallel[] = {1, 1, 4, 1};
    p.pack.cells_in_parallel = parallel;
    limit = p.at(10);
    CHECK(limit.discharge.group != 2);
    CHECK(double(limit.discharge.current_A) == Approx(alone_A).epsilon(1e-3));
}

TEMPLATE_TEST_CASE("strings alike share evenly; an open one carries nothing", "[limits][pack]",
                   VOLTKEEL_SCALARS) {
    using Real = TestType;
    LinearPack<Real> one(5);
    LimitString<Real> single[] = {{0, 5, Real(0.02), true}};
    one.pack.strings = single;
    one.pack.string_count = 1;
    const auto alone = one.at(10);
    LinearPack<Real> three(15);
    LimitString<Real> strings[] = {
        {0, 5, Real(0.02), true}, {5, 5, Real(0.02), true}, {10, 5, Real(0.02), true}};
    three.pack.strings = strings;
    three.pack.string_count = 3;
    const auto joined = three.at(10);
    for (const bool charging : {true, false}) {
        CAPTURE(charging);
        CHECK(double(of(joined, charging).current_A) ==
              Approx(3 * double(of(alone, charging).current_A)).epsilon(1e-3));
        CHECK(double(of(joined, charging).end_voltage_V) ==
              Approx(double(of(alone, charging).end_voltage_V)).epsilon(1e-3));
        CHECK(of(joined, charging).reason == LimitReason::voltage);
    }
    strings[1].closed = false;
    const auto two = three.at(10);
    CHECK(double(two.charge.current_A) == Approx(2 * double(alone.charge.current_A)).epsilon(1e-3));
    strings[0].closed = false;
    CHECK(double(three.at(10).charge.current_A) == Approx(double(alone.charge.current_A)));
    CHECK(three.at(10).charge.string == 2);
    strings[2].closed = false;
    const auto none = three.at(10);
    CHECK(none.charge.current_A == Real(0));
    CHECK(none.discharge.current_A == Real(0));
    CHECK(none.charge.reason == LimitReason::contactor);
}

TEST_CASE("unlike strings in parallel: stepped through with the split of every instant",
          "[limits][pack][property]") {
    Random random(7400);
    CAPTURE(voltkeel_test::seed());
    std::vector<double> shares;
    int close = 0;
    for (int n = 0; n < VOLTKEEL_CASES(30, 4); ++n) {
        const auto own = smooth_cell<2>(random);
        const auto cell = own.view();
        const OwnedLimits<double> limits(random, own.ocv.front().mean_V, own.ocv.back().mean_V,
                                         own.scalars.capacity_Ah);
        auto groups =
            random_groups<double, 2, false>(random, 8, 0.05, own.scalars.capacity_Ah,
                                            own.resistance[own.resistance.size() / 2].r0_ohm);
        std::fill(groups.parallel.begin(), groups.parallel.end(), 1);
        std::fill(groups.branch_V.begin(), groups.branch_V.end(), 0.0);
        for (double& degC : groups.temperature_degC)
            degC = std::clamp(degC, 12.0, 35.0);
        for (int g = 4; g < 8; ++g) {
            // The second string is a few points apart, older, and of every other pack warm where
            // the first is cold.
            auto& soc = groups.soc[static_cast<std::size_t>(g)];
            soc = std::clamp(soc + random.uniform(-0.05, 0.05), 0.0, 1.0);
            double& degC = groups.temperature_degC[static_cast<std::size_t>(g)];
            if (n % 2 == 0) degC = 47 - degC;
            groups.resistance_scale[static_cast<std::size_t>(g)] *= random.uniform(1, 1.5);
        }
        const double ohm = 4 * own.resistance[own.resistance.size() / 2].r0_ohm;
        const LimitString<double> strings[] = {{0, 4, 0.3 * ohm, true},
                                               {4, 4, random.uniform(0.1, 0.6) * ohm, true}};
        LimitPack<double, 2> pack;
        pack.cells = &cell;
        pack.limits = &limits.limits;
        pack.group_count = 8;
        pack.strings = strings;
        pack.string_count = 2;
        PackLimitSettings<double> settings;
        const double horizons_s[] = {2, 10, 30};
        PackHorizonLimit<double> out[3];
        REQUIRE(voltkeel::pack_limits(pack, groups.states(), horizons_s, 3, groups.workspace(2),
                                      out, settings) == Status::ok);
        if (limits.limits.table_count == 0) {
            // On a controller likewise.
            const auto same = voltkeel_test::cell_cast<float>(own);
            const auto same_cell = same.view();
            CellLimits<float> same_limits;
            same_limits.window = voltkeel_test::window_cast<float>(limits.limits.window);
            Groups<float, 2, false> same_groups;
            for (std::size_t g = 0; g < 8; ++g) {
                same_groups.add(groups.soc[g], groups.temperature_degC[g],
                                groups.resistance_scale[g], groups.capacity_scale[g],
                                groups.hysteresis[g], 1, {0.0, 0.0});
            }
            const LimitString<float> same_strings[] = {
                {0, 4, static_cast<float>(strings[0].resistance_ohm), true},
                {4, 4, static_cast<float>(strings[1].resistance_ohm), true}};
            LimitPack<float, 2> same_pack;
            same_pack.cells = &same_cell;
            same_pack.limits = &same_limits;
            same_pack.group_count = 8;
            same_pack.strings = same_strings;
            same_pack.string_count = 2;
            const float same_horizons_s[] = {2, 10, 30};
            PackHorizonLimit<float> found[3];
            REQUIRE(voltkeel::pack_limits(same_pack, same_groups.states(), same_horizons_s, 3,
                                          same_groups.workspace(2), found) == Status::ok);
            for (int k = 0; k < 3; ++k) {
                for (const bool charging : {true, false}) {
                    CAPTURE(n, k, charging);
                    CHECK(double(of(found[k], charging).current_A) ==
                          Approx(of(out[k], charging).current_A).epsilon(3e-3).margin(0.01));
                }
            }
        }
        /// Smallest distance to the end of the voltage window while a pack current is held.
        const auto slack_V = [&](double current_A, double horizon_s) {
            constexpr int steps = 600;
            const HoldLikeALimit<double> hold{settings.search, horizon_s / steps};
            std::vector<voltkeel::detail::HeldCell<double, 2>> held;
            const GroupStates<double> states = groups.states();
            std::vector<voltkeel::CellParameters<double, 2>> aged(8, cell);
            for (std::size_t g = 0; g < 8; ++g) {
                aged[g].capacity_Ah *= groups.capacity_scale[g];
                voltkeel::CellState<double, 2> state;
                state.soc = states.soc[g];
                state.hysteresis = states.hysteresis[g];
                state.resistance_scale = states.resistance_scale[g];
                const double degC = states.temperature_degC[g];
                held.push_back({hold.met(state, current_A), {degC, degC}, {}, degC});
            }
            double slack = 1e9;
            for (int step = 0; step <= steps; ++step) {
                double source_V[2] = {}, inner_ohm[2] = {};
                for (std::size_t s = 0; s < 2; ++s) {
                    inner_ohm[s] = strings[s].resistance_ohm;
                    for (std::size_t g = 4 * s; g < 4 * s + 4; ++g) {
                        const auto at =
                            voltkeel::voltage_at(aged[g], held[g].state, 0.0, held[g].felt_degC);
                        source_V[s] += at.voltage_V;
                        inner_ohm[s] += at.by_current;
                    }
                }
                const double joint_V =
                    (source_V[0] / inner_ohm[0] + source_V[1] / inner_ohm[1] + current_A) /
                    (1 / inner_ohm[0] + 1 / inner_ohm[1]);
                for (std::size_t s = 0; s < 2; ++s) {
                    const double string_A = (joint_V - source_V[s]) / inner_ohm[s];
                    for (std::size_t g = 4 * s; g < 4 * s + 4; ++g) {
                        held[g].point = voltkeel::detail::held_point(aged[g], held[g].state,
                                                                     string_A, held[g].felt_degC);
                        const double v = held[g].point.voltage_V;
                        slack =
                            std::min(slack, current_A > 0 ? limits.limits.window.voltage_max_V - v
                                                          : v - limits.limits.window.voltage_min_V);
                        if (step < steps)
                            hold(aged[g], string_A, states.temperature_degC[g], held[g]);
                    }
                }
            }
            return slack;
        };
        for (int k = 0; k < 3; ++k) {
            for (const bool charging : {true, false}) {
                const auto& limit = of(out[k], charging);
                CAPTURE(n, k, charging, double(limit.current_A), message(limit.reason));
                if (limit.current_A == 0) continue;
                if (limit.reason != LimitReason::voltage) {
                    CHECK(slack_V(limit.current_A, horizons_s[k]) > -1e-3);
                    continue;
                }
                double inside_A = 0.9 * limit.current_A;
                double outside_A = 1.1 * limit.current_A;
                for (int turn = 0; turn < 14; ++turn) {
                    const double middle_A = 0.5 * (inside_A + outside_A);
                    (slack_V(middle_A, horizons_s[k]) >= 0 ? inside_A : outside_A) = middle_A;
                }
                const double share = limit.current_A / inside_A;
                CAPTURE(inside_A, share);
                CHECK(share < 1.004);
                if (k > 0 && limit.current_A == of(out[k - 1], charging).current_A) continue;
                CHECK(share > 0.995);
                shares.push_back(share);
                if (share > 0.999 && share < 1.001) ++close;
            }
        }
    }
    // Solved to half of 0.1 %, and a string is stepped as so many of the group that decides it.
    const auto decided = static_cast<int>(shares.size());
    CAPTURE(close, decided);
    REQUIRE(decided > 10);
    std::sort(shares.begin(), shares.end());
    const auto off = [&](double part) {
        return std::to_string(100 * (shares[static_cast<std::size_t>(part * (decided - 1))] - 1));
    };
    WARN("unlike strings, " << decided << " limits against the stepped truth, %: lowest " << off(0)
                            << ", 10 % below " << off(0.1) << ", half below " << off(0.5)
                            << ", 90 % below " << off(0.9) << ", highest " << off(1));
    CHECK(close > 0.9 * decided);
}

TEMPLATE_TEST_CASE("components cap the pack or their string and are named", "[limits][pack]",
                   VOLTKEEL_SCALARS) {
    using Real = TestType;
    LinearPack<Real> p(4);
    LimitComponent<Real> parts[2];
    parts[0].kind = LimitReason::driver;
    parts[0].discharge_A = Real(5);
    parts[1].kind = LimitReason::charger;
    parts[1].charge_A = Real(3);
    parts[1].string = 0;
    p.pack.components = parts;
    p.pack.component_count = 2;
    const auto limit = p.at(10);
    CHECK(double(limit.discharge.current_A) == Approx(-5));
    CHECK(limit.discharge.reason == LimitReason::driver);
    CHECK(limit.discharge.component == 0);
    CHECK(limit.discharge.group == -1);
    CHECK(double(limit.discharge.binding_value) == 5);
    CHECK(double(limit.charge.current_A) == Approx(3));
    CHECK(limit.charge.reason == LimitReason::charger);
    CHECK(limit.charge.component == 1);
    CHECK(limit.charge.string == 0);
    // The voltage is the one of that current: 4 (3.8 V + 3 A over 30 mohm, branch and SOC).
    const double branch_ohm = 0.02 * (1 - std::exp(-10.0 / 30));
    CHECK(double(limit.charge.end_voltage_V) ==
          Approx(4 * (3.8 + 3 * (0.03 + branch_ohm + 0.8 * 10 / 10800))).epsilon(2e-4));
}

TEMPLATE_TEST_CASE("limits shrink with the spread, with age and with flagged sensors",
                   "[limits][pack]", VOLTKEEL_SCALARS) {
    using Real = TestType;
    LinearPack<Real> p(6);
    const auto plain = p.at(10);
    // Two sigmas of 3 % of SOC: as 6 points fuller or emptier.
    const std::vector<Real> soc_std(6, Real(0.03));
    GroupStates<Real> states = p.states();
    states.soc_std = soc_std.data();
    const auto unsure = p.at(10, states);
    std::vector<Real> shifted(6, Real(0.56));
    states = p.states();
    states.soc = shifted.data();
    CHECK(double(unsure.charge.current_A) ==
          Approx(double(p.at(10, states).charge.current_A)).epsilon(1e-3));
    shifted.assign(6, Real(0.44));
    CHECK(double(unsure.discharge.current_A) ==
          Approx(double(p.at(10, states).discharge.current_A)).epsilon(1e-3));
    CHECK(unsure.charge.current_A < plain.charge.current_A);
    CHECK(unsure.discharge.current_A > plain.discharge.current_A);
    p.settings.sigmas = Real(0);
    states = p.states();
    states.soc_std = soc_std.data();
    CHECK(p.at(10, states).charge.current_A == plain.charge.current_A);
    p.settings.sigmas = Real(2);

    // Resistance 1.5 times: nearly 1.5 times less current; and e^(2 * 0.1) more by its spread.
    const std::vector<Real> scale(6, Real(1.5));
    states = p.states();
    states.resistance_scale = scale.data();
    const double older_A = double(p.at(2, states).discharge.current_A);
    CHECK(older_A == Approx(double(p.at(2).discharge.current_A) / 1.5).epsilon(0.01));
    const std::vector<Real> log_std(6, Real(0.1));
    states.resistance_log_std = log_std.data();
    CHECK(double(p.at(2, states).discharge.current_A) ==
          Approx(older_A / std::exp(0.2)).epsilon(0.01));

    // Half the capacity: half the current where the SOC decides.
    p.limits.window.voltage_max_V = Real(5.5);
    p.soc.assign(6, Real(0.99));
    const std::vector<Real> half(6, Real(0.5));
    states = p.states();
    const double full_A = double(p.at(10, states).charge.current_A);
    CHECK(p.at(10, states).charge.reason == LimitReason::soc);
    CHECK(full_A == Approx(0.01 * 3 * 360).epsilon(2e-3));
    states.capacity_scale = half.data();
    CHECK(double(p.at(10, states).charge.current_A) == Approx(full_A / 2).epsilon(2e-3));
    p.limits.window.voltage_max_V = Real(4.25);
    p.soc.assign(6, Real(0.5));

    // A flagged voltage counts as more spread of that group, which then decides.
    std::vector<std::uint8_t> flags(6, 0);
    flags[2] = voltkeel::group_voltage_flagged;
    states = p.states();
    states.flags = flags.data();
    auto flagged = p.at(10, states);
    CHECK(flagged.charge.group == 2);
    CHECK(flagged.charge.current_A < plain.charge.current_A);
    CHECK(flagged.discharge.group == 2);
    // A flagged temperature near the cold end stops the charge.
    flags[2] = 0;
    flags[4] = voltkeel::group_temperature_flagged;
    p.temperature_degC.assign(6, Real(4));
    flagged = p.at(10, states);
    CHECK(flagged.charge.current_A == Real(0));
    CHECK(flagged.charge.group == 4);
    CHECK(flagged.charge.reason == LimitReason::temperature);
    p.temperature_degC.assign(6, Real(25));
    // A flagged current sensor takes a share of everything.
    states = p.states();
    states.current_flagged = true;
    CHECK(double(p.at(10, states).charge.current_A) ==
          Approx(0.8 * double(plain.charge.current_A)).epsilon(1e-4));
}

TEMPLATE_TEST_CASE("a pack that fills up takes less and less, and nothing when full",
                   "[limits][pack]", VOLTKEEL_SCALARS) {
    using Real = TestType;
    LinearPack<Real> p(3);
    p.settings.search.soc_taper = Real(0.02);
    p.limits.window.soc_max = Real(0.98);
    Real before_A = std::numeric_limits<Real>::infinity();
    double largest_step_A = 0;
    for (int k = 0; k <= 1200; ++k) {
        p.soc[1] = static_cast<Real>(0.9 + 1e-4 * k);
        const auto limit = p.at(2);
        CAPTURE(k);
        CHECK(limit.charge.current_A <= before_A * Real(1.001) + Real(2e-3));
        if (k > 0) {
            largest_step_A =
                std::max(largest_step_A, std::abs(double(limit.charge.current_A - before_A)));
        }
        before_A = limit.charge.current_A;
        if (p.soc[1] > Real(0.98)) {
            CHECK(limit.charge.current_A == Real(0));
            CHECK(limit.charge.reason == LimitReason::soc);
        }
    }
    // 0.01 points of SOC: 0.54 A where the SOC decides over 2 s, 1.5 A in the taper of 300 A.
    CHECK(largest_step_A < 2);
}

TEST_CASE("a pack or state that cannot be used is refused and changes nothing", "[limits][pack]") {
    LinearPack<double> p(4);
    const double nan = std::numeric_limits<double>::quiet_NaN();
    const double two_s[] = {2};
    PackHorizonLimit<double> out[2];
    out[0].horizon_s = -7;
    const auto refused = [&](Status expected, const GroupStates<double>& states,
                             const double* horizons_s = nullptr, int count = 1, int room = 4) {
        CHECK(voltkeel::pack_limits(p.pack, states, horizons_s != nullptr ? horizons_s : two_s,
                                    count, {p.work.data(), room, p.string_work.data(), 8}, out,
                                    p.settings) == expected);
        CHECK(out[0].horizon_s == -7);
    };
    const std::vector<double> bad{0.5, 0.5, nan, 0.5};
    const std::vector<double> negative{0.5, 0.5, -0.1, 0.5};
    GroupStates<double> states = p.states();
    states.soc = bad.data();
    refused(Status::sample_not_finite, states);
    states = p.states();
    states.branch_V = bad.data();
    refused(Status::sample_not_finite, states);
    states = p.states();
    states.resistance_scale = negative.data();
    refused(Status::out_of_range, states);
    states = p.states();
    states.soc_std = negative.data();
    refused(Status::out_of_range, states);
    states = p.states();
    states.soc = nullptr;
    refused(Status::missing_table, states);
    const double falling_s[] = {10, 2};
    refused(Status::not_increasing, p.states(), falling_s, 2);
    refused(Status::out_of_range, p.states(), two_s, 1, 3);
    p.settings.sigmas = -1;
    refused(Status::out_of_range, p.states());
    CHECK(std::string(voltkeel::validate(p.settings).field) == "sigmas");
    p.settings.sigmas = 2;

    const auto finding = [&](const char* field, int index, Status status = Status::out_of_range) {
        const auto found = voltkeel::validate(p.pack);
        CHECK(found.status == status);
        CHECK(std::string(found.field) == field);
        CHECK(found.index == index);
    };
    LimitString<double> strings[] = {{0, 2, 0, true}, {3, 1, 0, true}};
    p.pack.strings = strings;
    p.pack.string_count = 2;
    finding("strings.first_group", 1);
    strings[1] = {2, 3, 0, true};
    finding("strings.group_count", 1);
    strings[1] = {2, 1, 0, true};
    finding("strings.group_count", 1);
    strings[1] = {2, 2, nan, true};
    finding("strings.resistance_ohm", 1, Status::not_finite);
    strings[1] = {2, 2, 0, true};
    LimitComponent<double> part;
    part.string = 2;
    p.pack.components = &part;
    p.pack.component_count = 1;
    finding("components.string", 0);
    p.pack.component_count = 0;
    const int kinds[] = {0, 0, 1, 0};
    p.pack.kind = kinds;
    finding("kind", 2);
    p.pack.kind = nullptr;
    p.pack.group_count = 0;
    finding("group_count", -1);
}
