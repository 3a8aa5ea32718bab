// The stored state: back as it was, refused when a byte is wrong, and right after days off.

#include <algorithm>
#include <boost/crc.hpp>
#include <catch2/catch.hpp>
#include <cmath>
#include <cstdio>
#include <cstring>
#include <limits>
#include <vector>

#include "support/example_cell.hpp"
#include "support/scalars.hpp"
#include "voltkeel/estimate/snapshot.hpp"

using voltkeel::CapacityEstimator;
using voltkeel::crc32;
using voltkeel::GroupDriftFit;
using voltkeel::ResistanceGrowth;
using voltkeel::SensorChecks;
using voltkeel::SnapshotParts;
using voltkeel::Status;
using voltkeel_test::Random;

namespace {

template <class Real>
using Filter = voltkeel::PackFilter<Real, 2, false, 8>;
constexpr int size = voltkeel::snapshot_size<2, false, 8>;
constexpr int short_size = voltkeel::snapshot_size<2, false, 8, false>;
// What the documentation says.
static_assert(voltkeel::snapshot_size<2, false, 16> == 1480);
static_assert(voltkeel::snapshot_size<2, false, 96> == 7240);
static_assert(voltkeel::snapshot_size<2, false, 16, false> == 712);
static_assert(voltkeel::snapshot_size<2, false, 96, false> == 2632);

/// A filter of six groups that has driven for an hour, 100 000 ticks of it shorter than a float of
/// the SOC can see.
template <class Real>
void drive(Filter<Real>& filter, const voltkeel::CellParameters<Real, 2>& cell,
           CapacityEstimator<Real>* capacity) {
    Random random(61);
    std::vector<voltkeel::CellState<Real, 2>> truth(6);
    for (auto& state : truth)
        state.soc = static_cast<Real>(0.8 + 0.01 * random.normal());
    REQUIRE(filter.start(Real(0.8), Real(0.05), Real(20)) == Status::ok);
    for (int tick = 0; tick < 1800; ++tick) {
        const Real current_A = static_cast<Real>(random.uniform(-4, 2));
        Real row_V[6];
        for (int k = 0; k < 6; ++k) {
            voltkeel::step(cell, {current_A, Real(2), Real(20)},
                           truth[static_cast<std::size_t>(k)]);
            row_V[k] =
                voltkeel::voltage_at(cell, truth[static_cast<std::size_t>(k)], current_A, Real(20))
                    .voltage_V;
        }
        (void)filter.step({current_A, Real(20), Real(2), row_V});
        if (capacity != nullptr) capacity->count(current_A, Real(2));
    }
}

/// Writes the check that belongs to the bytes.
void seal(std::uint8_t* bytes, int count) {
    const std::uint32_t crc = crc32(bytes, count - 4);
    for (int k = 0; k < 4; ++k)
        bytes[count - 4 + k] = static_cast<std::uint8_t>(crc >> (8 * k));
}

void put_number(std::uint8_t* at, float value) {
    std::memcpy(at, &value, 4);
}

/// All that is stored beside a filter of six groups.
template <class Real>
struct Parts {
    CapacityEstimator<Real> capacity;
    ResistanceGrowth<Real> resistance;
    SensorChecks<Real> checks;
    GroupDriftFit<Real> drift[6];
    Parts() {
        REQUIRE(capacity.configure(Real(3)) == Status::ok);
        resistance.configure();
        voltkeel::SensorCheckSettings<Real> settings;
        settings.capacity_Ah = Real(3);
        REQUIRE(checks.configure(settings) == Status::ok);
        for (auto& fit : drift)
            REQUIRE(fit.configure(Real(30), Real(0.05)) == Status::ok);
    }
    SnapshotParts<Real> all() { return {&capacity, &resistance, &checks, drift}; }
};

/// Six groups, what they are told of, and everything that watches them. The current sensor reads
/// other than the truth.
template <class Real>
struct Watched {
    Filter<Real> filter;
    Parts<Real> parts;

    explicit Watched(const voltkeel::CellParameters<Real, 2>& cell) {
        REQUIRE(filter.configure(cell, 6) == Status::ok);
    }
    Watched(const voltkeel::CellParameters<Real, 2>& cell, double soc, double soc_std)
        : Watched(cell) {
        REQUIRE(filter.start(static_cast<Real>(soc), static_cast<Real>(soc_std), Real(20)) ==
                Status::ok);
    }

    /// One row of the sensors. \param read_A as the sensor has it
    voltkeel::CheckedReadings<Real> step(double time_s, double read_A, const Real* row_V,
                                         bool no_current = false) {
        voltkeel::SensorSample<Real> readings;
        readings.time_us = voltkeel::time_us_of(time_s);
        readings.current_A = static_cast<Real>(read_A);
        readings.voltage_V = Real(0);
        for (int k = 0; k < 6; ++k)
            readings.voltage_V += row_V[k] / Real(6);
        readings.temperature_degC = Real(20);
        readings.no_current = no_current;
        const auto checked = parts.checks.step(readings, voltkeel::model_view(filter.reference()));
        voltkeel::PackSample<Real> sample;
        sample.current_A = checked.current_A;
        sample.current_std_A = checked.current_std_A;
        sample.temperature_degC = checked.temperature_degC;
        sample.dt_s = checked.dt_s;
        sample.voltage_V = row_V;
        const auto& estimate = filter.step(sample);
        parts.capacity.count(checked.current_A, checked.dt_s);
        parts.resistance.step(std::log(estimate.reference.resistance_scale),
                              estimate.reference.log_scale_std, checked.dt_s);
        for (int k = 0; k < 6; ++k) {
            parts.drift[k].step(checked.dt_s);
            parts.drift[k].look(filter.soc(k) - estimate.reference.soc,
                                filter.soc_difference_std(k), estimate.reference.soc);
        }
        return checked;
    }
};

/// The pack itself: six groups that differ, and a drive drawn piece by piece.
template <class Real>
class Truth {
  public:
    Truth(const voltkeel::CellParameters<Real, 2>& cell, Random& random)
        : cell_(cell), random_(random) {
        for (auto& state : groups_) {
            state.soc = static_cast<Real>(0.8 + 0.01 * random.normal());
            state.resistance_scale = static_cast<Real>(random.uniform(0.9, 1.3));
        }
    }
    /// Flows for a second. \return the voltages of the groups
    const Real* step(double current_A) {
        for (int k = 0; k < 6; ++k) {
            const Real now_A = static_cast<Real>(current_A);
            voltkeel::step(cell_, {now_A, Real(1), Real(20)}, groups_[k]);
            row_V_[k] = voltkeel::voltage_at(cell_, groups_[k], now_A, Real(20)).voltage_V +
                        static_cast<Real>(0.001 * random_.normal());
        }
        return row_V_;
    }
    /// Current of a drive: another one every ten seconds or so.
    double drawn_A() {
        if (random_.whole(0, 9) == 0) held_A_ = random_.uniform(-4, 2.9);
        return held_A_;
    }
    [[nodiscard]] double soc(int k) const { return static_cast<double>(groups_[k].soc); }

