#include "voltkeel/fit/rest_test.hpp"

#include <algorithm>
#include <cmath>
#include <filesystem>
#include <limits>

#include "fit/statistics.hpp"
#include "io/number_text.hpp"
#include "voltkeel/error.hpp"
#include "voltkeel/units.hpp"

namespace voltkeel {

namespace {

/// A relaxation with one time constant, fitted; the sum of squares is weighed.
struct Relaxation {
    double end_V{0};
    double size_V{0};  ///< What is missing at the start of the window, with the opposite sign.
    double squares{std::numeric_limits<double>::infinity()};
    double end_var{0};  ///< Of `end_V`, for rows with a variance of 1.
};

struct RestRows {
    std::vector<double> since_s;  ///< From the start of the window.
    std::vector<double> voltage_V;
    std::vector<double> weight;  ///< Sums up to the number of rows.
};

Relaxation relaxation(const RestRows& rows, double time_s) {
    double w = 0, e = 0, ee = 0, v = 0, ev = 0;
    for (std::size_t k = 0; k < rows.since_s.size(); ++k) {
        const double decay = std::exp(-rows.since_s[k] / time_s);
        const double weight = rows.weight[k];
        const double volt = rows.voltage_V[k] - rows.voltage_V.back();  // keeps the digits
        w += weight;
        e += weight * decay;
        ee += weight * decay * decay;
        v += weight * volt;
        ev += weight * decay * volt;
    }
    Relaxation fit;
    const double determinant = w * ee - e * e;
    if (!(determinant > 1e-12 * w * ee)) return fit;
    const double end = (ee * v - e * ev) / determinant;
    fit.size_V = (w * ev - e * v) / determinant;
    fit.end_V = end + rows.voltage_V.back();
    fit.end_var = ee / determinant;
    fit.squares = 0;
    for (std::size_t k = 0; k < rows.since_s.size(); ++k) {
        const double error_V = rows.voltage_V[k] - rows.voltage_V.back() - end -
                               fit.size_V * std::exp(-rows.since_s[k] / time_s);
        fit.squares += rows.weight[k] * error_V * error_V;
    }
    return fit;
}

/// Drift in the last third of the rows, by a straight line.
double end_drift(const RestRows& rows) {
    const double from_s = rows.since_s.back() * 2 / 3;
    double w = 0, t = 0, v = 0, tt = 0, tv = 0;
    for (std::size_t k = 0; k < rows.since_s.size(); ++k) {
        if (rows.since_s[k] < from_s) continue;
        const double since_s = rows.since_s[k] - from_s;
        const double volt = rows.voltage_V[k] - rows.voltage_V.back();
        w += rows.weight[k];
        t += rows.weight[k] * since_s;
        v += rows.weight[k] * volt;
        tt += rows.weight[k] * since_s * since_s;
        tv += rows.weight[k] * since_s * volt;
    }
    const double spread = w * tt - t * t;
    return spread > 1e-9 * w * tt ? (w * tv - t * v) / spread : 0;
}

/// Slopes of the shape-preserving cubic at its points.
std::vector<double> monotone_slopes(const std::vector<double>& x, const std::vector<double>& y) {
    const std::size_t count = x.size();
    std::vector<double> step(count - 1), rise(count - 1), slope(count);
    for (std::size_t k = 0; k + 1 < count; ++k) {
        step[k] = x[k + 1] - x[k];
        rise[k] = (y[k + 1] - y[k]) / step[k];
    }
    if (count == 2) return {rise[0], rise[0]};
    for (std::size_t k = 1; k + 1 < count; ++k) {
        if (rise[k - 1] * rise[k] <= 0) continue;
        const double before = 2 * step[k] + step[k - 1];
        const double after = step[k] + 2 * step[k - 1];
        slope[k] = (before + after) / (before / rise[k - 1] + after / rise[k]);
    }
    const auto end = [](double near, double far, double near_rise, double far_rise) {
        const double three = ((2 * near + far) * near_rise - near * far_rise) / (near + far);
        if (three * near_rise <= 0) return 0.0;
        if (near_rise * far_rise <= 0 && std::abs(three) > 3 * std::abs(near_rise))
            return 3 * near_rise;
        return three;
    };
    slope.front() = end(step[0], step[1], rise[0], rise[1]);
    slope.back() = end(step[count - 2], step[count - 3], rise[count - 2], rise[count - 3]);
    return slope;
}

double cubic_at(const std::vector<double>& x, const std::vector<double>& y,
                const std::vector<double>& slope, double at) {
    if (at <= x.front()) return y.front() + slope.front() * (at - x.front());
    if (at >= x.back()) return y.back() + slope.back() * (at - x.back());
    const auto k =
        static_cast<std::size_t>(std::upper_bound(x.begin(), x.end(), at) - x.begin()) - 1;
    const double step = x[k + 1] - x[k];
    const double t = (at - x[k]) / step;
    const double s = 1 - t;
    return y[k] * (1 + 2 * t) * s * s + slope[k] * step * t * s * s +
           y[k + 1] * t * t * (3 - 2 * t) - slope[k + 1] * step * t * t * s;
}

void require(const char* field, double value, bool holds, const char* bound) {
    if (!holds || !std::isfinite(value))
        throw Error(std::string(field) + ": " + number_text(value) + " must be " + bound);
}

void check(const RestTestSettings& settings) {
    if (settings.capacity_Ah)
        require("capacity_Ah", *settings.capacity_Ah, *settings.capacity_Ah > 0, "above 0");
    if (settings.floor_voltage_V) {
        require("floor_voltage_V", *settings.floor_voltage_V, *settings.floor_voltage_V > 0,
                "above 0");
    }
    if (settings.rest_current_A) {
        require("rest_current_A", *settings.rest_current_A, *settings.rest_current_A >= 0,
                "0 or more");
    }
    require("capacity_share_std", settings.capacity_share_std, settings.capacity_share_std > 0,
            "above 0");
    require("shortest_rest_s", settings.shortest_rest_s, settings.shortest_rest_s > 0, "above 0");
    require("merge_soc", settings.merge_soc, settings.merge_soc >= 0 && settings.merge_soc <= 0.2,
            "0 .. 0.2");
    require("voltage_std_V", settings.voltage_std_V, settings.voltage_std_V > 0, "above 0");
    require("missing_share_std", settings.missing_share_std, settings.missing_share_std > 0,
            "above 0");
    require("gain_std", settings.gain_std, settings.gain_std >= 0, "0 or more");
    require("offset_share_std", settings.offset_share_std, settings.offset_share_std >= 0,
            "0 or more");
    require("hysteresis_rate", settings.hysteresis_rate, settings.hysteresis_rate >= 0,
            "0 or more");
    if (settings.node_count < 2 || settings.node_count > 100001) {
        throw Error("node_count: " + std::to_string(settings.node_count) +
                    " is outside 2 .. 100001");
    }
}

/// Charge, rests and floor of one log, before the capacity is known.
struct RestLog {
    std::vector<double> charge_Ah;  ///< Since the first row.
    double active_s{0};             ///< With current, to the last row looked at.
    double largest_A{0};
    double rest_A{0};
};

RestLog counted(const Log& log, const RestTestSettings& settings) {
    RestLog one;
    for (const double current_A : log.current_A)
        one.largest_A = std::max(one.largest_A, std::abs(current_A));
    // As in steps.hpp: without a capacity, a share of the largest current of the log.
    one.rest_A = settings.rest_current_A.value_or(0.002 * one.largest_A);
    one.charge_Ah.assign(log.size(), 0.0);
    for (std::size_t k = 1; k < log.size(); ++k) {
        const double dt_s = log.time_s[k] - log.time_s[k - 1];
        one.charge_Ah[k] =
            one.charge_Ah[k - 1] + log.current_A[k] * dt_s / seconds_per_hour<double>;
        if (std::abs(log.current_A[k]) > one.rest_A) one.active_s += dt_s;
    }
    return one;
}

/// The discharge that ends at the floor: rows [first, last] of one steady current.
struct FloorDischarge {
    std::size_t log{0};
    std::size_t first{0};
    std::size_t last{0};
};

constexpr double floor_band_V = 0.015;
constexpr double full_share_std = 0.003;  // how well "full" is met, as in the pulse fit

/// Last discharge of a log, no faster than two hours for all of it, that ends lowest.
std::optional<FloorDischarge> lowest_discharge(const Log& log, const RestLog& one,
                                               std::size_t index) {
    std::optional<FloorDischarge> best;
    const double all_Ah = -*std::min_element(one.charge_Ah.begin(), one.charge_Ah.end());
    std::size_t k = 1;
    while (k < log.size()) {
        const double current_A = log.current_A[k];
        if (current_A >= -one.rest_A) {
            ++k;
            continue;
        }
        const std::size_t first = k;
        while (k + 1 < log.size() &&
               std::abs(log.current_A[k + 1] - current_A) < 0.05 * std::abs(current_A))
            ++k;
        const double lasted_s = log.time_s[k] - log.time_s[first - 1];
        const bool slow = -current_A < 0.55 * all_Ah;
        if (slow && lasted_s > 60 && k - first >= 3 &&
            (!best || log.voltage_V[k] < log.voltage_V[best->last]))
            best = FloorDischarge{index, first, k};
        ++k;
    }
    return best;
}

/// A steady discharge that ends in a rest.
struct Walk {
    std::size_t rest{0};  ///< Index of the rest.
    std::size_t first{0};
    std::size_t last{0};
    double off_V{0};  ///< The rest less what the last row says of the OCV.
};

/// Rows of the steady discharge that ends at row `last`; as many as one when there is none.
std::size_t steady_from(const Log& log, std::size_t last) {
    std::size_t first = last;
    while (first > 1 && std::abs(log.current_A[first - 1] - log.current_A[last]) <
                            0.05 * std::abs(log.current_A[last]))
        --first;
    return first;
}

/// Slope of the voltage over the charge in the last share of a discharge, in V/Ah.
double end_slope_V_per_Ah(const std::vector<double>& charge_Ah,
                          const std::vector<double>& voltage_V, double width_Ah) {
    const std::size_t last = charge_Ah.size() - 1;
    std::size_t from = last;
    while (from > 0 && (last - from < 3 || charge_Ah[from] - charge_Ah[last] < width_Ah))
        --from;
    double count = 0, q = 0, v = 0, qq = 0, qv = 0;
    for (std::size_t k = from; k <= last; ++k) {
        const double x = charge_Ah[k] - charge_Ah[last];
        const double y = voltage_V[k] - voltage_V[last];
        count += 1;
        q += x;
        v += y;
        qq += x * x;
        qv += x * y;
    }
    const double spread = count * qq - q * q;
    return spread > 0 ? (count * qv - q * v) / spread : 0;
}

/// Points of a curve in order of SOC, each with its spread.
struct CurvePoints {
    std::vector<double> soc;
    std::vector<double> voltage_V;
    std::vector<double> std_V;

