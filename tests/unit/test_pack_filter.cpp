// The filter of a string of groups: against full filters and the truth, and under bad readings.

#include <algorithm>
#include <catch2/catch.hpp>
#include <cmath>
#include <cstdio>
#include <limits>
#include <memory>
#include <string>
#include <vector>

#include "support/example_cell.hpp"
#include "support/scalars.hpp"
#include "support/simulated_string.hpp"
#include "voltkeel/estimate/group_filters.hpp"
#include "voltkeel/estimate/pack_filter.hpp"
#include "voltkeel/estimate/parallel_strings.hpp"
#include "voltkeel/io/cell.hpp"

using voltkeel::PackEstimate;
using voltkeel::PackFilterSettings;
using voltkeel::PackSample;
using voltkeel::Status;
using voltkeel_test::simulated_string;
using voltkeel_test::SimulatedString;
using voltkeel_test::StringShape;

namespace {

constexpr int most_groups = 96;
template <class Real>
using Filter = voltkeel::PackFilter<Real, 2, false, most_groups>;
template <class Real>
using Full = voltkeel::GroupFilters<Real, 2, false, most_groups>;

template <class Real>
std::vector<Real> voltages(const SimulatedString& run, std::size_t row) {
    std::vector<Real> row_V;
    for (int k = 0; k < run.groups * run.strings; ++k)
        row_V.push_back(static_cast<Real>(run.at(run.voltage_V, row, k)));
    return row_V;
}

template <class Real>
PackSample<Real> sample_of(const SimulatedString& run, std::size_t row,
                           const std::vector<Real>& row_V) {
    PackSample<Real> sample;
    sample.current_A = static_cast<Real>(run.current_A[row]);
    sample.temperature_degC = static_cast<Real>(run.temperature_degC);
    sample.dt_s = row == 0 ? Real(0) : static_cast<Real>(run.time_s[row] - run.time_s[row - 1]);
    sample.voltage_V = row_V.data();
    return sample;
}

/// A filter that stands at the first row.
template <class Real>
std::unique_ptr<Filter<Real>> started(const voltkeel::CellTables<Real, 2>& tables,
                                      const SimulatedString& run,
                                      const PackFilterSettings<Real>& settings = {}) {
    auto filter = std::make_unique<Filter<Real>>();
    REQUIRE(filter->configure(tables.parameters(), run.groups, settings) == Status::ok);
    REQUIRE(filter->start_from_voltages(voltages<Real>(run, 0).data(),
                                        static_cast<Real>(run.current_A[0]),
                                        static_cast<Real>(run.temperature_degC)) == Status::ok);
    return filter;
}

}  // namespace

TEMPLATE_TEST_CASE("every group's SOC is that of a full filter", "[pack_filter]",
                   VOLTKEEL_SCALARS) {
    using Real = TestType;
    for (const double row_s : {1.0, 0.5}) {
        StringShape shape;
        shape.row_s = row_s;
        shape.groups = row_s < 1 ? 7 : 24;
        const SimulatedString run = simulated_string(shape);
        CAPTURE(voltkeel_test::seed(), row_s);
        const voltkeel::CellTables<Real, 2> tables(run.cell);
        const auto filter = started<Real>(tables, run);
        const auto full = std::make_unique<Full<Real>>();
        REQUIRE(full->configure(tables.parameters(), run.groups) == Status::ok);
        for (int k = 0; k < run.groups; ++k) {
            REQUIRE(full->start_from_voltage(k, voltages<Real>(run, 0)[static_cast<std::size_t>(k)],
                                             static_cast<Real>(run.current_A[0]),
                                             static_cast<Real>(run.temperature_degC)) ==
                    Status::ok);
        }
        double furthest = 0;
        double furthest_true = 0;
        double full_true = 0;
        double share_sum = 0;
        double inside = 0;
        double rows = 0;
        for (std::size_t row = 0; row < run.size(); ++row) {
            const auto row_V = voltages<Real>(run, row);
            const PackSample<Real> sample = sample_of(run, row, row_V);
            (void)filter->step(sample);
            (void)full->step(sample);
            if (run.time_s[row] < 900) continue;  // both have found their places
            for (int k = 0; k < run.groups; ++k) {
                const double truth = run.at(run.soc, row, k);
                const double off = voltkeel_test::apart(filter->soc(k), truth);
                furthest = std::max(furthest, voltkeel_test::apart(filter->soc(k), full->soc(k)));
                furthest_true = std::max(furthest_true, off);
                full_true = std::max(full_true, voltkeel_test::apart(full->soc(k), truth));
                rows += 1;
                inside += off < 1.96 * static_cast<double>(filter->soc_std(k)) ? 1 : 0;
            }
        }
        for (int k = 0; k < run.groups; ++k) {
            const double ratio = static_cast<double>(filter->resistance_scale(k)) /
                                 run.resistance_factor[static_cast<std::size_t>(k)];
            share_sum += std::abs(ratio - 1);
        }
        std::printf(
            "pack filter, %d groups, rows of %.1f s: %.2f points from full filters, %.2f from the "
            "truth (full filters %.2f), resistances %.1f %% off, band holds %.1f %%\n",
            run.groups, row_s, 100 * furthest, 100 * furthest_true, 100 * full_true,
            100 * share_sum / run.groups, 100 * inside / rows);
        CHECK(furthest < 0.01);
        CHECK(furthest_true < 0.015);
        CHECK(inside / rows > 0.95);
        CHECK(share_sum / run.groups < 0.03);
    }
}