  private:
    voltkeel::CellParameters<Real, 2> cell_;
    Random& random_;
    voltkeel::CellState<Real, 2> groups_[6];
    Real row_V_[6]{};
    double held_A_{0};
};

/// Both along a drive.
template <class Real>
void drive_watched(Watched<Real>& watched, Truth<Real>& truth, int seconds) {
    for (int tick = 0; tick < seconds; ++tick) {
        const double current_A = truth.drawn_A();
        (void)watched.step(tick, current_A, truth.step(current_A));
    }
}

template <class A, class B>
void check_near(A a, B b, double share, double least) {
    const double scale = std::max(std::abs(static_cast<double>(a)), least / share);
    CHECK(voltkeel_test::apart(a, b) <= share * scale);
}

}  // namespace

TEST_CASE("the check of the stored state is that of the standard", "[snapshot]") {
    const char* const digits = "123456789";
    std::uint8_t bytes[9];
    std::memcpy(bytes, digits, 9);
    // Check value of this polynomial and its conventions, as its catalogues print it (from memory).
    CHECK(crc32(bytes, 9) == 0xCBF43926U);
    CHECK(crc32(bytes + 4, 5, crc32(bytes, 4)) == 0xCBF43926U);
    CHECK(crc32(bytes, 0) == 0);
    // And against Boost's own, on bytes of any kind.
    Random random(67);
    CAPTURE(voltkeel_test::seed());
    for (int trial = 0; trial < 200; ++trial) {
        std::vector<std::uint8_t> any(static_cast<std::size_t>(random.whole(1, 300)));
        for (auto& byte : any)
            byte = static_cast<std::uint8_t>(random.whole(0, 255));
        boost::crc_32_type other;
        other.process_bytes(any.data(), any.size());
        CHECK(crc32(any.data(), static_cast<int>(any.size())) == other.checksum());
    }
}

TEMPLATE_TEST_CASE("a stored state comes back as it was", "[snapshot]", VOLTKEEL_SCALARS) {
    using Real = TestType;
    const auto cell = voltkeel_test::linear_cell<Real, 2>();
    Filter<Real> filter;
    REQUIRE(filter.configure(cell.view(), 6) == Status::ok);
    std::uint8_t bytes[size] = {};
    CHECK(voltkeel::write_snapshot(filter, {}, bytes) == Status::not_started);
    CapacityEstimator<Real> capacity;
    REQUIRE(capacity.configure(Real(3)) == Status::ok);
    (void)capacity.anchor(Real(0.8), Real(0.01));
    drive<Real>(filter, cell.view(), &capacity);
    (void)capacity.anchor(filter.soc(0), Real(0.01));
    REQUIRE(capacity.state().intervals == 1);
    REQUIRE(voltkeel::write_snapshot(filter, {&capacity}, bytes) == Status::ok);

    Filter<Real> second;
    CapacityEstimator<Real> second_capacity;
    REQUIRE(second.configure(cell.view(), 6) == Status::ok);
    REQUIRE(second_capacity.configure(Real(2)) == Status::ok);
    REQUIRE(voltkeel::start_from_snapshot(bytes, size, {Real(0), Real(20)}, second,
                                          {&second_capacity}) == Status::ok);
    for (int k = 0; k < 6; ++k) {
        CHECK(voltkeel_test::apart(second.soc(k), filter.soc(k)) < 1e-7);
        CHECK(static_cast<double>(second.soc_std(k)) ==
              Approx(static_cast<double>(filter.soc_std(k))).epsilon(1e-4));
        CHECK(static_cast<double>(second.resistance_scale(k)) ==
              Approx(static_cast<double>(filter.resistance_scale(k))).epsilon(1e-6));
    }
    CHECK(static_cast<double>(second_capacity.capacity_Ah()) ==
          Approx(static_cast<double>(capacity.capacity_Ah())).epsilon(1e-6));
    CHECK(second_capacity.state().intervals == 1);
    // Both go on alike.
    const Real row_V[] = {Real(3.9), Real(3.91), Real(3.9), Real(3.89), Real(3.9), Real(3.9)};
    for (int tick = 0; tick < 100; ++tick) {
        (void)filter.step({Real(-1), Real(20), Real(1), row_V});
        (void)second.step({Real(-1), Real(20), Real(1), row_V});
    }
    for (int k = 0; k < 6; ++k)
        CHECK(voltkeel_test::apart(second.soc(k), filter.soc(k)) < 2e-4);
}

TEST_CASE("float and double read each other's bytes", "[snapshot]") {
    const auto cell = voltkeel_test::linear_cell<double, 2>();
    const auto narrow_cell = voltkeel_test::cell_cast<float>(cell);
    Filter<double> filter;
    Filter<float> narrow;
    REQUIRE(filter.configure(cell.view(), 6) == Status::ok);
    REQUIRE(narrow.configure(narrow_cell.view(), 6) == Status::ok);
    drive<double>(filter, cell.view(), nullptr);
    std::uint8_t bytes[size];
    REQUIRE(voltkeel::write_snapshot(filter, {}, bytes) == Status::ok);
    REQUIRE(voltkeel::start_from_snapshot(bytes, size, {0.0F, 20.0F}, narrow) == Status::ok);
    for (int k = 0; k < 6; ++k)
        CHECK(voltkeel_test::apart(narrow.soc(k), filter.soc(k)) < 1e-6);
    std::uint8_t again[size];
    REQUIRE(voltkeel::write_snapshot(narrow, {}, again) == Status::ok);
    CHECK(std::memcmp(bytes, again, size) == 0);
}

