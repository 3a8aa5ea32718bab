#include "voltkeel/fit/hysteresis.hpp"

#include <Eigen/Core>
#include <algorithm>
#include <cmath>
#include <limits>

#include "fit/least_squares.hpp"
#include "io/number_text.hpp"
#include "voltkeel/cell/model.hpp"
#include "voltkeel/error.hpp"

namespace voltkeel {

namespace {

/// A row that counts.
struct HysteresisRow {
    double from_middle_soc{0};
    double left_V{0};  ///< Measured voltage less the model's without its gap.
    double overvoltage_V{0};
    double half_gap_V{0};
    std::size_t step{0};  ///< Of the walk.
    bool starts{false};   ///< First one behind a jump: its error does not go on from the last.
};

/// Rows in one piece that share what is not known.
struct Window {
    std::vector<HysteresisRow> rows;
};

/// One log: how much SOC was walked, to which side, row by row.
struct WalkedLog {
    std::vector<double> moved_soc;
    std::vector<Window> windows;
};

struct Profile {
    double squares{0};  ///< Of what is left, over the variance, with the priors.
    double rms_V{0};
    double repeat{0};  ///< Correlation from row to row.
};

class HysteresisProblem {
  public:
    HysteresisProblem(std::vector<WalkedLog> logs, const HysteresisSettings& settings)
        : logs_(std::move(logs)), settings_(settings) {
        for (const WalkedLog& log : logs_)
            windows_ += static_cast<Eigen::Index>(log.windows.size());
    }

    /// \param std_V of a row
    [[nodiscard]] Profile at(double rate, double std_V) const {
        // Unknowns: the scale of the gap, then offset, slope and overvoltage scale of each window.
        const Eigen::Index count = 1 + 3 * windows_;
        Eigen::MatrixXd square = Eigen::MatrixXd::Zero(count, count);
        Eigen::VectorXd gradient = Eigen::VectorXd::Zero(count);
        const double gap_weight = 1 / (settings_.gap_share_std * settings_.gap_share_std);
        square(0, 0) = gap_weight;
        gradient[0] = gap_weight;  // drawn towards 1
        double constant = gap_weight;
        const double weight = 1 / (std_V * std_V);
        std::vector<std::vector<double>> paths;
        Eigen::Index w = 1;
        for (const WalkedLog& log : logs_) {
            paths.push_back(path(log, rate));
            for (const Window& window : log.windows) {
                const double offset_std_V = 0.05;  // free
                square(w, w) += 1 / (offset_std_V * offset_std_V);
                square(w + 1, w + 1) += 1 / (settings_.slope_std_V * settings_.slope_std_V);
                square(w + 2, w + 2) +=
                    1 / (settings_.overvoltage_share_std * settings_.overvoltage_share_std);
                for (const HysteresisRow& row : window.rows) {
                    const double gap_V = row.half_gap_V * paths.back()[row.step];
                    const double parts[4] = {gap_V, 1, row.from_middle_soc, row.overvoltage_V};
                    const Eigen::Index at[4] = {0, w, w + 1, w + 2};
                    for (int i = 0; i < 4; ++i) {
                        gradient[at[i]] += weight * parts[i] * row.left_V;
                        for (int j = 0; j < 4; ++j)
                            square(at[i], at[j]) += weight * parts[i] * parts[j];
                    }
                    constant += weight * row.left_V * row.left_V;
                }
                w += 3;
            }
        }
        const Eigen::VectorXd x = detail::solve_normal(square, gradient);
        Profile profile;
        profile.squares = constant - gradient.dot(x);
        double sum = 0, product = 0, rows = 0, pairs = 0;
        w = 1;
        for (std::size_t f = 0; f < logs_.size(); ++f) {
            for (const Window& window : logs_[f].windows) {
                double last_V = 0;
                for (const HysteresisRow& row : window.rows) {
                    const double error_V = row.left_V - x[0] * row.half_gap_V * paths[f][row.step] -
                                           x[w] - x[w + 1] * row.from_middle_soc -
                                           x[w + 2] * row.overvoltage_V;
                    sum += error_V * error_V;
                    ++rows;
                    if (!row.starts) {
                        product += error_V * last_V;
                        ++pairs;
                    }
                    last_V = error_V;
                }
                w += 3;
            }
        }
        profile.rms_V = std::sqrt(sum / std::max(1.0, rows));
        if (pairs > 0 && sum > 0)
            profile.repeat = std::clamp(product / pairs / (sum / rows), 0.0, 0.98);
        return profile;
    }

