#include "voltkeel/fit/slow_test.hpp"

#include <algorithm>
#include <cmath>

#include "fit/statistics.hpp"
#include "io/number_text.hpp"
#include "voltkeel/error.hpp"
#include "voltkeel/units.hpp"

namespace voltkeel {

namespace {

/// Sections of one current direction; the current of a row belongs to the interval that ends there.
std::vector<LogSection> sections_of(const Log& log) {
    double largest_A = 0;
    for (const double current : log.current_A)
        largest_A = std::max(largest_A, std::abs(current));
    const double idle_A = 0.02 * largest_A;
    const auto direction = [&](std::size_t k) {
        return log.current_A[k] > idle_A ? 1 : (log.current_A[k] < -idle_A ? -1 : 0);
    };
    std::vector<LogSection> sections;
    for (std::size_t k = 0; k < log.size(); ++k) {
        if (sections.empty() || direction(k) != direction(k - 1)) sections.push_back({k, k, 0, 0});
        LogSection& section = sections.back();
        section.last = k;
        if (k > 0)
            section.charge_Ah +=
                log.current_A[k] * (log.time_s[k] - log.time_s[k - 1]) / seconds_per_hour<double>;
    }
    // A rest whose readings sum to a trace of charge is neither a discharge nor a charge.
    sections.erase(std::remove_if(sections.begin(), sections.end(),
                                  [&](const LogSection& s) { return direction(s.first) == 0; }),
                   sections.end());
    for (LogSection& section : sections) {
        const double begin_s = log.time_s[section.first > 0 ? section.first - 1 : 0];
        const double hours = (log.time_s[section.last] - begin_s) / seconds_per_hour<double>;
        if (hours > 0) section.mean_current_A = section.charge_Ah / hours;
    }
    return sections;
}

/// The first row whose voltage counts: the one before the current starts is a rest, its voltage is
/// the OCV itself.
std::size_t first_point(const LogSection& section) {
    return section.first > 0 ? section.first - 1 : 0;
}

bool within_points(const LogSection& section, std::size_t row) {
    return row >= first_point(section) && row <= section.last;
}

struct CurvePoint {
    double soc;
    double voltage_V;
    double overvoltage_V;
};

/// Local straight-line fit (triangular kernel) at `soc`; also gives the scatter around the line.
bool local_line(const std::vector<CurvePoint>& points, double soc, double half_width,
                double& voltage_V, double& scatter_V) {
    const auto from = std::lower_bound(points.begin(), points.end(), soc - half_width,
                                       [](const CurvePoint& p, double s) { return p.soc < s; });
    double w0 = 0, w1 = 0, w2 = 0, v0 = 0, v1 = 0, vv = 0;
    int count = 0;
    for (auto p = from; p != points.end() && p->soc <= soc + half_width; ++p) {
        const double x = (p->soc - soc) / half_width;
        const double w = 1 - std::abs(x) + 1e-3;
        w0 += w;
        w1 += w * x;
        w2 += w * x * x;
        v0 += w * p->voltage_V;
        v1 += w * x * p->voltage_V;
        vv += w * p->voltage_V * p->voltage_V;
        ++count;
    }
    if (count < 2) return false;
    const double determinant = w0 * w2 - w1 * w1;
    if (count < 3 || determinant < 1e-9 * w0 * w0) {
        voltage_V = v0 / w0;
    } else {
        voltage_V = (w2 * v0 - w1 * v1) / determinant;
    }
    const double slope = determinant > 1e-9 * w0 * w0 ? (w0 * v1 - w1 * v0) / determinant : 0;
    scatter_V = std::sqrt(std::max(0.0, (vv - voltage_V * v0 - slope * v1) / w0));
    return true;
}

/// Curve on evenly spaced nodes from points in order of SOC; nodes without points are left at NaN.
void resample(const std::vector<CurvePoint>& points, const SlowTestSettings& settings,
              std::vector<double>& voltage_V, std::vector<double>& std_V) {
    const int count = settings.node_count;
    voltage_V.assign(static_cast<std::size_t>(count), std::nan(""));
    std_V.assign(static_cast<std::size_t>(count), std::nan(""));
    for (int k = 0; k < count; ++k) {
        const double soc = static_cast<double>(k) / (count - 1);
        if (soc < points.front().soc - 1e-9 || soc > points.back().soc + 1e-9) continue;
        double value_V = 0;
        double scatter_V = 0;
        for (double width = settings.kernel_soc; width < 0.2; width *= 2) {
            if (!local_line(points, soc, width, value_V, scatter_V)) continue;
            const auto near =
                std::lower_bound(points.begin(), points.end(), soc,
                                 [](const CurvePoint& p, double s) { return p.soc < s; });
            const double overvoltage_V =
                near == points.end() ? points.back().overvoltage_V : near->overvoltage_V;
            voltage_V[static_cast<std::size_t>(k)] = value_V;
            std_V[static_cast<std::size_t>(k)] = std::hypot(
                scatter_V,
                std::max(0.001, settings.overvoltage_share_std * std::abs(overvoltage_V)));
            break;
        }
    }
}

/// Smallest change that makes a curve rise: pools neighbours that fall, then tilts level stretches
/// by 1 uV a node.
void make_increasing(std::vector<double>& values) {
    struct Pool {
        double sum;
        double count;
    };
    std::vector<Pool> pools;
    for (const double value : values) {
        pools.push_back({value, 1});
        while (pools.size() > 1 && pools[pools.size() - 2].sum / pools[pools.size() - 2].count >=
                                       pools.back().sum / pools.back().count) {
            const Pool last = pools.back();
            pools.pop_back();
            pools.back().sum += last.sum;
            pools.back().count += last.count;
        }
    }
    std::size_t k = 0;
    for (const Pool& pool : pools) {
        const double mean = pool.sum / pool.count;
        for (int n = 0; n < static_cast<int>(pool.count); ++n, ++k) {
            values[k] = mean + 1e-6 * (n - 0.5 * (pool.count - 1));
        }
    }
    for (k = 1; k < values.size(); ++k)
        values[k] = std::max(values[k], values[k - 1] + 1e-7);
}

}  // namespace

SlowTest read_slow_test(const Log& log, const SlowTestSettings& settings) {
    check_log(log);
    if (log.size() < 20)
        throw Error(log.source + ": a slow test needs at least 20 rows, this log has " +
                    std::to_string(log.size()));
    SlowTest test;
    for (const LogSection& section : sections_of(log)) {
        if (section.charge_Ah < test.discharge.charge_Ah) test.discharge = section;
        if (section.charge_Ah > test.charge.charge_Ah) test.charge = section;
    }
    const LogSection& discharge = test.discharge;
    if (!(discharge.charge_Ah < 0)) {
        throw Error(log.source +
                    ": no discharge found: current_A is never negative. Current must be positive "
                    "when charging; "
                    "if this file has the other sign, say so with the sign option");
    }
    const double begin_V = log.voltage_V[discharge.first > 0 ? discharge.first - 1 : 0];
    if (!(log.voltage_V[discharge.last] < begin_V)) {
        throw Error(log.source + ": the voltage rises from " + number_text(begin_V) + " to " +
                    number_text(log.voltage_V[discharge.last]) +
                    " V while current_A is negative. Current must be positive when charging; "
                    "if this file has the other sign, say so with the sign option");
    }
    test.capacity_Ah = -discharge.charge_Ah;
    const double rate_per_h = -discharge.mean_current_A / test.capacity_Ah;
    if (rate_per_h > settings.fastest_rate_per_h) {
        throw Error(log.source + ": the discharge runs at " + number_text(rate_per_h) +
                    " of the capacity per hour; an open-circuit voltage needs " +
                    number_text(settings.fastest_rate_per_h) + " or slower (C/20 is usual)");
    }
    const double hours =
        (log.time_s[discharge.last] - log.time_s[discharge.first]) / seconds_per_hour<double>;
    test.capacity_Ah_std =
        std::hypot(settings.gain_std * test.capacity_Ah, settings.offset_std_A * hours);
    std::vector<double> temperatures(
        log.temperature_degC.begin() + static_cast<std::ptrdiff_t>(discharge.first),
        log.temperature_degC.begin() + static_cast<std::ptrdiff_t>(discharge.last) + 1);
    test.temperature_degC = quantile(std::move(temperatures), 0.5);

    const bool has_charge = test.charge.charge_Ah > 0.5 * test.capacity_Ah;
    if (!has_charge) test.charge = {};
    test.charged_Ah = test.charge.charge_Ah;
    test.voltage_min_V = log.voltage_V[discharge.last];
    test.voltage_max_V =
        has_charge ? log.voltage_V[test.charge.last] : log.voltage_V[discharge.first];
    if (!has_charge) {
        test.notes.emplace_back(
            "The slow test has no full charge: charge and discharge branch of the OCV are taken as "
            "one.");
    } else {
        const double imbalance = (test.charged_Ah - test.capacity_Ah) / test.capacity_Ah;
        if (std::abs(imbalance) > 0.04) {
            const double total_hours = (test.capacity_Ah / -discharge.mean_current_A) +
                                       (test.charged_Ah / test.charge.mean_current_A);
            const double low_mA = (test.capacity_Ah - test.charged_Ah) / total_hours * 1000;
            test.notes.push_back(
                "The slow test puts out " + number_text(test.capacity_Ah) + " Ah and takes in " +
                number_text(test.charged_Ah) + " Ah (" + number_text(100 * imbalance, "%+.1f") +
                " %). A current sensor that reads " + number_text(std::abs(low_mA), "%.1f") +
                (low_mA > 0 ? " mA too low" : " mA too high") +
                " would explain it; if you know the offset, give it.");
        }
    }

    // SOC by counting from the start of the discharge.
    test.soc.assign(log.size(), 1.0);
    double counted_Ah = 0;
    std::vector<double> charge_Ah(log.size(), 0.0);
    for (std::size_t k = 1; k < log.size(); ++k) {
        counted_Ah +=
            log.current_A[k] * (log.time_s[k] - log.time_s[k - 1]) / seconds_per_hour<double>;
        charge_Ah[k] = counted_Ah;
    }
    const double at_full_Ah = charge_Ah[discharge.first > 0 ? discharge.first - 1 : 0];
    for (std::size_t k = 0; k < log.size(); ++k)
        test.soc[k] = 1.0 + (charge_Ah[k] - at_full_Ah) / test.capacity_Ah;
    for (std::size_t k = 0; k < log.size(); ++k) {
        const bool behind_ocv =
            within_points(test.discharge, k) ||
            (has_charge && within_points(test.charge, k) && test.soc[k] > -settings.kernel_soc &&
             test.soc[k] < 1 + settings.kernel_soc);
        if (behind_ocv) test.used_rows.push_back(k);
    }
    return test;
}

OcvCurve ocv_curve(const Log& log, const SlowTest& test, const std::vector<double>& overvoltage_V,
                   const SlowTestSettings& settings) {
    if (settings.node_count < 2 || settings.node_count > 100001) {
        throw Error("node_count: " + std::to_string(settings.node_count) +
                    " is outside 2 .. 100001");
    }
    if (!(settings.kernel_soc > 0 && settings.kernel_soc < 0.2)) {
        throw Error("kernel_soc: " + number_text(settings.kernel_soc) +
                    " must be above 0 and below 0.2");
    }
    const auto points_of = [&](const LogSection& section) {
        std::vector<CurvePoint> points;
        for (std::size_t k = first_point(section); k <= section.last; ++k) {
            const double over_V = overvoltage_V.empty() ? 0.0 : overvoltage_V[k];
            points.push_back({test.soc[k], log.voltage_V[k] - over_V, over_V});
        }
        std::stable_sort(points.begin(), points.end(),
                         [](const CurvePoint& a, const CurvePoint& b) { return a.soc < b.soc; });
        return points;
    };
    const auto count = static_cast<std::size_t>(settings.node_count);
    OcvCurve curve;
    curve.reference_temperature_degC = test.temperature_degC;
    curve.soc.resize(count);
    for (std::size_t k = 0; k < count; ++k)
        curve.soc[k] = static_cast<double>(k) / static_cast<double>(count - 1);
    resample(points_of(test.discharge), settings, curve.discharge_V, curve.voltage_std_V);
    if (std::isnan(curve.discharge_V.front()) || std::isnan(curve.discharge_V.back())) {
        throw Error(log.source + ": the slow discharge does not span SOC 0 to 1");
    }
    make_increasing(curve.discharge_V);

    // The gap between the branches, smoothed over 5 % of SOC: it is small, and where the curve is
    // steep a small error of SOC makes a large false gap, so steep places count less.
    std::vector<double> gap_V(count, 0.0);
    if (test.charge.charge_Ah > 0) {
        std::vector<double> charge_V, charge_std_V;
        resample(points_of(test.charge), settings, charge_V, charge_std_V);
        const int reach = static_cast<int>(0.05 * static_cast<double>(count));
        for (int k = 0; k < static_cast<int>(count); ++k) {
            double weight = 0;
            double sum_V = 0;
            for (int j = std::max(0, k - reach);
                 j <= std::min(static_cast<int>(count) - 1, k + reach); ++j) {
                const auto at = static_cast<std::size_t>(j);
                if (std::isnan(charge_V[at])) continue;
                const std::size_t before = at > 0 ? at - 1 : at;
                const std::size_t after = at + 1 < count ? at + 1 : at;
                const double slope_V = (curve.discharge_V[after] - curve.discharge_V[before]) /
                                       (curve.soc[after] - curve.soc[before]);
                const double w =
                    (1.0 - std::abs(j - k) / (reach + 1.0)) / (0.01 + slope_V * slope_V);
                weight += w;
                sum_V += w * std::max(0.0, charge_V[at] - curve.discharge_V[at]);
            }
            gap_V[static_cast<std::size_t>(k)] =
                weight > 0 ? sum_V / weight : gap_V[static_cast<std::size_t>(k > 0 ? k - 1 : 0)];
        }
    }
    curve.charge_V.resize(count);
    for (std::size_t k = 0; k < count; ++k)
        curve.charge_V[k] = curve.discharge_V[k] + gap_V[k];
    make_increasing(curve.charge_V);
    for (std::size_t k = 0; k < count; ++k)
        curve.charge_V[k] = std::max(curve.charge_V[k], curve.discharge_V[k]);
    return curve;
}

}  // namespace voltkeel
