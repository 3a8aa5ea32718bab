#pragma once

/// \file
/// Logs made row by row from a cell of one resistance, for tests that put a fault into them.

#include <cmath>
#include <cstddef>
#include <random>

#include "voltkeel/io/csv.hpp"

namespace voltkeel_test {

/// An invented 3 Ah cell that a test bench works on.
class MadeLog {
  public:
    static constexpr double capacity_Ah = 3;
    static constexpr double resistance_ohm = 0.03;

    explicit MadeLog(double soc, unsigned long seed = 1) : soc_(soc), random_(seed) {
        log.source = "made.csv";
        add_row(0, 0, 0);
    }

    /// What the sensor reads less than what flows; a reading of 0 stays 0.
    double reads_less_A = 0;

    /// Constant current in rows of one length.
    MadeLog& run(double current_A, double duration_s, double row_s) {
        for (double t = 0; t < duration_s - 1e-9; t += row_s)
            add_row(current_A, row_s, current_A);
        return *this;
    }

    /// Charge at one voltage until the current has fallen.
    MadeLog& hold(double voltage_V, double end_current_A, double row_s) {
        for (double current_A = 1e9; current_A > end_current_A;) {
            // The current that leads to this voltage at the end of the row.
            const double slope = slope_V / capacity_Ah * row_s / 3600;
            current_A = (voltage_V - rested_V()) / (resistance_ohm + slope);
            add_row(current_A, row_s, current_A);
        }
        return *this;
    }

    [[nodiscard]] double soc() const { return soc_; }

    /// Without the noise of the sensor.
    [[nodiscard]] double voltage_at(double current_A) const {
        return rested_V() + resistance_ohm * current_A;
    }

    voltkeel::Log log;

  private:
    static constexpr double slope_V = 1.1;

    [[nodiscard]] double rested_V() const { return 3.05 + slope_V * soc_; }

    void add_row(double current_A, double row_s, double heat_A) {
        soc_ += current_A * row_s / 3600 / capacity_Ah;
        const double kept = std::exp(-row_s / 900);
        warmth_K_ = kept * warmth_K_ + (1 - kept) * 0.6 * heat_A * heat_A;
        std::normal_distribution<double> noise(0, 1);
        log.time_s.push_back(log.time_s.empty() ? 0 : log.time_s.back() + row_s);
        log.current_A.push_back(current_A == 0 ? 0 : current_A - reads_less_A);
        log.voltage_V.push_back(rested_V() + resistance_ohm * current_A + 2e-4 * noise(random_));
        log.temperature_degC.push_back(25 + warmth_K_ + 0.02 * noise(random_));
    }

    double soc_;
    double warmth_K_ = 0;
    std::mt19937_64 random_;
};

/// A pulse test and slow work after it, without a fault: 1 s rows in the pulses, 10 s elsewhere.
inline voltkeel::Log made_test() {
    MadeLog made(0.9);
    for (int level = 0; level != 4; ++level) {
        made.run(0, 60, 1).run(-3, 10, 1).run(0, 60, 1).run(2, 10, 1).run(0, 60, 1);
        made.run(-1, 1080, 10).run(0, 1200, 10);
    }
    made.run(1.5, 1800, 10).run(0, 600, 10);
    return made.log;
}

}  // namespace voltkeel_test