  private:
    /// The hysteresis state behind every row. A log starts at rest, midway.
    static std::vector<double> path(const WalkedLog& log, double rate) {
        std::vector<double> h(log.moved_soc.size(), 0.0);
        for (std::size_t k = 1; k < h.size(); ++k) {
            const double moved = log.moved_soc[k];
            const double target = moved > 0 ? 1 : (moved < 0 ? -1 : h[k - 1]);
            h[k] = h[k - 1] + relaxed_fraction(rate * std::abs(moved)) * (target - h[k - 1]);
        }
        return h;
    }

    std::vector<WalkedLog> logs_;
    HysteresisSettings settings_;
    Eigen::Index windows_{0};
};

/// Runs the model and cuts the rows that count into windows.
template <int Branches, bool Transfer>
WalkedLog walked(const Log& log, const Cell& cell, double initial_soc,
                 const HysteresisSettings& settings, std::size_t& turns) {
    const CellTables<double, Branches, Transfer> tables(cell);
    const CellParameters<double, Branches, Transfer> parameters = tables.parameters();
    CellState<double, Branches, Transfer> state;
    state.soc = initial_soc;
    WalkedLog walk;
    walk.moved_soc.assign(log.size(), 0.0);
    const double rest_A = 0.005 * cell.capacity_Ah;
    const double slow_A = settings.fastest_rate_per_h * cell.capacity_Ah;
    Window window;
    double begin_soc = 0;
    int side = 0;         // the current went that way last
    bool turned = false;  // inside this window
    double rested_s = 0;
    double counted_soc = 10;  // where the last row that counts lies
    double counted_s = 0;
    bool jump = true;
    std::size_t turns_here = 0;
    const auto close = [&] {
        constexpr std::size_t least_rows = 6;
        if (turned && window.rows.size() >= least_rows) {
            walk.windows.push_back(window);
            turns += turns_here;
        }
        window.rows.clear();
        turned = false;
        turns_here = 0;
        jump = true;
    };
    for (std::size_t k = 1; k < log.size(); ++k) {
        const double current_A = log.current_A[k];
        const double dt_s = log.time_s[k] - log.time_s[k - 1];
        const double before_soc = state.soc;
        step(parameters, {current_A, dt_s, log.temperature_degC[k]}, state);
        walk.moved_soc[k] = std::abs(current_A) > rest_A ? state.soc - before_soc : 0;
        const bool rests = std::abs(current_A) <= rest_A;
        rested_s = rests ? rested_s + dt_s : 0;
        if (!rests) {
            const int now = current_A > 0 ? 1 : -1;
            if (side != 0 && now != side && !window.rows.empty()) {
                turned = true;
                ++turns_here;
            }
            side = now;
        }
        const bool inside = state.soc > settings.soc_low && state.soc < settings.soc_high;
        if (!window.rows.empty() && std::abs(state.soc - begin_soc) > settings.window_soc) {
            // The way up to a turn belongs to what follows it: keep the near half.
            if (turned) {
                close();
            } else {
                const double from = state.soc;
                auto& rows = window.rows;
                rows.erase(std::remove_if(rows.begin(), rows.end(),
                                          [&](const HysteresisRow& row) {
                                              return std::abs(row.from_middle_soc - from) >
                                                     0.5 * settings.window_soc;
                                          }),
                           rows.end());
                if (rows.empty()) {
                    jump = true;
                } else {
                    begin_soc = rows.front().from_middle_soc;
                }
            }
        }
        if (!inside) {
            close();
            continue;
        }
        const bool counts =
            rests ? rested_s >= settings.rest_s &&
                        (log.time_s[k] - counted_s >= settings.rest_s || counted_soc != state.soc)
                  : std::abs(current_A) <= slow_A &&
                        std::abs(state.soc - counted_soc) >= settings.row_soc;
        if (!counts) {
            if (!rests && std::abs(current_A) > slow_A) jump = true;
            continue;
        }
        const auto point = voltage_at(parameters, state, current_A, log.temperature_degC[k]);
        const OcvPoint<double> ocv = ocv_at(parameters.ocv, state.soc, log.temperature_degC[k]);
        if (window.rows.empty()) begin_soc = state.soc;
        // The place; taken from the middle when all is read.
        window.rows.push_back({state.soc, log.voltage_V[k] - ocv.mean_V - point.overvoltage_V,
                               point.overvoltage_V, ocv.half_gap_V, k, jump});
        jump = false;
        counted_soc = state.soc;
        counted_s = log.time_s[k];
    }
    close();
    for (Window& one : walk.windows) {
        double middle = 0;
        for (const HysteresisRow& row : one.rows)
            middle += row.from_middle_soc / static_cast<double>(one.rows.size());
        for (HysteresisRow& row : one.rows)
            row.from_middle_soc -= middle;
        one.rows.front().starts = true;
    }
    return walk;
}

}  // namespace

HysteresisRateFit fit_hysteresis_rate(const std::vector<Log>& logs, const Cell& cell,
                                      const std::vector<double>& initial_soc,
                                      const HysteresisSettings& settings) {
    check(cell);
    if (logs.empty()) throw Error("a hysteresis fit needs at least one log");
    if (!initial_soc.empty() && initial_soc.size() != logs.size()) {
        throw Error("initial_soc: " + std::to_string(initial_soc.size()) + " values for " +
                    std::to_string(logs.size()) + " logs");
    }
    struct Positive {
        const char* field;
        double value;
    };
    for (const Positive& p : {Positive{"fastest_rate_per_h", settings.fastest_rate_per_h},
                              {"rest_s", settings.rest_s},
                              {"window_soc", settings.window_soc},
                              {"row_soc", settings.row_soc},
                              {"voltage_std_V", settings.voltage_std_V},
                              {"overvoltage_share_std", settings.overvoltage_share_std},
                              {"gap_share_std", settings.gap_share_std},
                              {"slope_std_V", settings.slope_std_V},
                              {"rate_low", settings.rate_low},
                              {"rate_high - rate_low", settings.rate_high - settings.rate_low},
                              {"soc_high - soc_low", settings.soc_high - settings.soc_low},
                              {"largest_log_std", settings.largest_log_std}}) {
        if (!(p.value > 0) || !std::isfinite(p.value))
            throw Error(std::string(p.field) + ": " + number_text(p.value) + " must be above 0");
    }
    HysteresisRateFit result;
    result.rate = cell.hysteresis_rate;
    result.rate_log_std = std::numeric_limits<double>::infinity();
    std::vector<WalkedLog> walks;
    for (std::size_t f = 0; f < logs.size(); ++f) {
        check_log(logs[f]);
        const double soc = initial_soc.empty() ? 1.0 : initial_soc[f];
        if (!std::isfinite(soc) || soc < -0.1 || soc > 1.1) {
            throw Error("initial_soc[" + std::to_string(f) + "]: " + number_text(soc) +
                        " is outside -0.1 .. 1.1");
        }
        walks.push_back(with_form(cell, [&](auto form) {
            using Form = decltype(form);
            return walked<Form::branches, Form::transfer>(logs[f], cell, soc, settings,
                                                          result.turns);
        }));
        for (const Window& window : walks.back().windows)
            result.rows += window.rows.size();
    }
    double gap_V = 0;
    for (std::size_t k = 0; k < cell.ocv.soc.size(); ++k)
        gap_V = std::max(gap_V, cell.ocv.charge_V[k] - cell.ocv.discharge_V[k]);
    const std::string assumed =
        "Assumed: hysteresis_rate " + number_text(cell.hysteresis_rate) + ". ";
    if (!(gap_V > 0)) {
        result.note = assumed + "The branches of the OCV are one, so there is no rate to see.";
        return result;
    }
    if (result.rows == 0) {
        result.note = assumed +
                      "No log turns from discharging to charging or back at slow current "
                      "between " +
                      number_text(100 * settings.soc_low, "%.0f") + " and " +
                      number_text(100 * settings.soc_high, "%.0f") +
                      " % SOC: a slow cycle that turns half-way would tell.";
        return result;
    }

    const HysteresisProblem problem(std::move(walks), settings);
    // The error of a row from the best fit, then once more with it.
    constexpr int looks = 121;
    const double low = std::log(settings.rate_low);
    const double high = std::log(settings.rate_high);
    double std_V = 5 * settings.voltage_std_V;
    int best = 0;
    std::vector<double> squares(looks);
    Profile nearest;
    for (int round = 0; round < 3; ++round) {
        for (int k = 0; k < looks; ++k) {
            squares[static_cast<std::size_t>(k)] =
                problem.at(std::exp(low + (high - low) * k / (looks - 1)), std_V).squares;
        }
        best = static_cast<int>(std::min_element(squares.begin(), squares.end()) - squares.begin());
        nearest = problem.at(std::exp(low + (high - low) * best / (looks - 1)), std_V);
        const double repeats = (1 + nearest.repeat) / (1 - nearest.repeat);
        std_V = std::sqrt(repeats) * std::max(settings.voltage_std_V, nearest.rms_V);
    }
    result.residual_rms_V = nearest.rms_V;
    // Weight of every rate, and with it mean and spread of the logarithm: right where the profile
    // is no parabola too.
    double sum = 0, first = 0, second = 0;
    for (int k = 0; k < looks; ++k) {
        const double log_rate = low + (high - low) * k / (looks - 1);
        const double share = std::exp(-0.5 * (squares[static_cast<std::size_t>(k)] -
                                              squares[static_cast<std::size_t>(best)]));
        sum += share;
        first += share * log_rate;
        second += share * log_rate * log_rate;
    }
    const double mean = first / sum;
    const double spacing = (high - low) / (looks - 1);
    result.rate = std::exp(mean);
    result.rate_log_std = std::sqrt(std::max(second / sum - mean * mean, spacing * spacing / 12));
    const std::string where = std::to_string(result.turns) +
                              (result.turns == 1 ? " turn" : " turns") + " of the current, " +
                              std::to_string(result.rows) + " rows met to " +
                              number_text(1e3 * result.residual_rms_V, "%.1f") + " mV";
    result.told = best > 0 && best < looks - 1 && result.rate_log_std < settings.largest_log_std;
    if (result.told) {
        result.note = "hysteresis_rate " + number_text(result.rate, "%.3g") + " (std " +
                      number_text(result.rate * result.rate_log_std, "%.2g") + ") is fitted to " +
                      where + ".";
    } else {
        result.note = assumed + "The tests do not tell (" + where + " allow " +
                      number_text(result.rate, "%.3g") + " within a factor of " +
                      number_text(std::exp(result.rate_log_std), "%.2g") + "; half the gap is " +
                      number_text(500 * gap_V, "%.1f") +
                      " mV at most): a slow cycle that turns half-way would.";
    }
    return result;
}

}  // namespace voltkeel