TEMPLATE_TEST_CASE("bytes that were cut or changed are refused and change nothing", "[snapshot]",
                   VOLTKEEL_SCALARS) {
    using Real = TestType;
    const auto cell = voltkeel_test::linear_cell<Real, 2>();
    Filter<Real> filter;
    REQUIRE(filter.configure(cell.view(), 6) == Status::ok);
    drive<Real>(filter, cell.view(), nullptr);
    std::uint8_t bytes[size];
    REQUIRE(voltkeel::write_snapshot(filter, {}, bytes) == Status::ok);
    Filter<Real> second;
    REQUIRE(second.configure(cell.view(), 6) == Status::ok);
    REQUIRE(second.start(Real(0.33), Real(0.1), Real(20)) == Status::ok);
    const auto start = [&](int count) {
        return voltkeel::start_from_snapshot(bytes, count, {Real(0), Real(20)}, second);
    };
    for (int cut = 0; cut < size; ++cut)
        CHECK(start(cut) == Status::snapshot_damaged);
    CHECK(start(size + 1) == Status::snapshot_damaged);
    for (int k = 0; k < size; ++k) {
        for (int bit = 0; bit < 8; ++bit) {
            bytes[k] = static_cast<std::uint8_t>(bytes[k] ^ (1U << static_cast<unsigned>(bit)));
            const Status status = start(size);
            if (status != Status::snapshot_damaged && status != Status::snapshot_foreign) {
                CAPTURE(k, bit);
                FAIL("a changed byte was taken");
            }
            bytes[k] = static_cast<std::uint8_t>(bytes[k] ^ (1U << static_cast<unsigned>(bit)));
        }
    }
    CHECK(voltkeel::start_from_snapshot(nullptr, size, {Real(0), Real(20)}, second) ==
          Status::snapshot_damaged);
    CHECK(voltkeel::start_from_snapshot(bytes, size, {Real(-1), Real(20)}, second) ==
          Status::time_step_invalid);
    CHECK(voltkeel::start_from_snapshot(bytes, size,
                                        {std::numeric_limits<Real>::quiet_NaN(), Real(20)},
                                        second) == Status::time_step_invalid);
    CHECK(voltkeel::start_from_snapshot(bytes, size,
                                        {Real(1), std::numeric_limits<Real>::infinity()},
                                        second) == Status::sample_not_finite);
    // A state that cannot be, with a right check.
    put_number(bytes + 12, 7);
    seal(bytes, size);
    CHECK(start(size) == Status::out_of_range);
    Filter<Real> five;
    REQUIRE(five.configure(cell.view(), 5) == Status::ok);
    CHECK(voltkeel::start_from_snapshot(bytes, size, {Real(0), Real(20)}, five) ==
          Status::snapshot_foreign);
    CHECK(second.soc(0) == Real(0.33));
}

TEMPLATE_TEST_CASE("after days off the start knows what time has done", "[snapshot]",
                   VOLTKEEL_SCALARS) {
    using Real = TestType;
    auto owned = voltkeel_test::linear_cell<Real, 2>();
    owned.scalars.self_discharge_per_s = Real(0.03 / (30 * 86400.0));  // 3 % a month
    const auto cell = owned.view();
    Filter<Real> filter;
    REQUIRE(filter.configure(cell, 6) == Status::ok);
    drive<Real>(filter, cell, nullptr);
    std::uint8_t bytes[size];
    REQUIRE(voltkeel::write_snapshot(filter, {}, bytes) == Status::ok);
    for (const double days : {0.02, 1.0, 10.0, 400.0}) {
        Filter<Real> second;
        REQUIRE(second.configure(cell, 6) == Status::ok);
        REQUIRE(voltkeel::start_from_snapshot(
                    bytes, size, {static_cast<Real>(days * 86400), Real(5)}, second) == Status::ok);
        CAPTURE(days);
        const double expected =
            std::max(static_cast<double>(filter.soc(2)) - 0.03 * days / 30, 0.0);
        CHECK(voltkeel_test::apart(second.soc(2), expected) < (days > 100 ? 3e-2 : 1e-4));
        CHECK(second.soc_std(2) >= filter.soc_std(2));
        if (days >= 1) {
            for (const Real overvoltage_V : second.cell_state(2).branch_V)
                CHECK(std::abs(overvoltage_V) < Real(1e-6));
        }
    }
}