    void add(double at, double volt, double std) {
        soc.push_back(at);
        voltage_V.push_back(volt);
        std_V.push_back(std);
    }
    [[nodiscard]] std::size_t size() const { return soc.size(); }
};

/// Joins neighbours that are closer than `merge_soc`, then those that fall, until the rest rises.
CurvePoints rising(CurvePoints points, double merge_soc) {
    std::vector<std::size_t> order(points.size());
    for (std::size_t k = 0; k < order.size(); ++k)
        order[k] = k;
    std::stable_sort(order.begin(), order.end(),
                     [&](std::size_t a, std::size_t b) { return points.soc[a] < points.soc[b]; });
    CurvePoints joined;
    double information = 0;
    double begin_soc = 0;
    const auto join_into_last = [&](double soc, double voltage_V, double std_V) {
        const double more = 1 / (std_V * std_V);
        const double all = information + more;
        joined.soc.back() += more / all * (soc - joined.soc.back());
        joined.voltage_V.back() += more / all * (voltage_V - joined.voltage_V.back());
        // Rests next to each other err alike: joining them does not make them surer.
        joined.std_V.back() = std::min(joined.std_V.back(), std_V);
        information = all;
    };
    for (const std::size_t k : order) {
        if (joined.size() > 0 && points.soc[k] - begin_soc < merge_soc &&
            points.soc[k] < 1 - 1e-9) {
            join_into_last(points.soc[k], points.voltage_V[k], points.std_V[k]);
        } else {
            joined.add(points.soc[k], points.voltage_V[k], points.std_V[k]);
            information = 1 / (points.std_V[k] * points.std_V[k]);
            begin_soc = points.soc[k];
        }
    }
    points = std::move(joined);
    joined = {};
    std::vector<double> weights;
    for (std::size_t k = 0; k < points.size(); ++k) {
        joined.add(points.soc[k], points.voltage_V[k], points.std_V[k]);
        weights.push_back(1 / (points.std_V[k] * points.std_V[k]));
        while (joined.size() > 1 &&
               joined.voltage_V[joined.size() - 2] >= joined.voltage_V.back()) {
            const double soc = joined.soc.back();
            const double voltage_V = joined.voltage_V.back();
            const double std_V = joined.std_V.back();
            const double weight = weights.back();
            for (auto* column : {&joined.soc, &joined.voltage_V, &joined.std_V})
                column->pop_back();
            weights.pop_back();
            const double share = weight / (weight + weights.back());
            // They differ by more than they should: the spread says so.
            joined.std_V.back() = std::max(
                {joined.std_V.back(), std_V, 0.5 * std::abs(voltage_V - joined.voltage_V.back())});
            joined.soc.back() += share * (soc - joined.soc.back());
            joined.voltage_V.back() += share * (voltage_V - joined.voltage_V.back());
            weights.back() += weight;
        }
    }
    return joined;
}

/// How far a monotone cubic through the points errs between them, as a share of the voltage from
/// one point to the next: each inner point predicted from the others. At half the distance the
/// share halves, as the error goes with the square of the distance.
double share_between(const CurvePoints& points) {
    double squares = 0;
    double count = 0;
    for (std::size_t k = 1; k + 1 < points.size(); ++k) {
        std::vector<double> soc = points.soc;
        std::vector<double> voltage_V = points.voltage_V;
        const auto at = static_cast<std::ptrdiff_t>(k);
        soc.erase(soc.begin() + at);
        voltage_V.erase(voltage_V.begin() + at);
        const double error_V =
            cubic_at(soc, voltage_V, monotone_slopes(soc, voltage_V), points.soc[k]) -
            points.voltage_V[k];
        const double share = error_V / (points.voltage_V[k + 1] - points.voltage_V[k - 1]);
        squares += share * share;
        ++count;
    }
    constexpr double unknown_share = 0.1;  // two points: nothing to leave out
    return count > 0 ? 0.5 * std::sqrt(squares / count) : unknown_share;
}

/// See rested_voltage; the rows are known to be a rest.
RestedVoltage carried_on(const Log& log, std::size_t first_row, std::size_t last_row,
                         double voltage_std_V, double missing_share_std) {
    const double begin_s = log.time_s[first_row > 0 ? first_row - 1 : 0];
    const double duration_s = log.time_s[last_row] - begin_s;
    // What is over soon tells nothing of what is missing at the end.
    std::size_t from = first_row;
    while (last_row - from > 2 && log.time_s[from] - begin_s < 0.25 * duration_s)
        ++from;
    RestRows rows;
    double sum = 0;
    for (std::size_t k = from; k <= last_row; ++k) {
        rows.since_s.push_back(log.time_s[k] - log.time_s[from]);
        rows.voltage_V.push_back(log.voltage_V[k]);
        // A row stands for the time around it, so that dense rows do not count for more.
        const double before_s = k > from ? log.time_s[k] - log.time_s[k - 1] : 0;
        const double after_s = k < last_row ? log.time_s[k + 1] - log.time_s[k] : 0;
        rows.weight.push_back(0.5 * (before_s + after_s));
        sum += rows.weight.back();
    }
    const auto count = static_cast<double>(rows.weight.size());
    for (double& weight : rows.weight)
        weight *= count / sum;
    const double window_s = rows.since_s.back();

    RestedVoltage result;
    double last_V = 0;
    double last_weight = 0;
    for (std::size_t k = 0; k < rows.since_s.size(); ++k) {
        if (rows.since_s[k] < 0.9 * window_s) continue;
        last_V += rows.weight[k] * rows.voltage_V[k];
        last_weight += rows.weight[k];
    }
    result.last_voltage_V = last_weight > 0 ? last_V / last_weight : rows.voltage_V.back();
    const double drift_V_per_s = end_drift(rows);

    // Golden section on ln tau, after a coarse look: the sum of squares may have two valleys.
    constexpr int looks = 25;
    const double low = std::log(window_s / 20);
    const double high = std::log(window_s);
    const auto squares = [&](double log_s) { return relaxation(rows, std::exp(log_s)).squares; };
    int best = 0;
    double least = std::numeric_limits<double>::infinity();
    for (int k = 0; k < looks; ++k) {
        const double found = squares(low + (high - low) * k / (looks - 1));
        if (found < least) {
            least = found;
            best = k;
        }
    }
    double a = low + (high - low) * std::max(0, best - 1) / (looks - 1);
    double b = low + (high - low) * std::min(looks - 1, best + 1) / (looks - 1);
    constexpr double golden = 0.6180339887498949;
    double c = b - golden * (b - a);
    double d = a + golden * (b - a);
    double at_c = squares(c);
    double at_d = squares(d);
    while (b - a > 1e-8) {
        if (at_c < at_d) {
            b = d;
            d = c;
            at_d = at_c;
            c = b - golden * (b - a);
            at_c = squares(c);
        } else {
            a = c;
            c = d;
            at_c = at_d;
            d = a + golden * (b - a);
            at_d = squares(d);
        }
    }
    const double time_s = std::exp(0.5 * (a + b));
    const Relaxation fit = relaxation(rows, time_s);
    if (!std::isfinite(fit.squares)) {
        result.voltage_V = result.last_voltage_V;
        result.voltage_std_V = voltage_std_V;
        return result;
    }
    const double missing_V = fit.end_V - result.last_voltage_V;
    const double row_std_V =
        std::max(voltage_std_V, std::sqrt(fit.squares / std::max(1.0, count - 3)));
    // A drift that the noise could have made is not carried on for ever: as much as its own spread
    // leaves of it.
    const double noise_std_V = row_std_V * std::sqrt(fit.end_var);
    const double known =
        missing_V * missing_V / (missing_V * missing_V + noise_std_V * noise_std_V);
    result.voltage_V = result.last_voltage_V + known * missing_V;
    // A process slower than the rest shows as a drift at its end and could go on for as long again.
    const double slow_V = drift_V_per_s * duration_s - known * missing_V;
    result.voltage_std_V = std::hypot(std::hypot(voltage_std_V, std::sqrt(known) * noise_std_V),
                                      missing_share_std * missing_V, 0.7 * slow_V);
    result.time_s = time_s;
    return result;
}

/// Reads the rests, one thing after the other.
class RestReader {
  public:
    RestReader(const std::vector<const Log*>& logs, const RestTestSettings& settings,
               const std::vector<std::vector<double>>& overvoltage_V)
        : logs_(logs), settings_(settings), overvoltage_V_(overvoltage_V) {
        check(settings_);
        if (logs_.empty()) throw Error("an OCV from rests needs at least one pulse test");
        if (!overvoltage_V_.empty() && overvoltage_V_.size() != logs_.size()) {
            throw Error("overvoltage_V: " + std::to_string(overvoltage_V_.size()) +
                        " logs, expected " + std::to_string(logs_.size()));
        }
        for (std::size_t f = 0; f < logs_.size(); ++f) {
            check_log(*logs_[f]);
            if (logs_[f]->size() < 20)
                throw Error(logs_[f]->source + ": a pulse test needs at least 20 rows");
            if (!overvoltage_V_.empty() && overvoltage_V_[f].size() != logs_[f]->size()) {
                throw Error(logs_[f]->source + ": overvoltage_V has " +
                            std::to_string(overvoltage_V_[f].size()) + " rows, expected " +
                            std::to_string(logs_[f]->size()));
            }
            counts_.push_back(counted(*logs_[f], settings_));
        }
    }