TEMPLATE_TEST_CASE("bad readings of a group are flagged and its SOC is counted on", "[pack_filter]",
                   VOLTKEEL_SCALARS) {
    using Real = TestType;
    StringShape shape;
    shape.duration_s = 3600;
    const SimulatedString run = simulated_string(shape);
    CAPTURE(voltkeel_test::seed());
    const voltkeel::CellTables<Real, 2> tables(run.cell);
    const Real nan = std::numeric_limits<Real>::quiet_NaN();
    const Real infinity = std::numeric_limits<Real>::infinity();
    struct Fault {
        const char* name;
        std::uint8_t bit;
        double start_s;
        double allowed_off;
    };
    const Fault faults[] = {{"missing", voltkeel::group_missing, 1200, 0.02},
                            {"infinite", voltkeel::group_missing, 1200, 0.02},
                            {"outside", voltkeel::group_outside, 1200, 0.02},
                            {"late", voltkeel::group_late, 1200, 0.02},
                            {"stuck", voltkeel::group_stuck, 1200, 0.02},
                            {"0.2 V off", voltkeel::group_implausible, 1200, 0.02}};
    const auto sound = started<Real>(tables, run);
    std::vector<std::unique_ptr<Filter<Real>>> broken;
    PackFilterSettings<Real> patient;
    patient.reset_after_s = Real(1e5);
    for (std::size_t f = 0; f < 6; ++f)
        broken.push_back(started<Real>(tables, run, patient));
    std::vector<int> flagged(6, 0);
    std::vector<int> ticks(6, 0);
    std::vector<int> false_flags(6, 0);
    std::vector<double> furthest(6, 0);
    std::vector<double> others(6, 0);
    Real stuck_V = 0;
    const int bad = 4;
    for (std::size_t row = 0; row < run.size(); ++row) {
        const auto row_V = voltages<Real>(run, row);
        (void)sound->step(sample_of(run, row, row_V));
        for (std::size_t f = 0; f < 6; ++f) {
            auto broken_V = row_V;
            std::vector<Real> lag_s(row_V.size(), Real(0));
            PackSample<Real> sample = sample_of(run, row, broken_V);
            if (f == 3) sample.lag_s = lag_s.data();
            if (f == 4 && run.time_s[row] < faults[f].start_s) stuck_V = row_V[bad];
            const bool on = run.time_s[row] >= faults[f].start_s;
            if (on) {
                if (f == 0) broken_V[bad] = nan;
                if (f == 1) broken_V[bad] = -infinity;
                if (f == 2) broken_V[bad] = Real(6.2);
                if (f == 3) lag_s[bad] = Real(7);
                if (f == 4) broken_V[bad] = stuck_V;
                if (f == 5) broken_V[bad] += Real(0.2);
            }
            const PackEstimate<Real>& estimate = broken[f]->step(sample);
            if (!estimate.updated) continue;
            for (int k = 0; k < run.groups; ++k) {
                const std::uint8_t bits = broken[f]->group_faults(k);
                if (on && k == bad) {
                    ticks[f] += 1;
                    flagged[f] += (bits & faults[f].bit) != 0 ? 1 : 0;
                    furthest[f] =
                        std::max(furthest[f],
                                 voltkeel_test::apart(broken[f]->soc(k), run.at(run.soc, row, k)));
                } else {
                    false_flags[f] += bits != 0 ? 1 : 0;
                    if (run.time_s[row] > 900) {
                        others[f] = std::max(
                            others[f], voltkeel_test::apart(broken[f]->soc(k), sound->soc(k)));
                    }
                }
            }
        }
    }
    std::printf("one group's readings fail for 40 minutes; flagged, largest error, others moved\n");
    for (std::size_t f = 0; f < 6; ++f) {
        INFO(faults[f].name);
        std::printf("  %-10s %6.1f %%  %5.2f points  %5.2f points\n", faults[f].name,
                    100.0 * flagged[f] / ticks[f], 100 * furthest[f], 100 * others[f]);
        CHECK(flagged[f] > (f == 4 ? 0.9 : 0.999) * ticks[f]);
        CHECK(false_flags[f] == 0);
        CHECK(furthest[f] < faults[f].allowed_off);
        CHECK(others[f] < 0.005);
    }
}