TEMPLATE_TEST_CASE("every part comes back as it was", "[snapshot]", VOLTKEEL_SCALARS) {
    using Real = TestType;
    Random random(71);
    CAPTURE(voltkeel_test::seed());
    const auto cell = voltkeel_test::linear_cell<Real, 2>();
    Watched<Real> first(cell.view(), 0.8, 0.05);
    Truth<Real> truth(cell.view(), random);
    double time_s = 0;
    // Contactors open: the offset of the sensor is found. Then a drive, on a sensor that drifts.
    for (int tick = 0; tick < 200; ++tick)
        (void)first.step(time_s += 1, 0.05, truth.step(0), true);
    (void)first.parts.capacity.anchor(Real(0.9), Real(0.01));
    const auto drive = [&] {
        const double current_A = truth.drawn_A();
        (void)first.step(time_s += 1, current_A + 0.6, truth.step(current_A));
    };
    for (int tick = 0; tick < 3000; ++tick)
        drive();
    (void)first.parts.capacity.anchor(Real(0.3), Real(0.01));
    for (int tick = 0; tick < 5000 && first.parts.checks.state().slow_bits == 0; ++tick)
        drive();
    for (int tick = 0; tick < 100; ++tick)
        drive();
    // Something is in every part.
    const auto& checks = first.parts.checks.state();
    REQUIRE(checks.offset_A > Real(0.03));
    REQUIRE(checks.slow_bits == voltkeel::sensor_current_drift);
    REQUIRE(checks.window_count > Real(1));
    REQUIRE(first.parts.capacity.state().intervals == 1);
    REQUIRE(first.parts.capacity.state().anchored);
    REQUIRE(first.parts.capacity.state().hours > Real(0));
    REQUIRE(first.parts.resistance.state().looks > 0);
    REQUIRE(first.parts.drift[5].state().looks > 10);
    std::uint8_t bytes[size];
    REQUIRE(voltkeel::write_snapshot(first.filter, first.parts.all(), bytes) == Status::ok);

    Watched<Real> second(cell.view());
    const voltkeel::TimeOff<Real> nothing{Real(0), Real(20)};
    REQUIRE(voltkeel::start_from_snapshot(bytes, size, nothing, second.filter,
                                          second.parts.all()) == Status::ok);
    const auto& capacity = first.parts.capacity.state();
    const auto& again = second.parts.capacity.state();
    CHECK(again.anchored);
    CHECK(again.intervals == capacity.intervals);
    check_near(again.anchor_soc, capacity.anchor_soc, 1e-7, 0);
    check_near(again.anchor_soc_var, capacity.anchor_soc_var, 1e-7, 0);
    // Not even the rounding of the sums is lost.
    const double kept = sizeof(Real) == 4 ? 0 : 1e-14;
    CHECK(voltkeel_test::apart(
              static_cast<double>(again.charge_Ah) - static_cast<double>(again.charge_carry_Ah),
              static_cast<double>(capacity.charge_Ah) -
                  static_cast<double>(capacity.charge_carry_Ah)) <= kept);
    CHECK(voltkeel_test::apart(
              static_cast<double>(again.hours) - static_cast<double>(again.hours_carry),
              static_cast<double>(capacity.hours) - static_cast<double>(capacity.hours_carry)) <=
          kept);
    const auto& growth = second.parts.resistance.state();
    check_near(growth.log_growth, first.parts.resistance.state().log_growth, 1e-7, 1e-12);
    check_near(growth.log_var, first.parts.resistance.state().log_var, 1e-7, 0);
    CHECK(growth.since_s == first.parts.resistance.state().since_s);
    CHECK(growth.looks == first.parts.resistance.state().looks);
    const auto& looked = second.parts.checks.state();
    check_near(looked.offset_A, checks.offset_A, 1e-7, 0);
    check_near(looked.largest_beyond_V, checks.largest_beyond_V, 1e-7, 0);
    CHECK(looked.reversed == checks.reversed);
    CHECK(looked.slow_bits == checks.slow_bits);
    CHECK(looked.latched == checks.latched);
    check_near(looked.slow_offset_A, checks.slow_offset_A, 1e-7, 0);
    check_near(looked.slow_gain, checks.slow_gain, 1e-7, 1e-12);
    check_near(looked.window_s, checks.window_s, 1e-7, 0);
    check_near(looked.window_As, checks.window_As, 1e-7, 0);
    check_near(looked.window_moved, checks.window_moved, 1e-7, 1e-12);
    check_near(looked.window_squares, checks.window_squares, 1e-7, 0);
    CHECK(looked.window_count == checks.window_count);
    for (int i = 0; i < 5; ++i)
        check_near(looked.normal[i], checks.normal[i], 1e-7, 1e-12);
    CHECK(looked.last_soc_known);
    CHECK_FALSE(looked.started);  // the clock may be another one
    CHECK_FALSE(looked.raw_known);
    CHECK(looked.block.count == Real(0));
    for (int k = 0; k < 6; ++k) {
        const auto& fit = first.parts.drift[k].state();
        const auto& fit_again = second.parts.drift[k].state();
        for (int i = 0; i < 6; ++i)
            check_near(fit_again.information[i], fit.information[i], 1e-7, 1e-12);
        for (int i = 0; i < 3; ++i)
            check_near(fit_again.right[i], fit.right[i], 1e-7, 1e-12);
        CHECK(fit_again.looks == fit.looks);
        check_near(fit_again.since_d, fit.since_d, 1e-7, 0);
        const auto drift = first.parts.drift[k].drift();
        const auto drift_again = second.parts.drift[k].drift();
        CHECK(voltkeel_test::apart(drift_again.soc_per_day, drift.soc_per_day) <
              1e-4 * static_cast<double>(drift.soc_per_day_std));
        CHECK(voltkeel_test::apart(drift_again.capacity_share, drift.capacity_share) <
              1e-4 * static_cast<double>(drift.capacity_share_std));
    }
    // The same bytes again.
    std::uint8_t bytes_again[size];
    REQUIRE(voltkeel::write_snapshot(second.filter, second.parts.all(), bytes_again) == Status::ok);
    CHECK(std::memcmp(bytes, bytes_again, size) == 0);

    // Parts that nobody asks for are left out, and parts that are not stored stay as they are.
    Watched<Real> third(cell.view());
    REQUIRE(voltkeel::start_from_snapshot(bytes, size, nothing, third.filter,
                                          {nullptr, &third.parts.resistance}) == Status::ok);
    CHECK(third.parts.resistance.state().looks == growth.looks);
    CHECK(third.parts.capacity.state().intervals == 0);
    CHECK(third.parts.drift[0].state().looks == 0);
    std::uint8_t without[short_size];
    CHECK(voltkeel::write_snapshot(first.filter, first.parts.all(), without) ==
          Status::out_of_range);  // no room for the drift
    REQUIRE(voltkeel::write_snapshot(first.filter, {nullptr, nullptr, &first.parts.checks},
                                     without) == Status::ok);
    Watched<Real> fourth(cell.view());
    REQUIRE(voltkeel::start_from_snapshot(without, short_size, nothing, fourth.filter,
                                          fourth.parts.all()) == Status::ok);
    CHECK(fourth.parts.checks.state().slow_bits == voltkeel::sensor_current_drift);
    CHECK(fourth.parts.capacity.state().intervals == 0);
    CHECK(fourth.parts.resistance.state().looks == 0);
    CHECK(fourth.parts.drift[5].state().looks == 0);
    for (int k = 0; k < 6; ++k)
        CHECK(fourth.filter.soc(k) == second.filter.soc(k));
    // Neither is taken for the other.
    CHECK(voltkeel::start_from_snapshot(bytes, short_size, nothing, fourth.filter) ==
          Status::snapshot_damaged);
    CHECK(voltkeel::start_from_snapshot(without, short_size - 1, nothing, fourth.filter) ==
          Status::snapshot_damaged);
}