    RestTest read() {
        test_.capacity_given = settings_.capacity_Ah.has_value();
        check_full_starts();
        find_rests();
        find_walks();
        find_floor();
        set_capacity();
        place_on_soc();
        set_half_gap();
        constexpr double warm_degC = 10;
        if (test_.temperature_degC < warm_degC) {
            test_.notes.push_back("The rests are those at " +
                                  number_text(test_.temperature_degC, "%.0f") +
                                  " degC: cold rests have not reached the OCV. Test at room "
                                  "temperature too.");
        }
        return std::move(test_);
    }

  private:
    static constexpr double settled_s = 60;

    [[nodiscard]] double over_at(std::size_t f, std::size_t k) const {
        return overvoltage_V_.empty() ? 0.0 : overvoltage_V_[f][k];
    }

    void check_full_starts() {
        for (const Log* log : logs_)
            highest_start_V_ = std::max(highest_start_V_, log->voltage_V.front());
        for (std::size_t f = 0; f < logs_.size(); ++f) {
            const Log& log = *logs_[f];
            const RestLog& one = counts_[f];
            const double lowest_Ah = *std::min_element(one.charge_Ah.begin(), one.charge_Ah.end());
            const double highest_Ah = *std::max_element(one.charge_Ah.begin(), one.charge_Ah.end());
            if (std::abs(log.current_A.front()) > one.rest_A) {
                throw Error(log.source + ": starts under a current of " +
                            number_text(log.current_A.front()) +
                            " A; without a slow test a pulse test must start at rest and full");
            }
            if (!(lowest_Ah < 0)) {
                throw Error(
                    log.source +
                    ": no discharge found: current_A takes nothing out. Current must be "
                    "positive when charging; if this file has the other sign, say so with the "
                    "sign option");
            }
            if (highest_Ah > 0.02 * (highest_Ah - lowest_Ah)) {
                throw Error(
                    log.source + ": takes in " + number_text(highest_Ah) +
                    " Ah more than it had at its first row, so it did not start full; without "
                    "a slow test the SOC is counted from full");
            }
            constexpr double same_full_V = 0.06;
            if (log.voltage_V.front() < highest_start_V_ - same_full_V) {
                throw Error(
                    log.source + ": starts at " + number_text(log.voltage_V.front()) +
                    " V, another test at " + number_text(highest_start_V_) +
                    " V, so it did not start full; without a slow test the SOC is counted from "
                    "full");
            }
            discharged_Ah_ = std::max(discharged_Ah_, -lowest_Ah);
            test_.voltage_max_V = std::max(
                test_.voltage_max_V, *std::max_element(log.voltage_V.begin(), log.voltage_V.end()));
        }
        if (test_.capacity_given && discharged_Ah_ > 1.05 * *settings_.capacity_Ah) {
            throw Error(logs_.front()->source + ": " + number_text(discharged_Ah_) +
                        " Ah come out of a cell of " + number_text(*settings_.capacity_Ah) +
                        " Ah (capacity_Ah)");
        }
    }