TEMPLATE_TEST_CASE("a group that is truly lower is opened and found", "[pack_filter]",
                   VOLTKEEL_SCALARS) {
    using Real = TestType;
    StringShape shape;
    shape.soc_std = 0;
    const SimulatedString run = simulated_string(shape);
    const voltkeel::CellTables<Real, 2> tables(run.cell);
    PackFilterSettings<Real> settings;
    settings.soc_std_initial = Real(0.005);
    settings.resistance_share_std = Real(0.02);
    settings.reset_after_s = Real(300);
    const auto filter = started<Real>(tables, run, settings);
    // Stands for a group 15 points lower: its voltage is that of the model.
    std::uint8_t seen = 0;
    for (std::size_t row = 0; row < run.size(); ++row) {
        auto row_V = voltages<Real>(run, row);
        auto truth = filter->cell_state(0);
        truth.soc = static_cast<Real>(run.at(run.soc, row, 0) - 0.15);
        truth.resistance_scale = Real(1);
        row_V[0] = voltkeel::voltage_at(tables.parameters(), truth,
                                        static_cast<Real>(run.current_A[row]), Real(20))
                       .voltage_V;
        (void)filter->step(sample_of(run, row, row_V));
        seen = static_cast<std::uint8_t>(seen | filter->group_faults(0));
    }
    CHECK((seen & voltkeel::group_reset) != 0);
    CHECK(filter->state().reset_count == 1);
    CHECK(voltkeel_test::apart(filter->soc(0), run.soc[(run.size() - 1) * 12] - 0.15) < 0.02);
    CHECK(filter->group_faults(0) == 0);
}

TEMPLATE_TEST_CASE("with two groups the one that is off is refused, not both", "[pack_filter]",
                   VOLTKEEL_SCALARS) {
    using Real = TestType;
    StringShape shape;
    shape.groups = 2;
    shape.duration_s = 1800;
    const SimulatedString run = simulated_string(shape);
    const voltkeel::CellTables<Real, 2> tables(run.cell);
    const auto filter = started<Real>(tables, run);
    int right = 0;
    int wrong = 0;
    int ticks = 0;
    for (std::size_t row = 0; row < run.size(); ++row) {
        auto row_V = voltages<Real>(run, row);
        if (run.time_s[row] > 900) row_V[1] += Real(0.3);
        (void)filter->step(sample_of(run, row, row_V));
        if (run.time_s[row] <= 900 || run.time_s[row] > 1450) continue;
        ++ticks;
        right += filter->group_faults(1) == voltkeel::group_implausible ? 1 : 0;
        wrong += filter->group_faults(0) != 0 ? 1 : 0;
    }
    CHECK(right == ticks);
    CHECK(wrong == 0);
}

