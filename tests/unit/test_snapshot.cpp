// The stored state: back as it was, refused when a byte is wrong, and right after days off.

#include <boost/crc.hpp>
#include <catch2/catch.hpp>
#include <cmath>
#include <cstring>
#include <limits>
#include <vector>

#include "support/example_cell.hpp"
#include "support/scalars.hpp"
#include "voltkeel/estimate/snapshot.hpp"

using voltkeel::CapacityEstimator;
using voltkeel::crc32;
using voltkeel::Status;
using voltkeel_test::Random;

namespace {

template <class Real>
using Filter = voltkeel::PackFilter<Real, 2, false, 8>;
constexpr int size = voltkeel::snapshot_size<2, false, 8>;

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
    CHECK(voltkeel::write_snapshot<Real>(filter, nullptr, bytes) == Status::not_started);
    CapacityEstimator<Real> capacity;
    REQUIRE(capacity.configure(Real(3)) == Status::ok);
    (void)capacity.anchor(Real(0.8), Real(0.01));
    drive<Real>(filter, cell.view(), &capacity);
    (void)capacity.anchor(filter.soc(0), Real(0.01));
    REQUIRE(capacity.state().intervals == 1);
    REQUIRE(voltkeel::write_snapshot<Real>(filter, &capacity, bytes) == Status::ok);

    Filter<Real> second;
    CapacityEstimator<Real> second_capacity;
    REQUIRE(second.configure(cell.view(), 6) == Status::ok);
    REQUIRE(second_capacity.configure(Real(2)) == Status::ok);
    REQUIRE(voltkeel::start_from_snapshot<Real>(bytes, size, Real(0), Real(20), second,
                                                &second_capacity) == Status::ok);
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
    REQUIRE(voltkeel::write_snapshot<double>(filter, nullptr, bytes) == Status::ok);
    REQUIRE(voltkeel::start_from_snapshot<float>(bytes, size, 0.0F, 20.0F, narrow) == Status::ok);
    for (int k = 0; k < 6; ++k)
        CHECK(voltkeel_test::apart(narrow.soc(k), filter.soc(k)) < 1e-6);
    std::uint8_t again[size];
    REQUIRE(voltkeel::write_snapshot<float>(narrow, nullptr, again) == Status::ok);
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
    REQUIRE(voltkeel::write_snapshot<Real>(filter, nullptr, bytes) == Status::ok);
    Filter<Real> second;
    REQUIRE(second.configure(cell.view(), 6) == Status::ok);
    REQUIRE(second.start(Real(0.33), Real(0.1), Real(20)) == Status::ok);
    const auto start = [&](int count) {
        return voltkeel::start_from_snapshot<Real>(bytes, count, Real(0), Real(20), second);
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
    CHECK(voltkeel::start_from_snapshot<Real>(nullptr, size, Real(0), Real(20), second) ==
          Status::snapshot_damaged);
    CHECK(voltkeel::start_from_snapshot<Real>(bytes, size, Real(-1), Real(20), second) ==
          Status::time_step_invalid);
    CHECK(voltkeel::start_from_snapshot<Real>(bytes, size, std::numeric_limits<Real>::quiet_NaN(),
                                              Real(20), second) == Status::time_step_invalid);
    CHECK(voltkeel::start_from_snapshot<Real>(bytes, size, Real(1),
                                              std::numeric_limits<Real>::infinity(),
                                              second) == Status::sample_not_finite);
    // A state that cannot be, with a right check.
    const float wrong = 7;
    std::memcpy(bytes + 12, &wrong, 4);
    const std::uint32_t crc = crc32(bytes, size - 4);
    for (int k = 0; k < 4; ++k)
        bytes[size - 4 + k] = static_cast<std::uint8_t>(crc >> (8 * k));
    CHECK(start(size) == Status::out_of_range);
    Filter<Real> five;
    REQUIRE(five.configure(cell.view(), 5) == Status::ok);
    CHECK(voltkeel::start_from_snapshot<Real>(bytes, size, Real(0), Real(20), five) ==
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
    REQUIRE(voltkeel::write_snapshot<Real>(filter, nullptr, bytes) == Status::ok);
    for (const double days : {0.02, 1.0, 10.0, 400.0}) {
        Filter<Real> second;
        REQUIRE(second.configure(cell, 6) == Status::ok);
        REQUIRE(voltkeel::start_from_snapshot<Real>(bytes, size, static_cast<Real>(days * 86400),
                                                    Real(5), second) == Status::ok);
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