    /// The first rest of a log is that of the full cell.
    void find_rests() {
        std::vector<double> temperatures;
        for (std::size_t f = 0; f < logs_.size(); ++f) {
            const Log& log = *logs_[f];
            const RestLog& one = counts_[f];
            std::size_t k = 0;
            while (k < log.size()) {
                if (std::abs(log.current_A[k]) > one.rest_A) {
                    ++k;
                    continue;
                }
                Rest rest;
                rest.log = f;
                rest.first_row = k;
                while (k + 1 < log.size() && std::abs(log.current_A[k + 1]) <= one.rest_A)
                    ++k;
                rest.last_row = k++;
                rest.duration_s = log.time_s[rest.last_row] -
                                  log.time_s[rest.first_row > 0 ? rest.first_row - 1 : 0];
                const bool full = rest.first_row == 0;
                if (!full && rest.duration_s < settings_.shortest_rest_s) continue;
                rest.charge_Ah = one.charge_Ah[rest.last_row];
                rest.last_voltage_V = log.voltage_V[rest.last_row];
                rest.voltage_V = rest.last_voltage_V;
                // Nothing is known of what came before the first, a full cell falls by some mV for
                // hours; and two rows show no relaxation.
                constexpr double unseen_std_V = 0.005;
                rest.voltage_std_V = std::hypot(settings_.voltage_std_V, unseen_std_V);
                if (!full && rest.last_row - rest.first_row >= 2) {
                    const RestedVoltage seen =
                        carried_on(log, rest.first_row, rest.last_row, settings_.voltage_std_V,
                                   settings_.missing_share_std);
                    rest.last_voltage_V = seen.last_voltage_V;
                    if (overvoltage_V_.empty()) {
                        rest.voltage_V = seen.voltage_V;
                        rest.voltage_std_V = seen.voltage_std_V;
                    } else {
                        const double missing_V = -overvoltage_V_[f][rest.last_row];
                        rest.voltage_V = seen.last_voltage_V + missing_V;
                        rest.voltage_std_V = std::hypot(settings_.voltage_std_V,
                                                        settings_.missing_share_std * missing_V,
                                                        0.5 * (rest.voltage_V - seen.voltage_V));
                    }
                }
                for (std::size_t row = rest.first_row; row <= rest.last_row; ++row)
                    temperatures.push_back(log.temperature_degC[row]);
                test_.rests.push_back(rest);
            }
        }
        const auto beyond_full = [](const Rest& rest) { return rest.first_row > 0; };
        if (std::count_if(test_.rests.begin(), test_.rests.end(), beyond_full) < 3) {
            throw Error(
                logs_.front()->source + ": " +
                std::to_string(std::count_if(test_.rests.begin(), test_.rests.end(), beyond_full)) +
                " rests of at least " + number_text(settings_.shortest_rest_s) +
                " s (shortest_rest_s, rest_current_A) after the first; an OCV from rests needs at "
                "least 3, "
                "better ten between full and empty");
        }
        test_.temperature_degC = quantile(std::move(temperatures), 0.5);
    }