TEMPLATE_TEST_CASE("readings taken earlier in the step are moved to its end", "[pack_filter]",
                   VOLTKEEL_SCALARS) {
    using Real = TestType;
    // Steps of 10 s: within one, the branches move a group by tens of millivolts.
    voltkeel_test::LinearShape linear;
    const auto cell = voltkeel_test::linear_cell<Real, 2>(linear);
    const int groups = 5;
    const auto run_with = [&](bool told) {
        voltkeel::PackFilter<Real, 2, false, 5> filter;
        PackFilterSettings<Real> settings;
        REQUIRE(filter.configure(cell.view(), groups, settings) == Status::ok);
        REQUIRE(filter.start(Real(0.8), Real(0.01), Real(25)) == Status::ok);
        voltkeel::CellState<Real, 2> truth;
        truth.soc = Real(0.8);
        double furthest = 0;
        for (int tick = 0; tick < 400; ++tick) {
            const Real current_A = tick / 6 % 2 == 0 ? Real(-4) : Real(3);
            Real row_V[groups];
            Real lag_s[groups];
            for (int k = 0; k < groups; ++k) {
                lag_s[k] = Real(2 * k);
                auto then = truth;
                voltkeel::step(cell.view(), {current_A, Real(10) - lag_s[k], Real(25)}, then);
                row_V[k] = voltkeel::voltage_at(cell.view(), then, current_A, Real(25)).voltage_V;
            }
            voltkeel::step(cell.view(), {current_A, Real(10), Real(25)}, truth);
            (void)filter.step({current_A, Real(25), Real(10), row_V, told ? lag_s : nullptr});
            if (tick < 50) continue;
            for (int k = 0; k < groups; ++k) {
                furthest = std::max(furthest, voltkeel_test::apart(filter.soc(k), truth.soc));
            }
        }
        return furthest;
    };
    const double told = run_with(true);
    const double untold = run_with(false);
    std::printf("readings up to 8 s early in steps of 10 s: %.2f points off, %.2f when not told\n",
                100 * told, 100 * untold);
    CHECK(told < 0.003);
    CHECK(told < 0.5 * untold);
}

TEMPLATE_TEST_CASE("bleed currents and capacities of groups are counted", "[pack_filter]",
                   VOLTKEEL_SCALARS) {
    using Real = TestType;
    const auto cell = voltkeel_test::linear_cell<Real, 2>();
    voltkeel::PackFilter<Real, 2, false, 3> filter;
    PackFilterSettings<Real> settings;
    settings.reference.update_interval_s = Real(10);
    REQUIRE(filter.configure(cell.view(), 3, settings) == Status::ok);
    REQUIRE(filter.set_capacity(1, Real(3.3)) == Status::ok);
    REQUIRE(filter.start(Real(0.9), Real(0.01), Real(25)) == Status::ok);
    const Real bleed_A[] = {Real(0), Real(0), Real(-0.1)};
    PackSample<Real> sample;
    sample.current_A = Real(-1.5);
    sample.dt_s = Real(1);
    sample.group_current_A = bleed_A;
    for (int tick = 0; tick < 1800; ++tick)
        (void)filter.step(sample);  // no voltage at all: everything is counted
    // Charge over capacity, by hand: 0.75 Ah of 3 Ah, of 3.3 Ah, and 0.05 Ah more of 3 Ah.
    CHECK(static_cast<double>(filter.soc(0)) == Approx(0.9 - 0.75 / 3).margin(2e-6));
    CHECK(static_cast<double>(filter.soc(1)) == Approx(0.9 - 0.75 / 3.3).margin(2e-6));
    CHECK(static_cast<double>(filter.soc(2)) == Approx(0.9 - 0.8 / 3).margin(2e-6));
    CHECK(filter.estimate().group_fault_bits == voltkeel::group_missing);
    CHECK(filter.set_capacity(3, Real(3)) == Status::out_of_range);
    CHECK(filter.set_capacity(-1, Real(3)) == Status::out_of_range);
    CHECK(filter.set_capacity(0, Real(0)) == Status::out_of_range);
    CHECK(filter.set_capacity(0, Real(-3)) == Status::out_of_range);
    CHECK(filter.set_capacity(0, std::numeric_limits<Real>::quiet_NaN()) == Status::not_finite);
}