TEMPLATE_TEST_CASE("bytes of all parts are refused when cut, changed or of another kind",
                   "[snapshot]", VOLTKEEL_SCALARS) {
    using Real = TestType;
    Random random(73);
    CAPTURE(voltkeel_test::seed());
    const auto cell = voltkeel_test::linear_cell<Real, 2>();
    Watched<Real> first(cell.view(), 0.8, 0.05);
    Truth<Real> truth(cell.view(), random);
    drive_watched(first, truth, 1300);
    (void)first.parts.capacity.anchor(Real(0.5), Real(0.01));
    std::uint8_t bytes[size];
    REQUIRE(voltkeel::write_snapshot(first.filter, first.parts.all(), bytes) == Status::ok);
    Watched<Real> second(cell.view(), 0.33, 0.1);
    const auto start = [&](int count) {
        return voltkeel::start_from_snapshot(bytes, count, {Real(10), Real(20), true},
                                             second.filter, second.parts.all());
    };
    const auto nothing_changed = [&] {
        return second.filter.soc(0) == Real(0.33) && !second.parts.capacity.state().anchored &&
               second.parts.capacity.state().hours == Real(0) &&
               second.parts.resistance.state().looks == 0 &&
               second.parts.resistance.state().log_var == Real(0.2) * Real(0.2) &&
               second.parts.checks.state().window_count == Real(0) &&
               second.parts.drift[0].state().looks == 0 &&
               second.parts.drift[5].state().waiting_d == Real(0);
    };
    REQUIRE(nothing_changed());
    for (int cut = 0; cut < size; ++cut)
        CHECK(start(cut) == Status::snapshot_damaged);
    CHECK(start(size + 1) == Status::snapshot_damaged);
    for (int k = 0; k < size; ++k) {
        for (unsigned bit = 0; bit < 8; ++bit) {
            bytes[k] = static_cast<std::uint8_t>(bytes[k] ^ (1U << bit));
            const Status status = start(size);
            if (status != Status::snapshot_damaged && status != Status::snapshot_foreign) {
                CAPTURE(k, bit);
                FAIL("a changed byte was taken");
            }
            bytes[k] = static_cast<std::uint8_t>(bytes[k] ^ (1U << bit));
        }
    }
    CHECK(nothing_changed());
    // With a check that is right: other versions, kinds of part nobody knows, a drift without room.
    const auto with_byte = [&](int at, int value) {
        const std::uint8_t before = bytes[at];
        bytes[at] = static_cast<std::uint8_t>(value);
        seal(bytes, size);
        const Status status = start(size);
        bytes[at] = before;
        seal(bytes, size);
        return status;
    };
    for (int version = 0; version < 256; ++version) {
        if (version != voltkeel::snapshot_version)
            CHECK(with_byte(4, version) == Status::snapshot_foreign);
    }
    CHECK(voltkeel::snapshot_version == 2);
    for (const unsigned unknown : {0x10U, 0x20U, 0x40U})
        CHECK(with_byte(7, static_cast<int>(bytes[7] | unknown)) == Status::snapshot_foreign);
    CHECK(with_byte(7, bytes[7] & 0x7F) == Status::snapshot_damaged);  // another length
    CHECK(nothing_changed());
    std::uint8_t narrow[short_size];
    REQUIRE(voltkeel::write_snapshot(first.filter, {}, narrow) == Status::ok);
    narrow[7] = static_cast<std::uint8_t>(narrow[7] | 0x08);  // says that it has a drift
    seal(narrow, short_size);
    CHECK(voltkeel::start_from_snapshot(narrow, short_size, {Real(0), Real(20)}, second.filter,
                                        second.parts.all()) == Status::snapshot_foreign);
    // Any number of the parts that is none is refused by its part, and nothing changes at all.
    const int reference = 12 + 4 * 22;
    const int words_of_parts = 17 + 4 + 32 + 3;
    for (int word = 0; word < words_of_parts; ++word) {
        // Counts and bits are no numbers.
        if (word == 16 || word == 20 || word == 51 || word == 52) continue;
        for (const float wrong : {std::numeric_limits<float>::quiet_NaN(),
                                  std::numeric_limits<float>::infinity(), -3e38F}) {
            std::uint8_t before[4];
            std::uint8_t* const at = bytes + reference + 4 * word;
            std::memcpy(before, at, 4);
            put_number(at, wrong);
            seal(bytes, size);
            CAPTURE(word, wrong);
            const Status status = start(size);
            const bool refused = status == Status::not_finite || status == Status::out_of_range;
            // Sums of any size and sign are no wrong ones.
            if (wrong != -3e38F) CHECK(refused);
            if (refused) CHECK(nothing_changed());
            std::memcpy(at, before, 4);
            if (!refused) {
                REQUIRE(wrong == -3e38F);
                second = Watched<Real>(cell.view(), 0.33, 0.1);
            }
        }
    }
    for (int word = 0; word < 12 * 6; ++word) {
        if (word % 12 == 11) continue;  // a count
        std::uint8_t before[4];
        std::uint8_t* const at = bytes + reference + 4 * (words_of_parts + 6 * 8 + word);
        std::memcpy(before, at, 4);
        put_number(at, std::numeric_limits<float>::quiet_NaN());
        seal(bytes, size);
        CAPTURE(word);
        CHECK(start(size) == Status::not_finite);
        CHECK(nothing_changed());
        std::memcpy(at, before, 4);
    }
    seal(bytes, size);
    CHECK(start(size) == Status::ok);
}