    /// The discharges from rest to rest. What the model leaves of the overvoltage at the end of
    /// each is known from the rest behind it; the one above and this one share the difference.
    void find_walks() {
        for (std::size_t r = 0; r < test_.rests.size(); ++r) {
            const Rest& rest = test_.rests[r];
            if (rest.first_row < 2) continue;
            const Log& log = *logs_[rest.log];
            const std::size_t last = rest.first_row - 1;
            const std::size_t first = steady_from(log, last);
            if (!(log.current_A[last] < 0) || last - first < 3 ||
                log.time_s[last] - log.time_s[first - 1] < 2 * settled_s)
                continue;
            walks_.push_back(
                {r, first, last, rest.voltage_V - log.voltage_V[last] + over_at(rest.log, last)});
        }
        double differ_squares = 0;
        double differ_count = 0;
        for (std::size_t w = 0; w < walks_.size(); ++w) {
            const Walk& walk = walks_[w];
            const Rest& rest = test_.rests[walk.rest];
            const Log& log = *logs_[rest.log];
            const std::vector<double>& charge = counts_[rest.log].charge_Ah;
            const bool follows = w > 0 && test_.rests[walks_[w - 1].rest].log == rest.log;
            const double above_V = follows ? walks_[w - 1].off_V : walk.off_V;
            if (follows) {
                differ_squares += (walk.off_V - above_V) * (walk.off_V - above_V);
                ++differ_count;
            }
            const double span_Ah = charge[walk.first - 1] - charge[walk.last];
            const double apart_Ah = 0.02 * discharged_Ah_;
            double next_Ah = charge[walk.first - 1] - apart_Ah;
            for (std::size_t k = walk.first; k <= walk.last; ++k) {
                if (charge[k] > next_Ah || charge[k] < charge[walk.last] + 0.5 * apart_Ah) continue;
                // Without a model the overvoltage is that at the end, which it takes a while to
                // reach.
                const double f = (charge[walk.first - 1] - charge[k]) / span_Ah;
                if (log.time_s[k] - log.time_s[walk.first - 1] < settled_s) continue;
                if (overvoltage_V_.empty() && f < 0.25) continue;
                const double off_V = above_V + f * (walk.off_V - above_V);
                test_.between.push_back({charge[k], 0,
                                         log.voltage_V[k] - over_at(rest.log, k) + off_V,
                                         4 * f * (1 - f)});
                next_Ah = charge[k] - apart_Ah;
            }
        }
        double walk_std_V = 0;
        if (differ_count >= 2) {
            walk_std_V = std::max(0.5 * std::sqrt(differ_squares / differ_count),
                                  0.5 * settings_.voltage_std_V);
        } else {
            for (const Walk& walk : walks_) {
                const std::size_t f = test_.rests[walk.rest].log;
                walk_std_V = std::max(walk_std_V, settings_.missing_share_std *
                                                      std::abs(walk.off_V - over_at(f, walk.last)));
            }
        }
        for (WalkedPoint& point : test_.between)
            point.voltage_std_V =
                std::hypot(settings_.voltage_std_V, walk_std_V * point.voltage_std_V);
    }