TEMPLATE_TEST_CASE("whatever comes in, every group's state stays a number", "[pack_filter]",
                   VOLTKEEL_SCALARS) {
    using Real = TestType;
    voltkeel_test::Random random(77);
    CAPTURE(voltkeel_test::seed());
    const auto exact = voltkeel_test::random_cell<3>(random);
    const auto cell = voltkeel_test::cell_cast<Real>(exact);
    voltkeel::PackFilter<Real, 3, false, 7> filter;
    REQUIRE(filter.configure(cell.view(), 7) == Status::ok);
    REQUIRE(filter.start(Real(0.5), Real(0.2), Real(20)) == Status::ok);
    const auto wild = [&](double usual) {
        switch (random.whole(0, 9)) {
            case 0:
                return std::numeric_limits<Real>::quiet_NaN();
            case 1:
                return std::numeric_limits<Real>::infinity();
            case 2:
                return -std::numeric_limits<Real>::max();
            case 3:
                return static_cast<Real>(random.uniform(-1e6, 1e6));
            default:
                return static_cast<Real>(usual);
        }
    };
    for (int tick = 0; tick < 20000; ++tick) {
        Real row_V[7];
        Real lag_s[7];
        Real bleed_A[7];
        for (int k = 0; k < 7; ++k) {
            row_V[k] = wild(random.uniform(2.5, 4.5));
            lag_s[k] = wild(random.uniform(0, 1));
            bleed_A[k] = wild(-0.1);
        }
        const bool all = random.whole(0, 2) > 0;
        (void)filter.step({wild(random.uniform(-2, 2) * exact.scalars.capacity_Ah),
                           wild(random.uniform(-30, 60)), wild(1), all ? row_V : nullptr,
                           random.whole(0, 1) > 0 ? lag_s : nullptr,
                           random.whole(0, 1) > 0 ? bleed_A : nullptr});
        for (int k = 0; k < 7; ++k) {
            const auto& state = filter.state();
            const double soc_var = static_cast<double>(state.soc_var[k]);
            const double share_var = static_cast<double>(state.share_var[k]);
            const double covariance = static_cast<double>(state.covariance[k]);
            if (!(std::isfinite(filter.soc(k)) && std::isfinite(filter.soc_std(k)) &&
                  std::isfinite(filter.resistance_scale(k)) && soc_var >= 0 && share_var >= 0 &&
                  covariance * covariance <= soc_var * share_var * 1.001 + 1e-12)) {
                CAPTURE(tick, k, filter.soc(k), soc_var, share_var, covariance);
                FAIL("the state of a group is no longer a number");
            }
        }
    }
}

TEMPLATE_TEST_CASE("a bad call of the pack filter changes nothing", "[pack_filter]",
                   VOLTKEEL_SCALARS) {
    using Real = TestType;
    const auto cell = voltkeel_test::linear_cell<Real, 1>();
    voltkeel::PackFilter<Real, 1, false, 4> filter;
    const Real row_V[] = {Real(3.8), Real(3.8), Real(3.8), Real(3.8)};
    CHECK(filter.start(Real(0.5), Real(0.1), Real(25)) == Status::missing_table);
    CHECK((filter.step({Real(1), Real(25), Real(1), row_V}).reference.fault_bits &
           voltkeel::fault_not_started) != 0);
    CHECK(filter.configure(cell.view(), 0) == Status::out_of_range);
    CHECK(filter.configure(cell.view(), 5) == Status::out_of_range);
    PackFilterSettings<Real> settings;
    settings.gate = Real(0);
    CHECK(filter.configure(cell.view(), 4, settings) == Status::out_of_range);
    CHECK(validate(settings).field == std::string("gate"));
    settings = {};
    settings.reference.voltage_std_V = std::numeric_limits<Real>::quiet_NaN();
    CHECK(filter.configure(cell.view(), 4, settings) == Status::not_finite);
    REQUIRE(filter.configure(cell.view(), 4) == Status::ok);
    const Real none[] = {std::numeric_limits<Real>::quiet_NaN(), Real(9), Real(-1), Real(0)};
    CHECK(filter.start_from_voltages(none, Real(0), Real(25)) == Status::sample_not_finite);
    CHECK(filter.start_from_voltages(nullptr, Real(0), Real(25)) == Status::missing_table);
    CHECK(filter.start_from_voltages(row_V, Real(0), Real(25)) == Status::ok);
}