TEMPLATE_TEST_CASE("a run that was interrupted answers as one that was not", "[snapshot]",
                   VOLTKEEL_SCALARS) {
    using Real = TestType;
    Random random(79);
    CAPTURE(voltkeel_test::seed());
    double soc_apart = 0;
    double std_apart = 0;  // as a share
    double capacity_apart = 0;
    double growth_apart = 0;
    double drift_sigmas = 0;
    double slow_apart = 0;  // A
    int found = 0;
    int reversed = 0;
    const int trials = VOLTKEEL_CASES(12, 3);
    for (int trial = 0; trial < trials; ++trial) {
        voltkeel_test::LinearShape shape;
        shape.r0_ohm = random.uniform(0.02, 0.04);
        shape.half_gap_V = random.uniform(0, 0.01);
        shape.hysteresis_rate = 30;
        const auto cell = voltkeel_test::linear_cell<Real, 2>(shape);
        Watched<Real> whole(cell.view(), 0.8, 0.05);
        Truth<Real> truth(cell.view(), random);
        const double sign = trial % 3 == 0 ? -1 : 1;
        const double drift_A = trial % 2 == 0 ? 0.6 : 0.0;
        double time_s = 0;
        const auto drive = [&](auto step) {
            const double current_A = truth.drawn_A();
            time_s += 1;
            step(time_s, sign * (current_A + drift_A), truth.step(current_A));
        };
        const auto only_whole = [&](double at_s, double read_A, const Real* row_V) {
            (void)whole.step(at_s, read_A, row_V);
        };
        for (int tick = 0; tick < 100; ++tick)
            (void)whole.step(time_s += 1, sign * 0.05, truth.step(0), true);
        (void)whole.parts.capacity.anchor(Real(0.8), Real(0.01));
        const int before = random.whole(500, 4000);
        for (int tick = 0; tick < before; ++tick)
            drive(only_whole);
        std::uint8_t bytes[size];
        Watched<Real> woken(cell.view());
        // A controller that wakes up reads the same instant first: no time has passed.
        {
            const double read_A = sign * (truth.drawn_A() + drift_A);
            const Real* const row_V = truth.step(sign * read_A - drift_A);
            time_s += 1;
            (void)whole.step(time_s, read_A, row_V);
            REQUIRE(voltkeel::write_snapshot(whole.filter, whole.parts.all(), bytes) == Status::ok);
            REQUIRE(voltkeel::start_from_snapshot(bytes, size, {Real(0), Real(20)}, woken.filter,
                                                  woken.parts.all()) == Status::ok);
            (void)whole.step(time_s, read_A, row_V);
            (void)woken.step(time_s, read_A, row_V);
        }
        const int after = 8000 - before;
        std::uint32_t told = 0;
        for (int tick = 0; tick < after; ++tick) {
            drive([&](double at_s, double read_A, const Real* row_V) {
                const auto a = whole.step(at_s, read_A, row_V);
                const auto b = woken.step(at_s, read_A, row_V);
                const std::uint32_t lasting = voltkeel::sensor_current_sign |
                                              voltkeel::sensor_current_drift |
                                              voltkeel::sensor_current_gain;
                told |= b.fault_bits & lasting & ~voltkeel::sensor_current_sign;
                if (((a.fault_bits ^ b.fault_bits) & lasting) != 0 ||
                    voltkeel_test::apart(a.current_A, b.current_A) > 1e-5) {
                    CAPTURE(trial, tick, a.fault_bits, b.fault_bits, a.current_A, b.current_A);
                    FAIL("the current is taken otherwise");
                }
                for (int k = 0; k < 6; ++k) {
                    soc_apart = std::max(
                        soc_apart, voltkeel_test::apart(whole.filter.soc(k), woken.filter.soc(k)));
                    std_apart = std::max(
                        std_apart,
                        voltkeel_test::apart(whole.filter.soc_std(k), woken.filter.soc_std(k)) /
                            static_cast<double>(whole.filter.soc_std(k)));
                }
            });
        }
        // The interval of the capacity that began before ends after.
        CHECK(whole.parts.capacity.anchor(Real(0.4), Real(0.01)) == Status::ok);
        CHECK(woken.parts.capacity.anchor(Real(0.4), Real(0.01)) == Status::ok);
        capacity_apart =
            std::max(capacity_apart, voltkeel_test::apart(whole.parts.capacity.capacity_Ah(),
                                                          woken.parts.capacity.capacity_Ah()));
        CHECK(whole.parts.resistance.state().looks == woken.parts.resistance.state().looks);
        growth_apart = std::max(
            growth_apart,
            voltkeel_test::apart(whole.parts.resistance.growth(), woken.parts.resistance.growth()));
        for (int k = 0; k < 6; ++k) {
            const auto a = whole.parts.drift[k].drift();
            const auto b = woken.parts.drift[k].drift();
            CHECK(voltkeel_test::apart(a.looks, b.looks) <= 1);
            drift_sigmas =
                std::max(drift_sigmas, voltkeel_test::apart(a.soc_per_day, b.soc_per_day) /
                                           static_cast<double>(a.soc_per_day_std));
        }
        const auto& a = whole.parts.checks.state();
        const auto& b = woken.parts.checks.state();
        CHECK(a.slow_bits == b.slow_bits);
        CHECK(a.reversed == b.reversed);
        CHECK(a.window_count == b.window_count);
        slow_apart = std::max(slow_apart, voltkeel_test::apart(a.slow_offset_A, b.slow_offset_A));
        found += told != 0 ? 1 : 0;
        reversed += a.reversed ? 1 : 0;
    }
    std::printf(
        "interrupted against whole, %d runs: SOC %.1e, its std %.1e of it, capacity %.1e Ah, "
        "growth %.1e, drift %.1e std, slow offset %.1e A; %d with a slow fault, %d reversed\n",
        trials, soc_apart, std_apart, capacity_apart, growth_apart, drift_sigmas, slow_apart, found,
        reversed);
    CHECK(found > 0);
    CHECK(reversed > 0);
    // In float the bytes are the numbers themselves; a double loses what is beyond 24 bits of them.
    const bool exact = sizeof(Real) == 4;
    CHECK(soc_apart <= (exact ? 0 : 1e-7));
    CHECK(std_apart <= (exact ? 0 : 2e-6));
    CHECK(capacity_apart <= (exact ? 0 : 3e-6));  // of 3 Ah
    CHECK(growth_apart <= (exact ? 0 : 1e-7));
    CHECK(drift_sigmas <= (exact ? 0 : 0.02));
    CHECK(slow_apart <= (exact ? 0 : 1e-6));
}

