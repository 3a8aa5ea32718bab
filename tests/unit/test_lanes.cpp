// Numbers worked on side by side, and the symmetric matrix made of them.

#include <Eigen/Dense>
#include <catch2/catch.hpp>
#include <cmath>
#include <limits>

#include "support/example_cell.hpp"
#include "support/scalars.hpp"
#include "voltkeel/cell/exponential.hpp"
#include "voltkeel/estimate/symmetric_matrix.hpp"

using voltkeel::SymmetricMatrix;
using voltkeel::detail::Lanes;
using voltkeel_test::Random;

namespace {

template <class Real, int Size>
Lanes<Real, Size> random_lanes(Random& random) {
    return Lanes<Real, Size>::made_of(
        [&](int /*lane*/) { return static_cast<Real>(random.uniform(-1, 1)); });
}

/// A matrix whose lanes beyond the diagonal hold what nobody may read.
template <class Real, int Size>
SymmetricMatrix<Real, Size> random_matrix(Random& random) {
    SymmetricMatrix<Real, Size> matrix;
    for (Real& entry : matrix.lower)
        entry = Real(1e6);
    for (int i = 0; i < Size; ++i) {
        for (int k = 0; k <= i; ++k)
            matrix(i, k) = static_cast<Real>(random.uniform(-1, 1));
    }
    return matrix;
}

template <class Real, int Size>
void check_product(Random& random) {
    const auto matrix = random_matrix<Real, Size>(random);
    const auto column = random_lanes<Real, Size>(random);
    Eigen::Matrix<double, Size, Size> dense;
    Eigen::Matrix<double, Size, 1> exact;
    for (int i = 0; i < Size; ++i) {
        exact(i) = static_cast<double>(column.get(i));
        for (int k = 0; k < Size; ++k)
            dense(i, k) = static_cast<double>(matrix(i, k));
    }
    exact = dense * exact;
    const auto product = matrix.times(column);
    CAPTURE(Size);
    for (int i = 0; i < Size; ++i)
        CHECK(std::abs(static_cast<double>(product.get(i)) - exact(i)) <
              16 * static_cast<double>(std::numeric_limits<Real>::epsilon()));
}

template <class Real, int Size>
void check_lanes(Random& random) {
    const auto lanes = random_lanes<Real, Size>(random);
    double sum = 0;
    for (int i = 0; i < Size; ++i)
        sum += static_cast<double>(lanes.get(i));
    CHECK(std::abs(static_cast<double>(lanes.sum()) - sum) <
          8 * static_cast<double>(std::numeric_limits<Real>::epsilon()));
    for (int at = 0; at < Size; ++at) {
        auto raised = lanes;
        raised.raise(at, Real(0.25));
        auto moved = lanes;
        moved.add(at, Real(2));
        for (int i = 0; i < Size; ++i) {
            const Real was = lanes.get(i);
            CHECK(raised.get(i) == (i == at && was < Real(0.25) ? Real(0.25) : was));
            CHECK(moved.get(i) == (i == at ? was + Real(2) : was));
        }
        raised.set(at, std::numeric_limits<Real>::quiet_NaN());
        raised.raise(at, Real(0.25));
        CHECK(raised.get(at) == Real(0.25));
    }
}

}  // namespace

TEMPLATE_TEST_CASE("a symmetric matrix times a column is what the whole matrix gives", "[lanes]",
                   VOLTKEEL_SCALARS) {
    Random random(1);
    for (int round = 0; round < 20; ++round) {
        check_product<TestType, 1>(random);
        check_product<TestType, 2>(random);
        check_product<TestType, 4>(random);
        check_product<TestType, 5>(random);
        check_product<TestType, 6>(random);
        check_product<TestType, 7>(random);
        check_product<TestType, 8>(random);
    }
}

TEMPLATE_TEST_CASE("lanes are added up, raised and added to one by one", "[lanes]",
                   VOLTKEEL_SCALARS) {
    Random random(2);
    for (int round = 0; round < 20; ++round) {
        check_lanes<TestType, 1>(random);
        check_lanes<TestType, 3>(random);
        check_lanes<TestType, 4>(random);
        check_lanes<TestType, 5>(random);
        check_lanes<TestType, 8>(random);
    }
}

TEMPLATE_TEST_CASE("the relaxed fraction of lanes is that of each number", "[lanes]",
                   VOLTKEEL_SCALARS) {
    Random random(3);
    const auto epsilon = static_cast<double>(std::numeric_limits<TestType>::epsilon());
    for (int round = 0; round < 20000; ++round) {
        // Every form: the short one, the long one, and one number after the other.
        const double most = std::pow(10.0, random.uniform(-9, 1.5));
        const auto x = Lanes<TestType, 5>::made_of(
            [&](int /*lane*/) { return static_cast<TestType>(random.uniform(0, most)); });
        const auto share = voltkeel::detail::relaxed_fraction(x);
        for (int i = 0; i < 5; ++i) {
            const double exact = -std::expm1(-static_cast<double>(x.get(i)));
            CAPTURE(i, x.get(i));
            REQUIRE(std::abs(static_cast<double>(share.get(i)) - exact) <= 4 * epsilon * exact);
            // The same bits one by one, so that they do not depend on the width of a packet.
            if (most > 0.4 && x.sum() > TestType(0.35))
                REQUIRE(share.get(i) == voltkeel::relaxed_fraction(x.get(i)));
        }
    }
    using limits = std::numeric_limits<TestType>;
    const TestType edges[] = {TestType(0.34657359027997264),
                              TestType(0.5 / 1.4426950408889634),
                              std::nextafter(TestType(0.34657359027997264), TestType(1)),
                              limits::min(),
                              limits::max(),
                              limits::infinity(),
                              TestType(17.999),
                              TestType(18),
                              TestType(39.999),
                              TestType(40),
                              TestType(-1),
                              limits::quiet_NaN()};
    for (const TestType edge : edges) {
        auto x = Lanes<TestType, 5>::all(TestType(1));
        x.set(3, edge);
        CAPTURE(edge);
        CHECK(voltkeel::detail::relaxed_fraction(x).get(3) == voltkeel::relaxed_fraction(edge));
        CHECK(voltkeel::detail::relaxed_fraction(x).get(4) ==
              voltkeel::relaxed_fraction(TestType(1)));
    }
    const auto none = voltkeel::detail::relaxed_fraction(Lanes<TestType, 5>::all(TestType(0)));
    CHECK(none.get(0) == TestType(0));
    CHECK(none.get(4) == TestType(0));
}