TEMPLATE_TEST_CASE("strings in parallel with one sensor are split by the model", "[pack_filter]",
                   VOLTKEEL_SCALARS) {
    using Real = TestType;
    StringShape shape;
    shape.groups = 8;
    shape.strings = 2;
    shape.duration_s = 3600;
    const SimulatedString run = simulated_string(shape);
    CAPTURE(voltkeel_test::seed());
    const voltkeel::CellTables<Real, 2> tables(run.cell);
    using Strings = voltkeel::ParallelStrings<Real, 2, false, 8, 2>;
    for (const bool each : {false, true}) {
        const auto strings = std::make_unique<Strings>();
        REQUIRE(strings->configure(tables.parameters(), 2, 8, Real(6e-4)) == Status::ok);
        double furthest = 0;
        double current_off_A = 0;
        for (std::size_t row = 0; row < run.size(); ++row) {
            const auto row_V = voltages<Real>(run, row);
            const Real* groups_V[] = {row_V.data(), row_V.data() + 8};
            if (row == 0) {
                for (int s = 0; s < 2; ++s) {
                    REQUIRE(strings->string(s).start_from_voltages(
                                groups_V[s], static_cast<Real>(run.string_current_A[0]),
                                Real(20)) == Status::ok);
                }
            }
            const Real own_A[] = {static_cast<Real>(run.string_current_A[2 * row]),
                                  static_cast<Real>(run.string_current_A[2 * row + 1])};
            voltkeel::StringsSample<Real> sample;
            sample.current_A = static_cast<Real>(run.current_A[row]);
            if (each) sample.string_current_A = own_A;
            sample.temperature_degC = Real(20);
            sample.dt_s = row == 0 ? Real(0) : Real(1);
            sample.voltage_V = groups_V;
            REQUIRE(strings->step(sample) == Status::ok);
            if (run.time_s[row] < 900) continue;
            for (int s = 0; s < 2; ++s) {
                current_off_A = std::max(
                    current_off_A, voltkeel_test::apart(strings->string_current_A(s), own_A[s]));
                for (int k = 0; k < 8; ++k) {
                    furthest =
                        std::max(furthest, voltkeel_test::apart(strings->string(s).soc(k),
                                                                run.at(run.soc, row, 8 * s + k)));
                }
            }
        }
        std::printf(
            "two strings, %s: SOC within %.2f points, currents within %.2f A of the truth\n",
            each ? "a sensor each" : "one sensor", 100 * furthest, current_off_A);
        CHECK(furthest < (each ? 0.012 : 0.015));
        CHECK(current_off_A < (each ? 1e-4 : 5));
    }
}

TEMPLATE_TEST_CASE("a string without sensor takes what the others leave", "[pack_filter]",
                   VOLTKEEL_SCALARS) {
    using Real = TestType;
    const auto cell = voltkeel_test::linear_cell<Real, 1>();
    voltkeel::ParallelStrings<Real, 1, false, 2, 3> strings;
    CHECK(strings.configure(cell.view(), 4, 2, Real(0)) == Status::out_of_range);
    CHECK(strings.configure(cell.view(), 3, 3, Real(0)) == Status::out_of_range);
    CHECK(strings.configure(cell.view(), 3, 2, Real(-1)) == Status::out_of_range);
    REQUIRE(strings.configure(cell.view(), 3, 2, Real(0.01)) == Status::ok);
    for (int s = 0; s < 3; ++s)
        REQUIRE(strings.string(s).start(Real(0.5), Real(0.1), Real(25)) == Status::ok);
    const Real nan = std::numeric_limits<Real>::quiet_NaN();
    const Real known_A[] = {Real(-1), nan, Real(-2)};
    const bool open_first[] = {false, true, true};
    const bool all_open[] = {false, false, false};
    voltkeel::StringsSample<Real> sample;
    sample.current_A = Real(-6);
    sample.dt_s = Real(1);
    sample.string_current_A = known_A;
    CHECK(strings.step(sample) == Status::ok);
    CHECK(static_cast<double>(strings.string_current_A(1)) == Approx(-3));
    sample.closed = open_first;
    CHECK(strings.step(sample) == Status::ok);
    CHECK(strings.string_current_A(0) == Real(0));
    CHECK(static_cast<double>(strings.string_current_A(1)) == Approx(-4));
    // No sensor anywhere: alike strings share alike.
    sample.string_current_A = nullptr;
    CHECK(strings.step(sample) == Status::ok);
    CHECK(static_cast<double>(strings.string_current_A(1) + strings.string_current_A(2)) ==
          Approx(-6).epsilon(1e-5));
    sample.closed = all_open;
    CHECK(strings.step(sample) == Status::not_allowed);
    sample.closed = nullptr;
    const Real before_A = strings.string_current_A(1);
    sample.current_A = nan;
    CHECK(strings.step(sample) == Status::sample_not_finite);
    CHECK(strings.string_current_A(1) == before_A);
}