    /// The floor: where the lowest steady discharge ends, if it is steep there.
    void find_floor() {
        std::optional<FloorDischarge>& floor = floor_;
        for (std::size_t f = 0; f < logs_.size(); ++f) {
            const auto found = lowest_discharge(*logs_[f], counts_[f], f);
            if (found && (!floor || logs_[f]->voltage_V[found->last] <
                                        logs_[floor->log]->voltage_V[floor->last]))
                floor = found;
        }
        double lowest_V = highest_start_V_;
        for (const Log* log : logs_)
            lowest_V =
                std::min(lowest_V, *std::min_element(log->voltage_V.begin(), log->voltage_V.end()));
        test_.voltage_min_V = settings_.floor_voltage_V.value_or(
            floor ? logs_[floor->log]->voltage_V[floor->last] : lowest_V);
        std::string& why = why_no_floor_;
        if (!floor) {
            why = "no steady discharge, slower than two hours for all of the charge";
        } else {
            const Log& log = *logs_[floor->log];
            const std::vector<double>& charge = counts_[floor->log].charge_Ah;
            const auto rows = [&](const std::vector<double>& column) {
                return std::vector<double>(
                    column.begin() + static_cast<std::ptrdiff_t>(floor->first),
                    column.begin() + static_cast<std::ptrdiff_t>(floor->last) + 1);
            };
            const double end_V = log.voltage_V[floor->last];
            const double mean_slope = (log.voltage_V.front() - end_V) / -charge[floor->last];
            const double slope =
                end_slope_V_per_Ah(rows(charge), rows(log.voltage_V), 0.01 * discharged_Ah_);
            constexpr double steep = 5;
            if (settings_.floor_voltage_V) {
                if (end_V > *settings_.floor_voltage_V + floor_band_V) {
                    why = "the lowest steady discharge ends at " + number_text(end_V) +
                          " V, above the floor of " + number_text(*settings_.floor_voltage_V) +
                          " V (floor_voltage_V)";
                }
            } else if (slope < steep * mean_slope) {
                why = "the lowest steady discharge ends at " + number_text(end_V) +
                      " V, where the voltage does not fall steeply yet";
            }
            if (why.empty()) {
                test_.floor_voltage_V = settings_.floor_voltage_V.value_or(end_V);
                // Below the last rest: what the last walk left, without a model all of the
                // overvoltage.
                double off_V = 0;
                double off_A = 0;
                for (const Walk& walk : walks_) {
                    if (test_.rests[walk.rest].log != floor->log || walk.last > floor->first)
                        continue;
                    off_V = walk.off_V;
                    off_A = log.current_A[walk.last];
                }
                if (off_A == 0 && overvoltage_V_.empty()) {
                    std::size_t settled = floor->first;
                    while (settled < floor->last &&
                           log.time_s[settled] - log.time_s[floor->first - 1] < settled_s)
                        ++settled;
                    off_A = log.current_A[settled];
                    off_V = log.voltage_V[floor->first - 1] - log.voltage_V[settled];
                }
                double next_Ah = 0;
                const double apart_Ah = 0.004 * discharged_Ah_;
                for (std::size_t k = floor->first; k <= floor->last; ++k) {
                    // Slow processes go on for a while; the first rows would show too little of
                    // them.
                    if (log.time_s[k] - log.time_s[floor->first - 1] < settled_s) continue;
                    if (k < floor->last && charge[k] > next_Ah - apart_Ah && next_Ah < 0) continue;
                    const double model_V = over_at(floor->log, k);
                    const double left_V =
                        overvoltage_V_.empty() ? off_V * log.current_A[k] / off_A : off_V;
                    next_Ah = charge[k];
                    test_.floor.push_back(
                        {charge[k], 0, log.voltage_V[k] - model_V + left_V,
                         std::hypot(settings_.voltage_std_V,
                                    settings_.missing_share_std * (left_V - model_V))});
                }
            }
        }

        if (!test_.floor_voltage_V && !settings_.floor_voltage_V) {
            test_.notes.push_back(
                "The lowest voltage of the window is that of the lowest discharge seen, " +
                number_text(test_.voltage_min_V) +
                " V; the cell maker's data sheet may allow less.");
        }
    }

    void set_capacity() {
        double left_Ah = 0;
        if (test_.capacity_given) {
            test_.capacity_Ah = *settings_.capacity_Ah;
            test_.capacity_Ah_std = settings_.capacity_share_std * test_.capacity_Ah;
            test_.notes.push_back(
                "Capacity: " + number_text(test_.capacity_Ah) + " Ah was handed in (std " +
                number_text(test_.capacity_Ah_std, "%.2g") + " assumed), not measured.");
        } else if (!test_.floor_voltage_V) {
            throw Error(
                logs_.front()->source + ": no discharge from full to the floor: " + why_no_floor_ +
                ". Give the capacity (capacity_Ah), a slow test, or a pulse test that goes on "
                "until empty" +
                (settings_.floor_voltage_V ? ""
                                           : "; or say which voltage is empty "
                                             "(floor_voltage_V)"));
        } else {
            std::vector<double> charge, voltage;
            for (const WalkedPoint& point : test_.floor) {
                charge.push_back(point.charge_Ah);
                voltage.push_back(point.voltage_V);
            }
            const double slope =
                charge.size() > 1 ? end_slope_V_per_Ah(charge, voltage, 0.01 * discharged_Ah_) : 0;
            const WalkedPoint& end = test_.floor.back();
            const double above_V = std::max(0.0, end.voltage_V - *test_.floor_voltage_V);
            // What the current left in the cell at the floor, by the slope there; half of it is
            // open.
            constexpr double most_left = 0.05;
            left_Ah = slope > 0 ? std::min(above_V / slope, most_left * -end.charge_Ah)
                                : most_left * -end.charge_Ah;
            test_.capacity_Ah = -end.charge_Ah + left_Ah;
            const RestLog& one = counts_[floor_->log];
            const double offset_Ah = settings_.offset_share_std * one.largest_A * one.active_s /
                                     seconds_per_hour<double>;
            test_.capacity_Ah_std = std::sqrt(std::pow(settings_.gain_std * test_.capacity_Ah, 2) +
                                              offset_Ah * offset_Ah + 0.25 * left_Ah * left_Ah +
                                              std::pow(full_share_std * test_.capacity_Ah, 2));
            test_.notes.push_back(
                "Capacity: " + number_text(-end.charge_Ah, "%.3f") + " Ah from full to " +
                number_text(logs_[floor_->log]->voltage_V[floor_->last]) + " V in " +
                std::filesystem::path(logs_[floor_->log]->source).filename().string() + ", and " +
                number_text(left_Ah, "%.3f") +
                " Ah that the current left in the cell (by the slope there): " +
                number_text(test_.capacity_Ah, "%.3f") + " Ah (std " +
                number_text(test_.capacity_Ah_std, "%.3f") + ").");
        }
    }

