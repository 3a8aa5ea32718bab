#pragma once

/// \file
/// How often the truth lies inside a 95 % interval, counted against the binomial law.

#include <boost/math/distributions/binomial.hpp>
#include <cmath>
#include <iomanip>
#include <map>
#include <sstream>
#include <string>

namespace voltkeel_test {

/// Counts of one quantity.
struct Tally {
    int cases{0};
    int inside{0};
    double squares{0};  ///< Of the distances in standard deviations.
    void add(double error, double std) {
        ++cases;
        inside += std::abs(error) < 1.96 * std ? 1 : 0;
        squares += error * error / (std * std);
    }
    [[nodiscard]] double share() const { return static_cast<double>(inside) / cases; }
};

/// Counts that 95 % of `cases` give in all but one of a thousand runs.
struct Band {
    int low{0};
    int high{0};
    explicit Band(int cases) {
        const boost::math::binomial law(cases, 0.95);
        low = static_cast<int>(boost::math::quantile(law, 0.0005));
        high = static_cast<int>(
            std::ceil(boost::math::quantile(boost::math::complement(law, 0.0005))));
    }
};

using Table = std::map<std::string, Tally>;

inline std::string text_of(const std::string& title, const Table& table) {
    std::ostringstream text;
    // Catch breaks lines of more than 76 characters.
    text << title << '\n'
         << std::left << std::setw(40) << "quantity" << std::right
         << " cases    in     %   95 % band  rms\n"
         << std::fixed;
    for (const auto& [name, tally] : table) {
        const Band band(tally.cases);
        text << std::left << std::setw(40) << name << std::right << std::setw(6) << tally.cases
             << std::setw(6) << tally.inside << std::setprecision(1) << std::setw(6)
             << 100.0 * tally.share() << std::setw(6) << band.low << '-' << std::left
             << std::setw(5) << band.high << std::right << std::setprecision(2) << std::setw(5)
             << std::sqrt(tally.squares / tally.cases) << '\n';
    }
    return text.str();
}

}  // namespace voltkeel_test