TEMPLATE_TEST_CASE("what goes by time goes on while the controller is off", "[snapshot]",
                   VOLTKEEL_SCALARS) {
    using Real = TestType;
    Random random(83);
    CAPTURE(voltkeel_test::seed());
    const auto cell = voltkeel_test::linear_cell<Real, 2>();
    Watched<Real> first(cell.view(), 0.8, 0.05);
    Truth<Real> truth(cell.view(), random);
    (void)first.parts.capacity.anchor(Real(0.8), Real(0.01));
    drive_watched(first, truth, 1300);
    std::uint8_t bytes[size];
    REQUIRE(voltkeel::write_snapshot(first.filter, first.parts.all(), bytes) == Status::ok);
    const auto& before = first.parts;
    for (const double days : {0.0, 0.25, 3.0, 40.0, 11000.0}) {
        for (const bool no_current : {false, true}) {
            CAPTURE(days, no_current);
            Watched<Real> second(cell.view());
            REQUIRE(voltkeel::start_from_snapshot(
                        bytes, size, {static_cast<Real>(86400 * days), Real(5), no_current},
                        second.filter, second.parts.all()) == Status::ok);
            // The interval goes on only where nothing flowed, and its hours count.
            auto& capacity = second.parts.capacity;
            CHECK(capacity.state().anchored == (no_current || days == 0));
            CHECK(capacity.state().charge_Ah ==
                  Real(static_cast<float>(before.capacity.state().charge_Ah)));
            if (no_current) {
                CHECK(static_cast<double>(capacity.state().hours) ==
                      Approx(static_cast<double>(before.capacity.state().hours) + 24 * days)
                          .epsilon(1e-6));
            }
            // One that is longer than an interval may be (14 days) says nothing.
            capacity.count(Real(-1), Real(3600));
            const Status status = capacity.anchor(Real(0.3), Real(0.01));
            CHECK(status ==
                  (days == 0 || (no_current && days < 14) ? Status::ok : Status::not_reached));
            // Ageing is a random walk: variances add up.
            CHECK(static_cast<double>(second.parts.resistance.state().log_var) ==
                  Approx(static_cast<double>(before.resistance.state().log_var) +
                         0.003 * 0.003 * days)
                      .epsilon(1e-5));
            CHECK(second.parts.resistance.growth() ==
                  Approx(static_cast<double>(before.resistance.growth())));
            for (int k = 0; k < 6; ++k) {
                CHECK(static_cast<double>(second.parts.drift[k].state().waiting_d) ==
                      Approx(static_cast<double>(before.drift[k].state().waiting_d) + days)
                          .epsilon(1e-5));
            }
            CHECK(second.parts.checks.state().last_soc_known == (days == 0));
            CHECK(second.parts.checks.state().window_count == before.checks.state().window_count);
        }
    }
}

TEMPLATE_TEST_CASE("a night behind open contactors leaves the SOC as sure as it was", "[snapshot]",
                   VOLTKEEL_SCALARS) {
    using Real = TestType;
    Random random(89);
    CAPTURE(voltkeel_test::seed());
    const auto cell = voltkeel_test::linear_cell<Real, 2>();
    Watched<Real> first(cell.view(), 0.8, 0.01);
    Truth<Real> truth(cell.view(), random);
    drive_watched(first, truth, 1300);
    std::uint8_t bytes[size];
    REQUIRE(voltkeel::write_snapshot(first.filter, first.parts.all(), bytes) == Status::ok);
    const auto var = [](const Filter<Real>& filter) {
        return static_cast<double>(filter.reference().state().covariance(0, 0));
    };
    const double before = var(first.filter);
    const Real* rested_V = nullptr;
    for (int tick = 0; tick < 10800; ++tick)
        rested_V = truth.step(0.0);
    for (const double hours : {0.0, 0.1, 3.0, 10.0, 240.0, 1e5}) {
        CAPTURE(hours);
        Filter<Real> after[2];
        for (const bool no_current : {false, true}) {
            auto& filter = after[no_current ? 1 : 0];
            REQUIRE(filter.configure(cell.view(), 6) == Status::ok);
            REQUIRE(voltkeel::start_from_snapshot(
                        bytes, size, {static_cast<Real>(3600 * hours), Real(20), no_current},
                        filter) == Status::ok);
        }
        // 1 point in the root of an hour by counting, a twentieth of that at rest.
        CHECK(var(after[0]) == Approx(std::min(0.25, before + 1e-4 * hours)).epsilon(1e-3));
        CHECK(var(after[1]) == Approx(std::min(0.25, before + 2.5e-7 * hours)).epsilon(1e-3));
        // That is all that is different, and what is published is what is stored.
        const auto& counted = after[0].reference();
        const auto& rested = after[1].reference();
        CHECK(rested.estimate().soc == counted.estimate().soc);
        CHECK(static_cast<double>(rested.estimate().soc_std) ==
              Approx(std::sqrt(var(after[1]) + 0.007 * 0.007)).epsilon(1e-4));
        for (int k = 0; k < 6; ++k)
            CHECK(after[1].soc(k) - rested.estimate().soc ==
                  after[0].soc(k) - counted.estimate().soc);
        for (int i = 0; i < rested.state().size; ++i) {
            for (int k = 0; k < i; ++k) {
                const auto entry = static_cast<double>(rested.state().covariance(i, k));
                CHECK(entry * entry <=
                      static_cast<double>(rested.state().covariance(i, i)) *
                              static_cast<double>(rested.state().covariance(k, k)) +
                          1e-12);
            }
        }
        // The first voltage of the morning is taken as any other.
        voltkeel::PackSample<Real> morning;
        morning.dt_s = Real(1);
        morning.temperature_degC = Real(20);
        morning.voltage_V = rested_V;
        const auto& woken = after[1].step(morning);
        CHECK(woken.updated);
        if (hours > 0) CHECK(woken.used == 6);
        CHECK(woken.reference.fault_bits == 0);
        CHECK(var(after[1]) <= std::min(0.25, before + 2.5e-7 * hours) * 1.001);
    }
}