    /// SOC of all points, and which branch each rest lies on.
    void place_on_soc() {
        for (std::size_t f = 0; f < logs_.size(); ++f) {
            // Which branch a rest lies on, walked with the rate assumed.
            const std::vector<double>& charge = counts_[f].charge_Ah;
            std::size_t k = 0;
            double h = 0;
            for (Rest& rest : test_.rests) {
                if (rest.log != f) continue;
                for (++k; k <= rest.last_row; ++k) {
                    const double moved = (charge[k] - charge[k - 1]) / test_.capacity_Ah;
                    const double target = moved > 0 ? 1 : (moved < 0 ? -1 : h);
                    h += -std::expm1(-settings_.hysteresis_rate * std::abs(moved)) * (target - h);
                }
                k = rest.last_row;
                rest.soc = 1 + rest.charge_Ah / test_.capacity_Ah;
                rest.hysteresis = h;
            }
        }
        for (auto* points : {&test_.between, &test_.floor}) {
            for (WalkedPoint& point : *points)
                point.soc = 1 + point.charge_Ah / test_.capacity_Ah;
            std::stable_sort(
                points->begin(), points->end(),
                [](const WalkedPoint& a, const WalkedPoint& b) { return a.soc > b.soc; });
        }
        std::stable_sort(test_.rests.begin(), test_.rests.end(),
                         [](const Rest& a, const Rest& b) { return a.soc > b.soc; });
    }

    /// Hysteresis: only where rests are met from both sides at the same SOC.
    void set_half_gap() {
        CurvePoints down;
        for (const Rest& rest : test_.rests) {
            if (rest.hysteresis < -0.8) down.add(rest.soc, rest.voltage_V, rest.voltage_std_V);
        }
        down = rising(std::move(down), settings_.merge_soc);
        double information = 0;
        double sum = 0;
        int met = 0;
        if (down.size() >= 2) {
            const std::vector<double> slope = monotone_slopes(down.soc, down.voltage_V);
            const double between = share_between(down);
            for (const Rest& rest : test_.rests) {
                if (rest.hysteresis < 0.8 || rest.soc < down.soc.front() ||
                    rest.soc > down.soc.back())
                    continue;
                const auto k = static_cast<std::size_t>(
                    std::upper_bound(down.soc.begin(), down.soc.end() - 1, rest.soc) -
                    down.soc.begin());
                const double f = (rest.soc - down.soc[k - 1]) / (down.soc[k] - down.soc[k - 1]);
                const double std_V = std::hypot(
                    rest.voltage_std_V, std::max(down.std_V[k], down.std_V[k - 1]),
                    between * 4 * f * (1 - f) * (down.voltage_V[k] - down.voltage_V[k - 1]));
                const double gap_V =
                    rest.voltage_V - cubic_at(down.soc, down.voltage_V, slope, rest.soc);
                information += 1 / (std_V * std_V);
                sum += gap_V / (std_V * std_V);
                ++met;
            }
        }
        if (met >= 2 && sum > 2 * std::sqrt(information)) {
            test_.half_gap_V = 0.5 * sum / information;
            test_.half_gap_V_std = 0.5 / std::sqrt(information);
            test_.notes.push_back("Hysteresis: half the gap between rests met after charge (" +
                                  std::to_string(met) + ") and after discharge is " +
                                  number_text(1e3 * test_.half_gap_V, "%.1f") + " mV (std " +
                                  number_text(1e3 * test_.half_gap_V_std, "%.1f") +
                                  "), taken as the same at every SOC.");
        } else {
            test_.notes.emplace_back(
                met >= 2
                    ? "Hysteresis: rests met after charge and after discharge differ by no more "
                      "than they repeat; the branches of the OCV are taken as one."
                    : "Hysteresis: the rests are met from one side only, so nothing is claimed of "
                      "it; the branches of the OCV are taken as one.");
        }
    }

