#pragma once
/// \file
/// Means over a step in which the speed follows a straight line.

#include <algorithm>
#include <boost/math/quadrature/gauss.hpp>
#include <boost/math/tools/toms748_solve.hpp>
#include <cstddef>
#include <cstdint>
#include <vector>

namespace voltkeel::detail {

/// Mean of f(speed) over a step from `from` to `to`.
/// \param breaks the speeds at which f bends, in any order; those outside the step do not matter.
///   Between them f must be a polynomial of degree 13 or less: seven Gauss points take its integral
///   exactly, but for rounding.
template <class Function>
double step_mean(const Function& f, double from, double to, std::vector<double> breaks) {
    if (from == to) return f(from);
    const double low = std::min(from, to);
    const double high = std::max(from, to);
    std::sort(breaks.begin(), breaks.end());
    breaks.push_back(high);
    double sum = 0;
    double start = low;
    for (const double end : breaks) {
        if (!(end > start && end <= high)) continue;
        sum += boost::math::quadrature::gauss<double, 7>::integrate(f, start, end);
        start = end;
    }
    return sum / (high - low);
}

/// Places between `low` and `high` at which the sum of coefficients[k] x^k changes its sign, in
/// order: between two turns of a polynomial there is one at most, and its turns are where its
/// derivative changes sign.
inline std::vector<double> sign_changes(const std::vector<double>& coefficients, double low,
                                        double high) {
    if (coefficients.size() < 2) return {};
    const auto value = [&](double x) {
        double sum = 0;
        for (std::size_t k = coefficients.size(); k-- > 0;)
            sum = sum * x + coefficients[k];
        return sum;
    };
    std::vector<double> derivative;
    for (std::size_t k = 1; k < coefficients.size(); ++k) {
        derivative.push_back(static_cast<double>(k) * coefficients[k]);
    }
    std::vector<double> turns = sign_changes(derivative, low, high);
    turns.push_back(high);
    std::vector<double> found;
    double start = low;
    for (const double end : turns) {
        const double first = value(start);
        const double last = value(end);
        if ((first < 0 && last > 0) || (first > 0 && last < 0)) {
            std::uintmax_t most = 100;
            const auto bracket = boost::math::tools::toms748_solve(
                value, start, end, first, last, boost::math::tools::eps_tolerance<double>(50),
                most);
            found.push_back(0.5 * (bracket.first + bracket.second));
        } else if (last == 0 && end < high) {
            found.push_back(end);
        }
        start = end;
    }
    return found;
}

}  // namespace voltkeel::detail