TEMPLATE_TEST_CASE("a current that had jumped is not believed after a restart", "[snapshot]",
                   VOLTKEEL_SCALARS) {
    using Real = TestType;
    Random random(89);
    CAPTURE(voltkeel_test::seed());
    const auto cell = voltkeel_test::linear_cell<Real, 2>();
    Watched<Real> first(cell.view(), 0.8, 0.02);
    Truth<Real> truth(cell.view(), random);
    double time_s = 0;
    const auto stepped_A = [](int tick) { return tick % 20 < 10 ? -1.0 : -3.0; };
    for (int tick = 0; tick < 600; ++tick)
        (void)first.step(time_s += 1, stepped_A(tick), truth.step(stepped_A(tick)));
    // In the middle of a steady piece.
    const double jump_A = 2.5;
    for (int tick = 600; tick < 605; ++tick)
        (void)first.step(time_s += 1, stepped_A(tick), truth.step(stepped_A(tick)));
    for (int tick = 605; tick < 680; ++tick)
        (void)first.step(time_s += 1, stepped_A(tick) + jump_A, truth.step(stepped_A(tick)));
    REQUIRE(first.parts.checks.state().latched == voltkeel::sensor_current_jump);
    std::uint8_t bytes[size];
    REQUIRE(voltkeel::write_snapshot(first.filter, first.parts.all(), bytes) == Status::ok);
    for (const double off_s : {0.5, 30000.0}) {
        CAPTURE(off_s);
        Watched<Real> second(cell.view());
        REQUIRE(voltkeel::start_from_snapshot(bytes, size, {static_cast<Real>(off_s), Real(20)},
                                              second.filter, second.parts.all()) == Status::ok);
        // For a quarter of an hour, or two hours where its steps are right: then it is a sensor
        // as any.
        const bool remembered = off_s < 1;
        CHECK((second.parts.checks.state().latched != 0) == remembered);
        Truth<Real> after = truth;
        double worst_A = 0;
        for (int tick = 0; tick < 20; ++tick) {
            const double current_A = stepped_A(tick);
            const auto checked =
                second.step(time_s + tick, current_A + jump_A, after.step(current_A));
            worst_A = std::max(worst_A, voltkeel_test::apart(checked.current_A, current_A));
        }
        CHECK((worst_A < 1) == remembered);
    }
}

TEMPLATE_TEST_CASE("parts refuse states that cannot be", "[snapshot]", VOLTKEEL_SCALARS) {
    using Real = TestType;
    const Real nan = std::numeric_limits<Real>::quiet_NaN();
    Parts<Real> parts;
    const auto growth = [&](auto change) {
        auto state = parts.resistance.state();
        change(state);
        return parts.resistance.restore(state);
    };
    CHECK(growth([](auto&) {}) == Status::ok);
    CHECK(growth([&](auto& s) { s.log_growth = nan; }) == Status::not_finite);
    CHECK(growth([&](auto& s) { s.log_var = nan; }) == Status::not_finite);
    CHECK(growth([](auto& s) { s.log_growth = Real(4); }) == Status::out_of_range);
    CHECK(growth([](auto& s) { s.log_var = Real(-1e-6); }) == Status::out_of_range);
    CHECK(growth([](auto& s) { s.since_s = Real(-1); }) == Status::out_of_range);
    CHECK(growth([](auto& s) { s.looks = -1; }) == Status::out_of_range);
    CHECK(parts.resistance.state().log_growth == Real(0));
    const auto drift = [&](auto change) {
        auto state = parts.drift[0].state();
        state.information[0] = Real(4);
        state.information[2] = Real(9);
        state.information[1] = Real(-6);  // as related as can be
        change(state);
        return parts.drift[0].restore(state);
    };
    CHECK(drift([](auto&) {}) == Status::ok);
    CHECK(drift([](auto& s) { s.information[1] = Real(6.1); }) == Status::out_of_range);
    CHECK(drift([](auto& s) { s.information[3] = Real(0.1); }) == Status::out_of_range);
    CHECK(drift([](auto& s) { s.information[5] = Real(-1); }) == Status::out_of_range);
    CHECK(drift([&](auto& s) { s.information[4] = nan; }) == Status::not_finite);
    CHECK(drift([&](auto& s) { s.right[2] = nan; }) == Status::not_finite);
    CHECK(drift([](auto& s) { s.since_d = Real(-0.1); }) == Status::out_of_range);
    CHECK(drift([&](auto& s) { s.waiting_d = nan; }) == Status::not_finite);
    CHECK(drift([](auto& s) { s.looks = -1; }) == Status::out_of_range);
    CHECK(parts.drift[0].state().information[1] == Real(-6));
    const auto checks = [&](auto change) {
        auto state = parts.checks.state();
        change(state);
        return parts.checks.restore(state);
    };
    CHECK(checks([](auto&) {}) == Status::ok);
    CHECK(checks([&](auto& s) { s.last_soc = nan; }) == Status::ok);  // not known, not looked at
    CHECK(checks([&](auto& s) {
              s.last_soc = nan;
              s.last_soc_known = true;
          }) == Status::not_finite);
    // 20 times the capacity of 3 Ah is the most that this sensor can have.
    CHECK(checks([](auto& s) { s.offset_A = Real(61); }) == Status::out_of_range);
    CHECK(checks([&](auto& s) { s.offset_A = nan; }) == Status::not_finite);
    CHECK(checks([](auto& s) { s.largest_beyond_V = Real(-1); }) == Status::out_of_range);
    CHECK(checks([&](auto& s) { s.normal[3] = nan; }) == Status::not_finite);
    CHECK(checks([](auto& s) { s.normal[0] = Real(-1); }) == Status::out_of_range);
    CHECK(checks([](auto& s) { s.normal[1] = Real(0.1); }) == Status::out_of_range);
    CHECK(checks([](auto& s) { s.window_squares = Real(-1); }) == Status::out_of_range);
    CHECK(checks([](auto& s) { s.good_steps = -1; }) == Status::out_of_range);
    CHECK(checks([](auto& s) { s.latched = voltkeel::sensor_voltage_range; }) ==
          Status::out_of_range);
    CHECK(checks([](auto& s) { s.slow_bits = voltkeel::sensor_current_jump; }) ==
          Status::out_of_range);
    CHECK_FALSE(parts.checks.state().last_soc_known);
    auto age = parts.capacity.state();
    age.anchor_soc = Real(1.2);
    CHECK(parts.capacity.restore(age) == Status::out_of_range);
    age = parts.capacity.state();
    age.mean_age = nan;
    CHECK(parts.capacity.restore(age) == Status::not_finite);
    age = parts.capacity.state();
    age.hours = Real(-1);
    CHECK(parts.capacity.restore(age) == Status::out_of_range);
    // A time that is none ends an interval, and changes nothing else.
    CHECK(parts.capacity.anchor(Real(0.5), Real(0.01)) == Status::not_reached);
    parts.capacity.time_off(nan, true);
    CHECK_FALSE(parts.capacity.state().anchored);
    const Real log_var = parts.resistance.state().log_var;
    parts.resistance.time_off(nan);
    parts.resistance.time_off(Real(-5));
    CHECK(parts.resistance.state().log_var == log_var);
    parts.checks.time_off(nan);
    CHECK(parts.checks.state().current_latched_s == Real(0));
}