    const std::vector<const Log*>& logs_;
    const RestTestSettings& settings_;
    const std::vector<std::vector<double>>& overvoltage_V_;
    std::vector<RestLog> counts_;
    std::vector<Walk> walks_;
    std::optional<FloorDischarge> floor_;
    std::string why_no_floor_;
    double highest_start_V_{0};
    double discharged_Ah_{0};
    RestTest test_;
};

}  // namespace

RestedVoltage rested_voltage(const Log& log, std::size_t first_row, std::size_t last_row,
                             double voltage_std_V, double missing_share_std) {
    check_log(log);
    if (last_row >= log.size() || first_row > last_row || last_row - first_row < 2) {
        throw Error(log.source + ": rows " + std::to_string(first_row) + " .. " +
                    std::to_string(last_row) + " are no rest of at least 3 rows; the log has " +
                    std::to_string(log.size()) + " rows");
    }
    require("voltage_std_V", voltage_std_V, voltage_std_V > 0, "above 0");
    require("missing_share_std", missing_share_std, missing_share_std > 0, "above 0");
    double largest_A = 0;
    for (const double current_A : log.current_A)
        largest_A = std::max(largest_A, std::abs(current_A));
    for (std::size_t k = first_row; k <= last_row; ++k) {
        if (std::abs(log.current_A[k]) > 0.01 * largest_A) {
            throw Error(log.source + ": row " + std::to_string(k) + ": a current of " +
                        number_text(log.current_A[k]) + " A flows; a rest has none");
        }
    }
    return carried_on(log, first_row, last_row, voltage_std_V, missing_share_std);
}

double monotone_cubic(const std::vector<double>& x, const std::vector<double>& y, double at) {
    if (x.size() < 2 || x.size() != y.size()) {
        throw Error("a curve needs at least 2 points with as many values, not " +
                    std::to_string(x.size()) + " and " + std::to_string(y.size()));
    }
    for (std::size_t k = 1; k < x.size(); ++k) {
        if (!(x[k] > x[k - 1])) {
            throw Error("point " + std::to_string(k) + ": " + number_text(x[k]) +
                        " must be above the one before, " + number_text(x[k - 1]));
        }
    }
    return cubic_at(x, y, monotone_slopes(x, y), at);
}

RestTest read_rest_test(const std::vector<const Log*>& logs, const RestTestSettings& settings,
                        const std::vector<std::vector<double>>& overvoltage_V) {
    return RestReader(logs, settings, overvoltage_V).read();
}

OcvCurve ocv_curve(const RestTest& test, const RestTestSettings& settings) {
    check(settings);
    CurvePoints down;
    CurvePoints up;
    double lowest_rest = 1;
    for (const Rest& rest : test.rests) {
        const bool charge_side = test.half_gap_V > 0 && rest.hysteresis > 0.8;
        const double off_V = test.half_gap_V > 0 ? (rest.hysteresis + 1) * test.half_gap_V : 0;
        // The full cell was charged: nothing in the log says so, the word full does.
        const bool full = rest.first_row == 0;
        down.add(rest.soc, rest.voltage_V - (full ? 2 * test.half_gap_V : off_V),
                 std::hypot(rest.voltage_std_V, charge_side ? test.half_gap_V_std : 0.0));
        lowest_rest = std::min(lowest_rest, rest.soc);
    }
    for (const WalkedPoint& point : test.floor) {
        if (point.soc < lowest_rest - settings.merge_soc && point.soc > 0.002)
            down.add(point.soc, point.voltage_V, point.voltage_std_V);
    }
    if (test.floor_voltage_V) {
        const double std_V = test.floor.empty() ? 0.01 : test.floor.back().voltage_std_V;
        down.add(0, std::min(*test.floor_voltage_V, down.voltage_V.back() - 1e-3), std_V);
    }
    // Near empty the points of the discharge stand closer, and shall.
    CurvePoints above;
    CurvePoints below;
    for (std::size_t k = 0; k < down.size(); ++k) {
        (down.soc[k] >= lowest_rest ? above : below)
            .add(down.soc[k], down.voltage_V[k], down.std_V[k]);
    }
    CurvePoints points = rising(std::move(above), settings.merge_soc);
    if (points.size() < 3 || points.soc.back() - points.soc.front() < 0.3) {
        throw Error("the rests stand at " + std::to_string(points.size()) + " places, from " +
                    number_text(100 * points.soc.front(), "%.0f") + " to " +
                    number_text(100 * points.soc.back(), "%.0f") +
                    " % SOC; an OCV from rests needs at least 3 places over 30 %");
    }
    const double between = share_between(points);
    // What the discharges say, where it is not next to a rest.
    CurvePoints all = std::move(below);
    const CurvePoints rests_only = points;
    for (const WalkedPoint& point : test.between) {
        const auto after =
            std::lower_bound(rests_only.soc.begin(), rests_only.soc.end(), point.soc) -
            rests_only.soc.begin();
        if (after == 0 || after == static_cast<std::ptrdiff_t>(rests_only.size())) continue;
        const auto k = static_cast<std::size_t>(after);
        const double near = 0.5 * settings.merge_soc + 0.002;
        if (point.soc - rests_only.soc[k - 1] < near || rests_only.soc[k] - point.soc < near)
            continue;
        const double f =
            (point.soc - rests_only.soc[k - 1]) / (rests_only.soc[k] - rests_only.soc[k - 1]);
        const double drawn_V =
            rests_only.std_V[k - 1] + f * (rests_only.std_V[k] - rests_only.std_V[k - 1]);
        all.add(point.soc, point.voltage_V, std::hypot(drawn_V, point.voltage_std_V));
    }
    if (all.size() > 0) {
        for (std::size_t k = 0; k < points.size(); ++k)
            all.add(points.soc[k], points.voltage_V[k], points.std_V[k]);
        points = rising(std::move(all), 0);
    }
    const std::vector<double> slope = monotone_slopes(points.soc, points.voltage_V);
    const auto count = static_cast<std::size_t>(settings.node_count);
    OcvCurve curve;
    curve.reference_temperature_degC = test.temperature_degC;
    for (std::size_t k = 0; k < count; ++k) {
        const double soc = static_cast<double>(k) / static_cast<double>(count - 1);
        curve.soc.push_back(soc);
        curve.discharge_V.push_back(cubic_at(points.soc, points.voltage_V, slope, soc));
        double std_V = 0;
        if (soc <= points.soc.front()) {
            // Below the last point nothing is known but that it falls, ever more steeply.
            std_V = std::hypot(points.std_V.front(), slope.front() * (points.soc.front() - soc));
        } else if (soc >= points.soc.back()) {
            std_V = std::hypot(points.std_V.back(), slope.back() * (soc - points.soc.back()));
        } else {
            const auto at = static_cast<std::size_t>(
                std::upper_bound(points.soc.begin(), points.soc.end(), soc) - points.soc.begin());
            const double f = (soc - points.soc[at - 1]) / (points.soc[at] - points.soc[at - 1]);
            const double drawn_V =
                points.std_V[at - 1] + f * (points.std_V[at] - points.std_V[at - 1]);
            std_V = std::hypot(drawn_V, between * 4 * f * (1 - f) *
                                            (points.voltage_V[at] - points.voltage_V[at - 1]));
        }
        curve.voltage_std_V.push_back(std_V);
    }
    // A capacity that is off moves the curve along SOC, the more the further from full.
    const double capacity_std = test.capacity_Ah_std / test.capacity_Ah;
    for (std::size_t k = 0; k < count; ++k) {
        const std::size_t before = k > 0 ? k - 1 : k;
        const std::size_t after = k + 1 < count ? k + 1 : k;
        const double slope_V = (curve.discharge_V[after] - curve.discharge_V[before]) /
                               (curve.soc[after] - curve.soc[before]);
        const double soc_std = std::hypot(full_share_std, (1 - curve.soc[k]) * capacity_std);
        curve.voltage_std_V[k] = std::hypot(curve.voltage_std_V[k], soc_std * slope_V);
    }
    for (std::size_t k = 1; k < count; ++k)
        curve.discharge_V[k] = std::max(curve.discharge_V[k], curve.discharge_V[k - 1] + 1e-7);
    for (const double voltage_V : curve.discharge_V)
        curve.charge_V.push_back(voltage_V + 2 * test.half_gap_V);
    return curve;
}

}  // namespace voltkeel
