// The split of a current between strings in parallel.

#include <Eigen/Dense>
#include <catch2/catch.hpp>
#include <limits>
#include <vector>

#include "support/example_cell.hpp"
#include "support/scalars.hpp"
#include "voltkeel/pack/string_split.hpp"

using voltkeel::split_current;
using voltkeel::Status;
using voltkeel::StringSource;

TEMPLATE_TEST_CASE("the split meets Kirchhoff's laws as a linear system has them", "[pack]",
                   VOLTKEEL_SCALARS) {
    using Real = TestType;
    voltkeel_test::Random random(9);
    CAPTURE(voltkeel_test::seed());
    for (int trial = 0; trial < 300; ++trial) {
        const int count = random.whole(1, 6);
        std::vector<StringSource<Real>> strings;
        std::vector<int> closed;
        for (int k = 0; k < count; ++k) {
            strings.push_back({static_cast<Real>(350 + random.uniform(-3, 3)),
                               static_cast<Real>(random.uniform(0.02, 0.3)),
                               k == 0 || random.whole(0, 3) > 0});
            if (strings.back().closed) closed.push_back(k);
        }
        const Real current_A = static_cast<Real>(random.uniform(-400, 400));
        std::vector<Real> share_A(strings.size(), Real(99));
        Real voltage_V = 0;
        REQUIRE(split_current(strings.data(), count, current_A, share_A.data(), voltage_V) ==
                Status::ok);
        // Unknown: the currents of the closed strings and the shared voltage.
        const Eigen::Index n = static_cast<Eigen::Index>(closed.size());
        Eigen::MatrixXd laws = Eigen::MatrixXd::Zero(n + 1, n + 1);
        Eigen::VectorXd right(n + 1);
        for (Eigen::Index i = 0; i < n; ++i) {
            const auto& string =
                strings[static_cast<std::size_t>(closed[static_cast<std::size_t>(i)])];
            laws(i, i) = static_cast<double>(string.resistance_ohm);
            laws(i, n) = -1;
            right(i) = -static_cast<double>(string.open_V);
            laws(n, i) = 1;
        }
        right(n) = static_cast<double>(current_A);
        const Eigen::VectorXd exact = laws.fullPivLu().solve(right);
        const double tolerance = sizeof(Real) == 4 ? 2e-2 : 1e-9;
        for (Eigen::Index i = 0; i < n; ++i) {
            CHECK(voltkeel_test::apart(
                      share_A[static_cast<std::size_t>(closed[static_cast<std::size_t>(i)])],
                      exact(i)) < tolerance);
        }
        CHECK(voltkeel_test::apart(voltage_V, exact(n)) < tolerance);
        for (std::size_t k = 0; k < strings.size(); ++k) {
            if (!strings[k].closed) CHECK(share_A[k] == Real(0));
        }
    }
}

TEMPLATE_TEST_CASE("a split that cannot be changes nothing", "[pack]", VOLTKEEL_SCALARS) {
    using Real = TestType;
    const Real nan = std::numeric_limits<Real>::quiet_NaN();
    StringSource<Real> strings[] = {{Real(50), Real(0.1), true}, {Real(51), Real(0.1), true}};
    Real share_A[] = {Real(7), Real(7)};
    Real voltage_V = Real(7);
    const auto split = [&](Real current_A) {
        return split_current(strings, 2, current_A, share_A, voltage_V);
    };
    CHECK(split(nan) == Status::sample_not_finite);
    strings[1].resistance_ohm = Real(0);
    CHECK(split(Real(1)) == Status::out_of_range);
    strings[1].resistance_ohm = nan;
    CHECK(split(Real(1)) == Status::sample_not_finite);
    strings[0].closed = strings[1].closed = false;
    CHECK(split(Real(1)) == Status::not_allowed);
    CHECK(share_A[0] == Real(7));
    CHECK(voltage_V == Real(7));
    CHECK(split(Real(0)) == Status::ok);
    CHECK(share_A[0] == Real(0));
    CHECK(split_current<Real>(nullptr, 2, Real(1), share_A, voltage_V) == Status::missing_table);
    CHECK(split_current<Real>(strings, 0, Real(1), share_A, voltage_V) == Status::out_of_range);
}