TEMPLATE_TEST_CASE("on a flat curve with hysteresis the band of every group holds", "[pack_filter]",
                   VOLTKEEL_SCALARS) {
    using Real = TestType;
    // Iron phosphate as a truth: two plateaus, a step between them, ends that bend, branches 20 mV
    // apart. Invented.
    voltkeel_test::Random random(59);
    CAPTURE(voltkeel_test::seed());
    auto exact = voltkeel_test::linear_cell<double, 2>();
    exact.ocv.clear();
    for (int k = 0; k <= 50; ++k) {
        const double soc = k / 50.0;
        exact.ocv.push_back({3.27 + 0.02 * soc + 0.04 / (1 + std::exp(-(soc - 0.65) / 0.02)) -
                                 0.5 * std::exp(-soc / 0.04) + 0.2 * std::exp((soc - 1) / 0.02),
                             0.01, 0});
    }
    exact.scalars.hysteresis_rate = 40;
    const auto cell = voltkeel_test::cell_cast<Real>(exact);
    constexpr int groups = 8;
    double inside = 0;
    double rows = 0;
    double width = 0;
    for (int life = 0; life < 12; ++life) {
        voltkeel::PackFilter<Real, 2, false, groups> filter;
        PackFilterSettings<Real> settings;
        settings.reference.voltage_std_V = Real(0.005);
        REQUIRE(filter.configure(cell.view(), groups, settings) == Status::ok);
        REQUIRE(filter.start(Real(0.8), Real(0.05), Real(25)) == Status::ok);
        std::vector<voltkeel::CellState<double, 2>> truth(groups);
        std::vector<double> offset_V(groups);
        const double common = 0.05 * random.normal();
        for (int k = 0; k < groups; ++k) {
            auto& state = truth[static_cast<std::size_t>(k)];
            state.soc = std::clamp(0.8 + common + 0.02 * random.normal(), 0.3, 0.98);
            state.hysteresis = random.uniform(-1, 1);
            state.resistance_scale = std::exp(0.1 * random.normal());
            offset_V[static_cast<std::size_t>(k)] = 0.002 * random.normal();
        }
        for (int tick = 0; tick < 5400; ++tick) {
            const double current_A = tick % 200 < 120 ? -2 : (tick % 200 < 160 ? 1 : 0);
            Real row_V[groups];
            for (int k = 0; k < groups; ++k) {
                auto& state = truth[static_cast<std::size_t>(k)];
                voltkeel::step(exact.view(), {current_A, 1, 25}, state);
                row_V[k] = static_cast<Real>(
                    voltkeel::voltage_at(exact.view(), state, current_A, 25.0).voltage_V +
                    offset_V[static_cast<std::size_t>(k)] + 0.001 * random.normal());
            }
            (void)filter.step({static_cast<Real>(current_A), Real(25), Real(1), row_V});
            if (tick < 600) continue;
            for (int k = 0; k < groups; ++k) {
                const double off =
                    voltkeel_test::apart(filter.soc(k), truth[static_cast<std::size_t>(k)].soc);
                const double half = 1.96 * static_cast<double>(filter.soc_std(k));
                inside += off < half ? 1 : 0;
                width += half;
                rows += 1;
            }
        }
    }
    std::printf(
        "flat curve, 20 mV between its branches: band holds %.1f %%, half as wide as %.1f "
        "points in the mean\n",
        100 * inside / rows, 100 * width / rows);
    CHECK(inside / rows > 0.9);
    CHECK(width / rows < 0.2);
}

TEMPLATE_TEST_CASE("strings know of readings taken earlier within the step", "[pack_filter]",
                   VOLTKEEL_SCALARS) {
    using Real = TestType;
    const auto cell = voltkeel_test::linear_cell<Real, 2>();
    constexpr int groups = 5;
    const auto run_with = [&](bool told) {
        voltkeel::ParallelStrings<Real, 2, false, groups, 2> strings;
        REQUIRE(strings.configure(cell.view(), 2, groups, Real(0)) == Status::ok);
        voltkeel::PackFilter<Real, 2, false, groups> alone[2];
        for (int s = 0; s < 2; ++s) {
            REQUIRE(strings.string(s).start(Real(0.8), Real(0.01), Real(25)) == Status::ok);
            REQUIRE(alone[s].configure(cell.view(), groups) == Status::ok);
            REQUIRE(alone[s].start(Real(0.8), Real(0.01), Real(25)) == Status::ok);
        }
        voltkeel::CellState<Real, 2> truth;
        truth.soc = Real(0.8);
        double furthest = 0;
        for (int tick = 0; tick < 400; ++tick) {
            const Real current_A = tick / 6 % 2 == 0 ? Real(-4) : Real(3);
            Real row_V[2][groups];
            Real row_s[2][groups];
            for (int k = 0; k < groups; ++k) {
                // The second string is read at the end of the step, all at once.
                row_s[0][k] = Real(2 * k);
                row_s[1][k] = Real(0);
                for (int s = 0; s < 2; ++s) {
                    auto then = truth;
                    voltkeel::step(cell.view(), {current_A, Real(10) - row_s[s][k], Real(25)},
                                   then);
                    row_V[s][k] =
                        voltkeel::voltage_at(cell.view(), then, current_A, Real(25)).voltage_V;
                }
            }
            voltkeel::step(cell.view(), {current_A, Real(10), Real(25)}, truth);
            const Real* const rows_V[] = {row_V[0], row_V[1]};
            const Real* const rows_s[] = {row_s[0], nullptr};
            const Real own_A[] = {current_A, current_A};
            voltkeel::StringsSample<Real> sample;
            sample.current_A = Real(2) * current_A;
            sample.string_current_A = own_A;
            sample.temperature_degC = Real(25);
            sample.dt_s = Real(10);
            sample.voltage_V = rows_V;
            if (told) sample.lag_s = rows_s;
            REQUIRE(strings.step(sample) == Status::ok);
            // Each is the filter of its string.
            for (int s = 0; s < 2; ++s) {
                (void)alone[s].step(
                    {current_A, Real(25), Real(10), row_V[s], told ? rows_s[s] : nullptr});
                for (int k = 0; k < groups; ++k) {
                    CHECK(strings.string(s).soc(k) == alone[s].soc(k));
                    if (tick >= 50) {
                        furthest = std::max(
                            furthest, voltkeel_test::apart(strings.string(s).soc(k), truth.soc));
                    }
                }
            }
        }
        return furthest;
    };
    const double told = run_with(true);
    const double untold = run_with(false);
    std::printf("two strings, one read up to 8 s early: %.2f points off, %.2f when not told\n",
                100 * told, 100 * untold);
    CHECK(told < 0.003);
    CHECK(told < 0.5 * untold);
    // A lag that is none flags the reading.
    voltkeel::ParallelStrings<Real, 2, false, groups, 2> strings;
    REQUIRE(strings.configure(cell.view(), 2, groups, Real(0)) == Status::ok);
    const Real row_V[groups] = {Real(4), Real(4), Real(4), Real(4), Real(4)};
    const Real row_s[groups] = {Real(0), Real(11), Real(-1), std::numeric_limits<Real>::quiet_NaN(),
                                Real(10)};
    const Real* const rows_V[] = {row_V, row_V};
    const Real* const rows_s[] = {nullptr, row_s};
    for (int s = 0; s < 2; ++s)
        REQUIRE(strings.string(s).start(Real(0.75), Real(0.1), Real(25)) == Status::ok);
    voltkeel::StringsSample<Real> sample;
    sample.dt_s = Real(10);
    sample.voltage_V = rows_V;
    sample.lag_s = rows_s;
    REQUIRE(strings.step(sample) == Status::ok);
    for (int k = 0; k < groups; ++k) {
        CAPTURE(k);
        CHECK(strings.string(0).group_faults(k) == 0);
        CHECK(strings.string(1).group_faults(k) ==
              (k == 0 || k == 4 ? 0 : static_cast<int>(voltkeel::group_late)));
    }
}
