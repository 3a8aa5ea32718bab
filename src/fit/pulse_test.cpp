#include "voltkeel/fit/pulse_test.hpp"

#include <Eigen/Core>
#include <algorithm>
#include <array>
#include <cmath>
#include <limits>

#include "fit/common_practice.hpp"
#include "fit/least_squares.hpp"
#include "fit/model_errors.hpp"
#include "fit/normal_equations.hpp"
#include "fit/open_loop.hpp"
#include "fit/statistics.hpp"
#include "io/number_text.hpp"
#include "voltkeel/cell/model.hpp"
#include "voltkeel/error.hpp"
#include "voltkeel/units.hpp"

namespace voltkeel {

namespace {

/// Stretch between two rows that the fit looks at. The rows left out in between are kept in the
/// mean current.
struct Interval {
    double dt_s{0};
    double mean_current_A{0};
    double end_current_A{0};
    double voltage_V{0};
    double temperature_degC{0};
    bool edge{false};         ///< The current changed at the start of this stretch.
    bool unseen{false};       ///< Does not count in the fit.
    double overvoltage_V{0};  ///< Measured voltage less the OCV at the charge counted.
};

/// Thins a log: rows just before and after a change of current, then ever further apart, at most
/// 120 s.
std::vector<Interval> intervals_of(const Log& log, double capacity_Ah) {
    const double edge_A = 0.02 * capacity_Ah;
    constexpr double growth = 1.3;
    constexpr double longest_s = 120;
    std::vector<Interval> intervals;
    double since_edge_s = 0;
    double next_keep_s = 0;
    double dt_s = 0;
    double charge_As = 0;
    bool edge = true;
    const auto edge_at = [&](std::size_t k) {
        return k < log.size() && std::abs(log.current_A[k] - log.current_A[k - 1]) > edge_A;
    };
    for (std::size_t k = 1; k < log.size(); ++k) {
        const double step_s = log.time_s[k] - log.time_s[k - 1];
        if (edge_at(k)) {
            since_edge_s = 0;
            next_keep_s = 0;
        }
        since_edge_s += step_s;
        dt_s += step_s;
        charge_As += log.current_A[k] * step_s;
        if (since_edge_s >= next_keep_s || edge_at(k + 1) || k + 1 == log.size() ||
            dt_s >= longest_s) {
            intervals.push_back({dt_s, charge_As / dt_s, log.current_A[k], log.voltage_V[k],
                                 log.temperature_degC[k], edge});
            edge = edge_at(k + 1);
            next_keep_s = std::max(since_edge_s * growth, since_edge_s + 0.05);
            dt_s = 0;
            charge_As = 0;
        }
    }
    return intervals;
}

using detail::noise_of;
using detail::noise_std_V;
using detail::RowError;

/// Expected standard deviation of the model error at a row, grown so that rows that repeat each
/// other count once.
double weighted_std_V(double overvoltage_V, const VoltageNoise& noise) {
    return std::sqrt(noise.rows_per_independent_row) * noise_std_V(overvoltage_V, noise);
}

/// A short pulse after a rest: what it does to the voltage as a whole. Errors that the rows before
/// it and at its end share (OCV, slow branches) fall out, so that the drop is known better than
/// either of them. It is what a limit of the current asks for.
struct Pulse {
    std::size_t before{0};  ///< Last row of the rest.
    std::size_t end{0};     ///< Last row under current.
    double soc{0};          ///< At the start.
    double current_A{0};    ///< Mean.
    double drop_V{0};       ///< Measured, with the sign of the current.
    double time_s{0};
};

/// The pulses that the fit may see.
std::vector<Pulse> pulses_of(const std::vector<Interval>& intervals, double initial_soc,
                             double capacity_Ah) {
    constexpr double longest_s = 60;
    const double rest_A = 0.02 * capacity_Ah;
    std::vector<Pulse> pulses;
    double soc = initial_soc;
    Pulse pulse;
    double charge_As = 0;
    bool rested = false;
    for (std::size_t k = 0; k < intervals.size(); ++k) {
        const Interval& at = intervals[k];
        if (at.edge) {
            pulse.time_s = 0;
            charge_As = 0;
        }
        pulse.time_s += at.dt_s;
        charge_As += at.mean_current_A * at.dt_s;
        soc += at.mean_current_A * at.dt_s / (seconds_per_hour<double> * capacity_Ah);
        if (k + 1 < intervals.size() && !intervals[k + 1].edge) continue;
        if (std::abs(at.end_current_A) < rest_A) {
            rested = !at.unseen;
            pulse.before = k;
            pulse.soc = soc;
            continue;
        }
        pulse.end = k;
        pulse.current_A = charge_As / pulse.time_s;
        pulse.drop_V = at.voltage_V - intervals[pulse.before].voltage_V;
        if (rested && !at.unseen && pulse.time_s < longest_s && pulse.drop_V * pulse.current_A > 0)
            pulses.push_back(pulse);
        rested = false;
    }
    return pulses;
}

struct PulseLog {
    std::vector<Interval> intervals;
    std::vector<Pulse> pulses;
    double reading_std_V{0};
    double first_voltage_V{0};
    double initial_soc{1};
    double initial_soc_std{0.01};
    bool starts_full{false};
};

/// Noise of one reading, from how far a voltage at rest lies off the line through its neighbours.
double reading_std_V(const Log& log, double capacity_Ah) {
    constexpr double least_V = 0.0007;
    const double rest_A = 0.02 * capacity_Ah;
    std::vector<double> bends;
    std::size_t rested = 0;
    for (std::size_t k = 0; k < log.size(); ++k) {
        rested = std::abs(log.current_A[k]) < rest_A ? rested + 1 : 0;
        if (rested < 3) continue;
        bends.push_back(
            std::abs(log.voltage_V[k] - 2 * log.voltage_V[k - 1] + log.voltage_V[k - 2]));
    }
    if (bends.empty()) return least_V;
    // The median of |x| is 0.6745 standard deviations; weights 1, -2, 1 make sqrt(6) of one.
    return std::max(least_V, quantile(std::move(bends), 0.5) / (0.6745 * std::sqrt(6.0)));
}

double drop_share_std(const PulseFitSettings& settings) {
    return settings.drop_share_std.value_or(0.005);
}

/// Of a measured drop: the share given, and the noise of the two readings.
double drop_std_V(const Pulse& pulse, double share_std, double reading_std_V) {
    return std::hypot(std::sqrt(2.0) * reading_std_V, share_std * pulse.drop_V);
}

constexpr double pi = 3.14159265358979323846;

/// Time constants run over SOC in straight lines of their logarithm between these knots, closer
/// together where a cell gets slower towards empty.
constexpr std::array<double, 7> time_knots_soc{0.0, 0.08, 0.16, 0.3, 0.55, 0.8, 1.0};
constexpr int time_knots = static_cast<int>(time_knots_soc.size());
/// The knot whose value priors speak of.
constexpr int middle_time_knot = 4;

/// Place of an SOC among the knots.
struct TimePlace {
    int knot{0};  ///< The one below.
    double fraction{0};
};

TimePlace time_place(double soc) {
    const auto above = std::upper_bound(time_knots_soc.begin() + 1, time_knots_soc.end() - 1, soc);
    const double from = *(above - 1);
    return {static_cast<int>(above - time_knots_soc.begin()) - 1, (soc - from) / (*above - from)};
}

template <int Branches, bool Transfer>
class PulseProblem {
  public:
    /// Quantities with a value at every SOC node: R0, the branches, the charge-transfer resistance.
    static constexpr int quantities = 1 + Branches + (Transfer ? 1 : 0);
    /// Time constants: of the branches, of the charge transfer.
    static constexpr int times = Branches + (Transfer ? 1 : 0);
    static constexpr int scales = Transfer ? 1 : 0;
    /// Whether a branch is the slow one, which rests of an hour hold only loosely.
    static constexpr bool is_slow(int branch) { return branch == Branches - 1 && Branches > 1; }

    PulseProblem(std::vector<PulseLog> logs, const Cell& base, const PulseFit* warmer,
                 const PulseFitSettings& settings, double temperature_degC)
        : logs_(std::move(logs)),
          base_(base),
          warmer_(warmer),
          settings_(settings),
          drop_share_std_(drop_share_std(settings)),
          temperature_degC_(temperature_degC),
          nodes_(settings.soc_nodes) {
        double coldest = temperature_degC;
        double hottest = temperature_degC;
        for (const PulseLog& log : logs_) {
            for (const Interval& interval : log.intervals) {
                coldest = std::min(coldest, interval.temperature_degC);
                hottest = std::max(hottest, interval.temperature_degC);
            }
            data_rows_ += static_cast<int>(log.intervals.size());
        }
        const int temperatures = static_cast<int>(std::ceil(hottest - coldest)) + 2;
        axis_ = uniform_axis(coldest - 0.5, hottest + 0.5, temperatures);
        ocv_nodes_ = ocv_nodes<double>(base.ocv);
        for (int s = 0; s < nodes_; ++s)
            time_places_.push_back(time_place(static_cast<double>(s) / (nodes_ - 1)));
        build_temperature_factors();
    }

    [[nodiscard]] int inputs() const { return capacity_index() + 1; }
    [[nodiscard]] int data_rows() const { return data_rows_; }
    [[nodiscard]] const std::vector<PulseLog>& logs() const { return logs_; }
    [[nodiscard]] std::vector<PulseLog>& logs() { return logs_; }

    // All parameters but the OCV and the initial SOC are natural logarithms.
    [[nodiscard]] int node_index(int quantity, int node) const { return nodes_ * quantity + node; }
    [[nodiscard]] int r0_index(int node) const { return node_index(0, node); }
    [[nodiscard]] int branch_index(int branch, int node) const {
        return node_index(1 + branch, node);
    }
    [[nodiscard]] int transfer_index(int node) const { return node_index(1 + Branches, node); }
    [[nodiscard]] int time_index(int branch, int knot) const {
        return nodes_ * quantities + time_knots * branch + knot;
    }
    [[nodiscard]] int scale_index() const { return time_index(times, 0); }
    [[nodiscard]] int ocv_index(int node) const { return scale_index() + scales + node; }
    [[nodiscard]] int soc_index(int log) const { return ocv_index(nodes_) + log; }
    /// Capacity, as the logarithm of its ratio to the capacity handed in.
    [[nodiscard]] int capacity_index() const { return soc_index(static_cast<int>(logs_.size())); }

    void set_noise(const VoltageNoise& noise) { settings_.noise = noise; }
    void set_start(const Eigen::VectorXd& start, const Eigen::VectorXd& start_std) {
        start_ = start;
        start_std_ = start_std;
    }

    [[nodiscard]] CellParameters<double, Branches, Transfer> parameters(
        const Eigen::VectorXd& x) const {
        table_.resize(place(0, axis_.count, 0));
        for (int t = 0; t < axis_.count; ++t) {
            for (int s = 0; s < nodes_; ++s) {
                auto& node = table_[place(0, t, s)];
                node.r0_ohm = std::exp(x[r0_index(s)]) * factor(0, t, s);
                for (int i = 0; i < Branches; ++i) {
                    node.branch_ohm[i] = std::exp(x[branch_index(i, s)]) * factor(1 + i, t, s);
                    node.branch_time_s[i] = time_s(x, i, s) * factor(quantities + i, t, s);
                }
                if constexpr (Transfer) {
                    const double scale_V =
                        std::exp(x[scale_index()]) * factor(quantities + times, t, s);
                    const double resistance_ohm =
                        std::exp(x[transfer_index(s)]) * factor(1 + Branches, t, s);
                    node.transfer = {scale_V, scale_V / resistance_ohm,
                                     time_s(x, Branches, s) * factor(quantities + Branches, t, s)};
                }
            }
        }
        shifted_ocv_ = ocv_nodes_;
        for (std::size_t k = 0; k < shifted_ocv_.size(); ++k) {
            const AxisPosition<double> at =
                locate(uniform_axis(0.0, 1.0, nodes_),
                       static_cast<double>(k) / static_cast<double>(shifted_ocv_.size() - 1));
            shifted_ocv_[k].mean_V +=
                x[ocv_index(at.index)] +
                at.fraction * (x[ocv_index(at.index + 1)] - x[ocv_index(at.index)]);
        }
        CellParameters<double, Branches, Transfer> cell;
        cell.capacity_Ah = base_.capacity_Ah * std::exp(x[capacity_index()]);
        cell.coulombic_efficiency = base_.coulombic_efficiency;
        cell.hysteresis_rate = base_.hysteresis_rate;
        cell.ocv = {shifted_ocv_.data(), static_cast<int>(shifted_ocv_.size()),
                    base_.ocv.reference_temperature_degC};
        cell.resistance = {table_.data(), uniform_axis(0.0, 1.0, nodes_), axis_};
        return cell;
    }

    [[nodiscard]] double time_s(const Eigen::VectorXd& x, int branch, int node) const {
        const TimePlace& at = time_places_[static_cast<std::size_t>(node)];
        const int first = time_index(branch, at.knot);
        return std::exp(x[first] + at.fraction * (x[first + 1] - x[first]));
    }
    [[nodiscard]] double time_log_std(const Eigen::MatrixXd& covariance, int branch,
                                      int node) const {
        const TimePlace& at = time_places_[static_cast<std::size_t>(node)];
        const Eigen::Vector2d share(1 - at.fraction, at.fraction);
        const int first = time_index(branch, at.knot);
        return std::sqrt(std::max(0.0, share.dot(covariance.block<2, 2>(first, first) * share)));
    }
    [[nodiscard]] int nearest_time_knot(int node) const {
        const TimePlace& at = time_places_[static_cast<std::size_t>(node)];
        return at.knot + (at.fraction > 0.5 ? 1 : 0);
    }

    /// Change of each quantity with temperature inside the test: from the base cell when it has
    /// resistances, else an Arrhenius law with usual activation energies (DEVELOPERS.md, "Fit").
    void build_temperature_factors() {
        factors_.resize(place(quantities + times + scales, 0, 0), 1.0);
        const ResistanceGrid& grid = base_.resistance;
        const auto column = [](const Grid& values, int s) {
            std::vector<double> over_temperature;
            for (const auto& row : values)
                over_temperature.push_back(row[static_cast<std::size_t>(s)]);
            return over_temperature;
        };
        const bool known =
            grid.temperature_degC.size() > 1 && static_cast<int>(grid.soc.size()) == nodes_ &&
            grid.branches.size() == Branches && grid.charge_transfer.has_value() == Transfer;
        const auto branch = [&](int i) -> const BranchGrid& {
            return grid.branches[static_cast<std::size_t>(i)];
        };
        const auto values_of = [&](int q, int s) -> std::vector<double> {
            if (q == 0) return column(grid.r0_ohm, s);
            if (q <= Branches) return column(branch(q - 1).resistance_ohm, s);
            if (q >= quantities && q < quantities + Branches)
                return column(branch(q - quantities).time_s, s);
            if (q == quantities + Branches) return column(grid.charge_transfer->time_s, s);
            std::vector<double> scale_V = column(grid.charge_transfer->scale_V, s);
            if (q == quantities + times) return scale_V;
            const std::vector<double> exchange_A =
                column(grid.charge_transfer->exchange_current_A, s);
            for (std::size_t t = 0; t < scale_V.size(); ++t)
                scale_V[t] /= exchange_A[t];
            return scale_V;
        };
        for (int t = 0; t < axis_.count; ++t) {
            const double degC = axis_.first + axis_.step * t;
            const double inverse_K = 1 / (degC + zero_celsius_K<double>)-1 /
                                     (temperature_degC_ + zero_celsius_K<double>);
            for (int s = 0; s < nodes_; ++s) {
                for (int q = 0; q < quantities + times + scales; ++q) {
                    double& f = factors_[place(q, t, s)];
                    if (known) {
                        const std::vector<double> v = values_of(q, s);
                        f = arrhenius_value(grid.temperature_degC, v, degC) /
                            arrhenius_value(grid.temperature_degC, v, temperature_degC_);
                    } else if (q < quantities) {
                        f = std::exp(usual_activation_J_per_mol(q == 0) /
                                     gas_constant_J_per_mol_K<double> * inverse_K);
                    }
                }
            }
        }
    }
    /// Index of a quantity at a temperature and SOC node; quantity 0 alone indexes a single table.
    [[nodiscard]] std::size_t place(int quantity, int t, int s) const {
        const auto size = [](int count) { return static_cast<std::size_t>(count); };
        return (size(quantity) * size(axis_.count) + size(t)) * size(nodes_) + size(s);
    }
    [[nodiscard]] double factor(int quantity, int t, int s) const {
        return factors_[place(quantity, t, s)];
    }

    /// Walks the model along the logs.
    /// \param errors_V when not null, receives model minus measurement at every row that counts
    /// \param data receives the normal equations of those rows
    void run(const Eigen::VectorXd& x, detail::NormalEquations& data,
             std::vector<RowError>* errors = nullptr) const {
        const CellParameters<double, Branches, Transfer> cell = parameters(x);
        data.clear();
        std::vector<double> unseen_row(static_cast<std::size_t>(inputs()));
        std::vector<double> by_resistance(static_cast<std::size_t>(times * nodes_));
        std::vector<double> before(static_cast<std::size_t>(inputs()));
        std::vector<double> now(static_cast<std::size_t>(inputs()));
        for (std::size_t f = 0; f < logs_.size(); ++f) {
            CellState<double, Branches, Transfer> state;
            state.soc = x[soc_index(static_cast<int>(f))];
            std::fill(by_resistance.begin(), by_resistance.end(), 0.0);
            std::array<std::array<double, time_knots>, times> by_time{};
            double by_scale = 0;
            std::array<double, times> by_soc{};
            std::array<double, times> by_capacity{};
            const PulseLog& log = logs_[f];
            std::size_t next_pulse = drop_share_std_ > 0 ? 0 : log.pulses.size();
            double before_V = 0;
            for (std::size_t at_row = 0; at_row < log.intervals.size(); ++at_row) {
                const Interval& interval = log.intervals[at_row];
                const CellInput<double> input{interval.mean_current_A, interval.dt_s,
                                              interval.temperature_degC};
                StepJacobian<double, Branches, Transfer> j;
                const double middle_soc =
                    state.soc + 0.5 * soc_gain(cell, input.current_A, input.dt_s);
                const auto place =
                    resistance_place(cell.resistance, middle_soc, input.temperature_degC);
                step(cell, input, state, &j);
                const double middle_moved = middle_soc - x[soc_index(static_cast<int>(f))];
                const double moved = state.soc - x[soc_index(static_cast<int>(f))];
                const VoltagePoint<double, Branches, Transfer> v =
                    voltage_at(cell, state, interval.end_current_A, interval.temperature_degC);
                const double error_V = v.voltage_V - interval.voltage_V;
                const double weight = 1.0 / weighted_std_V(interval.overvoltage_V, settings_.noise);
                // Rows that do not count move the state and the derivatives all the same.
                double* jacobian = interval.unseen ? unseen_row.data() : data.add(error_V * weight);
                if (errors && !interval.unseen)
                    errors->push_back({error_V, interval.overvoltage_V, f, 0});
                const auto index = static_cast<int>((place.cold - cell.resistance.nodes) % nodes_);
                // The part of a value that one of the two SOC nodes around a place has.
                const auto side_part = [](const auto& at, int side, const auto& value) {
                    const double c = value(at.cold[side]);
                    const double w = value(at.warm[side]);
                    const double fraction = side == 0 ? 1 - at.soc_fraction : at.soc_fraction;
                    return fraction * (c + at.temperature_fraction * (w - c));
                };
                // Derivatives of a branch by the logarithms of its time constant at the knots over
                // one step: `kept` of them remains, `gain` is the branch's by the time constant.
                const auto add_time = [&](std::array<double, time_knots>& by, double kept,
                                          double gain, const auto& value) {
                    for (double& one : by)
                        one *= kept;
                    for (int side = 0; side < 2; ++side) {
                        const int node = index + side;
                        const TimePlace& at = time_places_[static_cast<std::size_t>(node)];
                        const double part = gain * side_part(place, side, value);
                        const auto first = static_cast<std::size_t>(at.knot);
                        by[first] += (1 - at.fraction) * part;
                        by[first + 1] += at.fraction * part;
                    }
                };
                double soc_slope = v.by_soc;
                double capacity_slope = -moved * v.by_soc;
                if constexpr (Transfer) {
                    const int i = Branches;
                    double* s = by_resistance.data() + i * nodes_;
                    const double kept = j.branch_by_branch[i];
                    for (int k = 0; k < nodes_; ++k)
                        s[k] *= kept;
                    const auto exchange_A = [](const auto& node) {
                        return node.transfer.exchange_current_A;
                    };
                    const double exchange = place.blend(exchange_A).value;
                    for (int side = 0; side < 2; ++side) {
                        s[index + side] -= j.transfer_by_log_exchange *
                                           side_part(place, side, exchange_A) / exchange;
                    }
                    const auto time_s = [](const auto& node) { return node.transfer.time_s; };
                    add_time(by_time[i], kept, j.transfer_by_log_time / place.blend(time_s).value,
                             time_s);
                    by_scale =
                        kept * by_scale + j.transfer_by_log_scale + j.transfer_by_log_exchange;
                    by_soc[i] = kept * by_soc[i] + j.branch_by_soc[i];
                    for (int k = 0; k < nodes_; ++k)
                        jacobian[transfer_index(k)] = s[k] * weight;
                    for (int k = 0; k < time_knots; ++k)
                        jacobian[time_index(i, k)] =
                            by_time[i][static_cast<std::size_t>(k)] * weight;
                    jacobian[scale_index()] = by_scale * weight;
                    soc_slope += by_soc[i];
                    by_capacity[i] = kept * by_capacity[i] - middle_moved * j.branch_by_soc[i];
                    capacity_slope += by_capacity[i];
                }
                for (int i = 0; i < Branches; ++i) {
                    const auto at = static_cast<std::size_t>(i);
                    double* s = by_resistance.data() + i * nodes_;
                    for (int k = 0; k < nodes_; ++k)
                        s[k] *= j.branch_by_branch[i];
                    const auto ohm = [i](const auto& node) { return node.branch_ohm[i]; };
                    const auto time_s = [i](const auto& node) { return node.branch_time_s[i]; };
                    for (int side = 0; side < 2; ++side)
                        s[index + side] += j.branch_by_resistance[i] * side_part(place, side, ohm);
                    add_time(by_time[at], j.branch_by_branch[i], j.branch_by_time[i], time_s);
                    by_soc[at] = j.branch_by_branch[i] * by_soc[at] + j.branch_by_soc[i];
                    for (int k = 0; k < nodes_; ++k)
                        jacobian[branch_index(i, k)] = s[k] * weight;
                    for (int k = 0; k < time_knots; ++k)
                        jacobian[time_index(i, k)] =
                            by_time[at][static_cast<std::size_t>(k)] * weight;
                    soc_slope += by_soc[at];
                    by_capacity[at] =
                        j.branch_by_branch[i] * by_capacity[at] - middle_moved * j.branch_by_soc[i];
                    capacity_slope += by_capacity[at];
                }
                const auto end =
                    resistance_place(cell.resistance, state.soc, interval.temperature_degC);
                const auto end_index =
                    static_cast<int>((end.cold - cell.resistance.nodes) % nodes_);
                const auto r0_ohm = [](const auto& node) { return node.r0_ohm; };
                for (int side = 0; side < 2; ++side) {
                    jacobian[r0_index(end_index + side)] +=
                        side_part(end, side, r0_ohm) * interval.end_current_A * weight;
                }
                jacobian[soc_index(static_cast<int>(f))] = soc_slope * weight;
                jacobian[capacity_index()] = capacity_slope * weight;
                const AxisPosition<double> at = locate(uniform_axis(0.0, 1.0, nodes_), state.soc);
                jacobian[ocv_index(at.index)] = (1 - at.fraction) * weight;
                jacobian[ocv_index(at.index + 1)] = at.fraction * weight;
                if (next_pulse == log.pulses.size()) continue;
                const Pulse& pulse = log.pulses[next_pulse];
                if (at_row == pulse.before) {
                    before_V = error_V;
                    for (std::size_t k = 0; k < before.size(); ++k)
                        before[k] = jacobian[k] / weight;
                } else if (at_row == pulse.end) {
                    const double std_V = drop_std_V(pulse, drop_share_std_, log.reading_std_V);
                    now.assign(jacobian, jacobian + now.size());  // the row may move
                    double* row = data.add((error_V - before_V) / std_V);
                    for (std::size_t k = 0; k < before.size(); ++k)
                        row[k] = (now[k] / weight - before[k]) / std_V;
                    ++next_pulse;
                }
            }
        }
        data.flush();
    }

    /// What is known without this test: resistances change smoothly over SOC (with a warmer test:
    /// their ratio to it does), and every parameter lies somewhere near its start.
    /// \param common_level the OCV may be off by its spread at all nodes together; false: at each
    /// node by itself, which holds it closer. The fit is better held, its spread is the wider one.
    void add_prior(const Eigen::VectorXd& x, detail::NormalEquations& prior,
                   bool common_level = false) const {
        prior.clear();
        // Near empty and near full the resistances turn upward within a few percent of SOC; the
        // ohmic one hardly does.
        const auto weight_at = [&](int quantity, double node) {
            const double soc = node / (nodes_ - 1);
            const bool turns = quantity > 0 && (soc < 0.22 || soc > 0.9);
            const double middle = warmer_ ? settings_.ratio_smoothness : settings_.smoothness;
            return 1.0 / (turns ? settings_.smoothness_ends : middle);
        };
        const auto warm_log = [&](int quantity, int k) {
            const auto at = static_cast<std::size_t>(k);
            return std::log(
                quantity == 0 ? warmer_->r0_ohm[at]
                : quantity > Branches
                    ? warmer_->charge_transfer->resistance_ohm[at]
                    : warmer_->branches[static_cast<std::size_t>(quantity - 1)].resistance_ohm[at]);
        };
        for (int q = 0; q < quantities; ++q) {
            const int first = node_index(q, 0);
            for (int k = warmer_ ? 0 : 1; k + 1 < nodes_; ++k) {
                const double weight = weight_at(q, warmer_ ? k + 0.5 : k);
                if (warmer_) {
                    double* row = prior.add(weight * ((x[first + k + 1] - warm_log(q, k + 1)) -
                                                      (x[first + k] - warm_log(q, k))));
                    row[first + k + 1] = weight;
                    row[first + k] = -weight;
                } else {
                    add_bend(x, first + k, weight, prior);
                }
            }
        }
        for (int k = 1; k + 1 < nodes_; ++k)
            add_bend(x, ocv_index(k), 1.0 / (0.3 * start_std_[ocv_index(k)]), prior);
        for (int i = 0; i < times; ++i) {
            const double weight =
                1 / (is_slow(i) ? settings_.slow_time_log_std : settings_.time_step_log_std);
            for (int k = 0; k + 1 < time_knots; ++k) {
                const int at = time_index(i, k);
                double* row =
                    prior.add(weight * ((x[at + 1] - start_[at + 1]) - (x[at] - start_[at])));
                row[at + 1] = weight;
                row[at] = -weight;
            }
        }
        const double share = common_level ? std::sqrt(static_cast<double>(nodes_)) : 1.0;
        for (int p = 0; p < inputs(); ++p) {
            const bool ocv = p >= ocv_index(0) && p < ocv_index(nodes_);
            const double weight = 1 / (start_std_[p] * (ocv ? share : 1.0));
            prior.add((x[p] - start_[p]) * weight)[p] = weight;
        }
        prior.flush();
    }

  private:
    /// A second difference that should be nothing.
    static void add_bend(const Eigen::VectorXd& x, int at, double weight,
                         detail::NormalEquations& rows) {
        double* row = rows.add(weight * (x[at - 1] - 2 * x[at] + x[at + 1]));
        row[at - 1] = weight;
        row[at] = -2 * weight;
        row[at + 1] = weight;
    }

    std::vector<PulseLog> logs_;
    const Cell& base_;
    const PulseFit* warmer_;
    PulseFitSettings settings_;
    double drop_share_std_;
    double temperature_degC_;
    int nodes_;
    int data_rows_{0};
    UniformAxis<double> axis_{};
    std::vector<OcvNode<double>> ocv_nodes_;
    std::vector<TimePlace> time_places_;  ///< Of every SOC node.
    std::vector<double> factors_;
    mutable std::vector<ResistanceNode<double, Branches, Transfer>> table_;
    mutable std::vector<OcvNode<double>> shifted_ocv_;
    Eigen::VectorXd start_;
    Eigen::VectorXd start_std_;
};

/// Usual time constants to start from: fast charge transfer, diffusion in the electrodes, slow
/// redistribution.
std::vector<double> usual_times_s(int branches) {
    switch (branches) {
        case 1:
            return {40};
        case 2:
            return {10, 1500};
        case 3:
            return {2, 40, 2400};
        default:
            return {0.7, 7, 70, 2400};
    }
}

constexpr double usual_transfer_time_s = 0.5;
constexpr double usual_transfer_scale_V = 0.06;

/// Scale of the charge transfer from the drops of pulses of several rates at one SOC alone.
struct ScaleFromDrops {
    double log_scale{0};
    double log_std{0};
    int sets{0};  ///< Places with enough rates; 0: nothing is told.
};

/// Fits R I + s asinh(I / I0) to the drops at every place, with one s for all of them. Along a
/// pulse the model's own errors (depletion, which grows with the current, against saturation) look
/// like another s than what the drops at its end say, and it is those that a higher rate goes on
/// from.
/// \param usual_log_std how far s may lie from the usual one
ScaleFromDrops scale_from_drops(const std::vector<PulseLog>& logs, double capacity_Ah,
                                double usual_log_std) {
    constexpr double least_soc = 0.2;  // depletion bends the drops below
    constexpr double widest_soc = 0.04;
    constexpr double share_std = 0.005;
    constexpr double value_log_std = 1.5;
    std::vector<std::vector<Pulse>> sets;
    double reading_std_V = 0;
    for (const PulseLog& log : logs) {
        reading_std_V = std::max(reading_std_V, log.reading_std_V);
        std::vector<Pulse> set;
        const auto close = [&] {
            const auto slower = [](const Pulse& a, const Pulse& b) {
                return std::abs(a.current_A) < std::abs(b.current_A);
            };
            std::sort(set.begin(), set.end(), slower);
            int rates = set.empty() ? 0 : 1;
            for (std::size_t k = 1; k < set.size(); ++k)
                rates += std::abs(set[k].current_A) > 1.3 * std::abs(set[k - 1].current_A) ? 1 : 0;
            if (rates >= 3) sets.push_back(set);
            set.clear();
        };
        for (const Pulse& pulse : log.pulses) {
            if (pulse.soc < least_soc) continue;
            if (!set.empty() && (std::abs(pulse.soc - set.front().soc) > widest_soc ||
                                 pulse.current_A * set.front().current_A < 0 ||
                                 std::abs(pulse.time_s / set.front().time_s - 1) > 0.2))
                close();
            set.push_back(pulse);
        }
        close();
    }
    ScaleFromDrops told;
    told.sets = static_cast<int>(sets.size());
    if (sets.empty()) return told;
    Eigen::Index values = 1;
    for (const auto& set : sets)
        values += static_cast<Eigen::Index>(set.size()) + 2;
    const auto count = static_cast<Eigen::Index>(sets.size());
    // ln s, then ln R and ln I0 of every set.
    Eigen::VectorXd start(1 + 2 * count);
    start[0] = std::log(usual_transfer_scale_V);
    for (Eigen::Index k = 0; k < count; ++k) {
        const Pulse& fastest = sets[static_cast<std::size_t>(k)].back();
        start[1 + 2 * k] = std::log(0.7 * fastest.drop_V / fastest.current_A);
        start[2 + 2 * k] = std::log(capacity_Ah);
    }
    const auto residuals = [&](const Eigen::VectorXd& x, Eigen::VectorXd& out, int /*moved*/) {
        out.resize(values);
        Eigen::Index row = 0;
        out[row++] = (x[0] - start[0]) / usual_log_std;
        const double scale_V = std::exp(x[0]);
        for (Eigen::Index k = 0; k < count; ++k) {
            for (const Pulse& pulse : sets[static_cast<std::size_t>(k)]) {
                const double size_A = std::abs(pulse.current_A);
                const double law_V = std::exp(x[1 + 2 * k]) * size_A +
                                     scale_V * std::asinh(size_A / std::exp(x[2 + 2 * k]));
                out[row++] =
                    (law_V - std::abs(pulse.drop_V)) / drop_std_V(pulse, share_std, reading_std_V);
            }
            for (const Eigen::Index p : {1 + 2 * k, 2 + 2 * k})
                out[row++] = (x[p] - start[p]) / value_log_std;
        }
    };
    Eigen::VectorXd x = start;
    const detail::DifferencedLeastSquares problem(Eigen::VectorXd::Constant(x.size(), 1e-5), values,
                                                  residuals, {});
    (void)detail::minimize(problem, x, {1e-9, 1e-8});
    Eigen::MatrixXd jacobian(values, x.size());
    if (!x.allFinite() || problem.df(x, jacobian) != 0) return {};
    const Eigen::MatrixXd covariance = detail::covariance_of(jacobian);
    told.log_scale = x[0];
    told.log_std = std::sqrt(covariance(0, 0));
    return told;
}

/// Median of voltage step over current step at the edges of the pulses.
double edge_resistance_ohm(const std::vector<const Log*>& logs, double capacity_Ah, int& edges) {
    std::vector<double> found;
    for (const Log* log : logs) {
        for (std::size_t k = 1; k < log->size(); ++k) {
            const double step_A = log->current_A[k] - log->current_A[k - 1];
            if (std::abs(step_A) < 0.3 * capacity_Ah || log->time_s[k] - log->time_s[k - 1] > 2.0)
                continue;
            found.push_back((log->voltage_V[k] - log->voltage_V[k - 1]) / step_A);
        }
    }
    edges = static_cast<int>(found.size());
    if (found.empty()) return 0;
    return quantile(std::move(found), 0.5);
}

/// Longest stretch without current.
double longest_rest_s(const std::vector<const Log*>& logs, double capacity_Ah) {
    double longest_s = 0;
    for (const Log* log : logs) {
        double rest_s = 0;
        for (std::size_t k = 1; k < log->size(); ++k) {
            const bool at_rest = std::abs(log->current_A[k]) < 0.005 * capacity_Ah;
            rest_s = at_rest ? rest_s + log->time_s[k] - log->time_s[k - 1] : 0;
            longest_s = std::max(longest_s, rest_s);
        }
    }
    return longest_s;
}

std::string percent(double share) {
    return number_text(100 * share, "%.0f") + " %";
}

/// SOC ranges in words, from the nodes that have a property: "0 .. 10 % and 95 .. 100 % SOC". Nodes
/// that stand alone are passed over; empty when no range is left.
std::string soc_ranges(const std::vector<bool>& at, const std::vector<double>& soc) {
    std::string text;
    for (std::size_t k = 0; k < at.size(); ++k) {
        if (!at[k]) continue;
        const std::size_t first = k;
        while (k + 1 < at.size() && at[k + 1])
            ++k;
        if (k == first) continue;
        text += (text.empty() ? "" : " and ") + number_text(100 * soc[first], "%.0f") + " .. " +
                percent(soc[k]);
    }
    return text.empty() ? text : text + " SOC";
}

/// Whether all pulses have one size of current, in either direction.
bool one_rate(const std::vector<PulseLog>& logs) {
    double least_A = std::numeric_limits<double>::infinity();
    double most_A = 0;
    for (const PulseLog& log : logs) {
        for (const Pulse& pulse : log.pulses) {
            least_A = std::min(least_A, std::abs(pulse.current_A));
            most_A = std::max(most_A, std::abs(pulse.current_A));
        }
    }
    return most_A < 1.3 * least_A;
}

/// What the tests leave open, and what would tell: parameters that trade for each other, values
/// that the data hardly touched.
/// \param single_rate the pulses have one size of current
template <class Problem>
std::vector<std::string> findings_of(const Problem& problem, const Eigen::MatrixXd& covariance,
                                     const PulseFit& fit, double rest_s, bool single_rate) {
    std::vector<std::string> findings;
    const std::string where = number_text(fit.temperature_degC, "%.0f") + " degC: ";
    const auto correlation = [&](int a, int b) {
        return covariance(a, b) / std::sqrt(covariance(a, a) * covariance(b, b));
    };
    const auto tested = [&](std::size_t k) {
        return fit.soc[k] >= fit.soc_low - 0.01 && fit.soc[k] <= fit.soc_high + 0.01;
    };
    const int branches = static_cast<int>(fit.branches.size());
    const bool transfer = fit.charge_transfer.has_value();
    const auto name = [&](int quantity) {
        if (quantity == 0) return std::string("R0");
        if (quantity > branches) return std::string("the charge-transfer resistance");
        return "R" + std::to_string(quantity);
    };
    constexpr double alike = 0.9;
    const auto look = [&](const std::string& what, const auto& pair, const std::string& cure,
                          bool anyway = false) {
        std::vector<bool> at(fit.soc.size(), false);
        for (std::size_t k = 0; k < at.size(); ++k) {
            const auto [a, b] = pair(static_cast<int>(k));
            at[k] = tested(k) && (anyway || std::abs(correlation(a, b)) > alike);
        }
        const std::string ranges = soc_ranges(at, fit.soc);
        if (!ranges.empty())
            findings.push_back(where + what + " cannot be told apart at " + ranges + ": " + cure);
    };
    const std::string sample_faster = "log the first seconds of a pulse in steps of 0.1 s or less";
    const std::string rest_longer = "rest longer after the pulses there";
    for (int q = 0; q + 1 <= branches; ++q) {
        const int next = q == 0 && transfer ? 1 + branches : q + 1;
        look(
            name(q) + " and " + name(next),
            [&](int k) {
                return std::pair{problem.node_index(q, k), problem.node_index(next, k)};
            },
            q == 0 ? sample_faster : rest_longer);
        if (q == 0 && transfer && branches > 0) {
            look(
                name(next) + " and " + name(1),
                [&](int k) {
                    return std::pair{problem.node_index(next, k), problem.node_index(1, k)};
                },
                sample_faster);
        }
    }
    for (int i = 0; i < branches; ++i) {
        look(
            name(1 + i) + " and its time constant",
            [&](int k) {
                return std::pair{problem.branch_index(i, k),
                                 problem.time_index(i, problem.nearest_time_knot(k))};
            },
            rest_longer);
    }
    if constexpr (Problem::scales > 0) {
        look(
            name(1 + branches) + " and its scale",
            [&](int k) {
                return std::pair{problem.transfer_index(k), problem.scale_index()};
            },
            "pulse at more rates, the highest as high as the cell may",
            // The bend of a law is in no single drop, whatever the fit has come to.
            single_rate);
    }
    constexpr double hardly = 0.5;
    for (int q = 0; q < Problem::quantities; ++q) {
        std::vector<bool> at(fit.soc.size(), false);
        for (std::size_t k = 0; k < at.size(); ++k) {
            const int p = problem.node_index(q, static_cast<int>(k));
            at[k] = tested(k) && std::sqrt(covariance(p, p)) > hardly;
        }
        const std::string ranges = soc_ranges(at, fit.soc);
        if (ranges.empty()) continue;
        std::string& finding = findings.emplace_back(where + name(q));
        finding += " is known to a factor of " + number_text(std::exp(hardly), "%.1f");
        finding += " at best at " + ranges + ": pulse there too";
    }
    const std::vector<double>& slow_times_s = fit.branches.back().time_s;
    const double slow_s = slow_times_s[slow_times_s.size() / 2];
    if (branches > 1 && rest_s < slow_s)
        findings.push_back(where + "the slow branch (" + number_text(slow_s / 3600, "%.1f") +
                           " h) rests on usual values, the longest rest lasts " +
                           number_text(rest_s / 3600, "%.1f") +
                           " h: one rest of a night tells its size");
    if (fit.soc_low > 0.1)
        findings.push_back(where + "the tests end at " + percent(fit.soc_low) +
                           " SOC, resistances below follow the warmer test or a straight line: go "
                           "on to empty");
    return findings;
}

/// Logarithm of a time constant at a knot, from its values at evenly spaced SOC nodes.
double log_time_at_knot(const std::vector<double>& time_s, int knot) {
    const AxisPosition<double> at = locate(uniform_axis(0.0, 1.0, static_cast<int>(time_s.size())),
                                           time_knots_soc[static_cast<std::size_t>(knot)]);
    const auto node = static_cast<std::size_t>(at.index);
    return (1 - at.fraction) * std::log(time_s[node]) + at.fraction * std::log(time_s[node + 1]);
}

/// Where a fit of the same logs ended, as inputs of the problem.
/// \param usual gives the size
template <class Problem>
Eigen::VectorXd start_of(const Problem& problem, const PulseFit& fit, double capacity_Ah,
                         const Eigen::VectorXd& usual) {
    Eigen::VectorXd x = usual;
    const int branches = static_cast<int>(fit.branches.size());
    for (std::size_t k = 0; k < fit.soc.size(); ++k) {
        const int node = static_cast<int>(k);
        x[problem.r0_index(node)] = std::log(fit.r0_ohm[k]);
        x[problem.ocv_index(node)] = fit.ocv_shift_V[k];
        for (int i = 0; i < branches; ++i) {
            x[problem.branch_index(i, node)] =
                std::log(fit.branches[static_cast<std::size_t>(i)].resistance_ohm[k]);
        }
        if constexpr (Problem::scales > 0)
            x[problem.transfer_index(node)] = std::log(fit.charge_transfer->resistance_ohm[k]);
    }
    for (int k = 0; k < time_knots; ++k) {
        for (int i = 0; i < branches; ++i) {
            x[problem.time_index(i, k)] =
                log_time_at_knot(fit.branches[static_cast<std::size_t>(i)].time_s, k);
        }
        if constexpr (Problem::scales > 0)
            x[problem.time_index(branches, k)] = log_time_at_knot(fit.charge_transfer->time_s, k);
    }
    if constexpr (Problem::scales > 0)
        x[problem.scale_index()] = std::log(fit.charge_transfer->scale_V);
    for (std::size_t f = 0; f < fit.initial_soc.size(); ++f)
        x[problem.soc_index(static_cast<int>(f))] = fit.initial_soc[f];
    x[problem.capacity_index()] = std::log(fit.capacity_Ah / capacity_Ah);
    return x;
}

template <int Branches, bool Transfer>
PulseFit fit_with(const std::vector<const Log*>& logs, const Cell& base, const PulseFit* warmer,
                  const PulseFitSettings& settings, const std::function<bool()>& keep_going,
                  const PulseFit* before) {
    std::vector<double> temperatures;
    for (const Log* log : logs)
        temperatures.insert(temperatures.end(), log->temperature_degC.begin(),
                            log->temperature_degC.end());
    const double temperature_degC = quantile(std::move(temperatures), 0.5);

    int edges = 0;
    const double edge_ohm = edge_resistance_ohm(logs, base.capacity_Ah, edges);
    if (edges < 4) {
        throw Error(logs.front()->source + ": " + std::to_string(edges) +
                    " current steps of at least 0.3 C with rows at most 2 s apart; a pulse test "
                    "needs at least 4");
    }
    if (!(edge_ohm > 0)) {
        throw Error(logs.front()->source + ": the voltage falls when the current rises (" +
                    number_text(edge_ohm) +
                    " ohm at the edges). Current must be positive when charging; if this file has "
                    "the other sign, say so with the sign option");
    }

    std::vector<PulseLog> prepared;
    PulseFit fit;
    fit.temperature_degC = temperature_degC;
    const std::vector<OcvNode<double>> nodes = ocv_nodes<double>(base.ocv);
    const OcvTable<double> ocv{nodes.data(), static_cast<int>(nodes.size()),
                               base.ocv.reference_temperature_degC};
    for (const Log* log : logs) {
        PulseLog one;
        one.intervals = intervals_of(*log, base.capacity_Ah);
        one.reading_std_V = reading_std_V(*log, base.capacity_Ah);
        one.first_voltage_V = log->voltage_V.front();
        if (std::abs(log->current_A.front()) > 0.02 * base.capacity_Ah) {
            throw Error(
                log->source + ": starts under a current of " + number_text(log->current_A.front()) +
                " A; a pulse test must start at rest, so that its first voltage tells the SOC");
        }
        if (soc_from_ocv(ocv, one.first_voltage_V, temperature_degC, 0.0, one.initial_soc) ==
            Status::sample_not_finite) {
            throw Error(log->source + ": the first voltage is not a finite number");
        }
        // Just below full the rested voltage depends on history and temperature more than on SOC:
        // such a test is one that was charged full first, as pulse tests are.
        if (one.initial_soc > settings.full_above_soc) {
            one.initial_soc = 1;
            one.initial_soc_std = settings.full_soc_std;
            one.starts_full = true;
        } else {
            one.initial_soc_std = settings.initial_soc_std;
        }
        double soc = one.initial_soc;
        bool unseen = false;
        for (Interval& interval : one.intervals) {
            soc += interval.mean_current_A * interval.dt_s /
                   (seconds_per_hour<double> * base.capacity_Ah);
            const double over_V = interval.voltage_V - ocv_at(ocv, soc, temperature_degC).mean_V;
            interval.overvoltage_V = over_V;
            const double highest_A = settings.highest_rate_per_h * base.capacity_Ah;
            if (std::abs(interval.end_current_A) > highest_A) {
                unseen = true;
            } else if (interval.edge) {
                unseen = false;
            }
            interval.unseen = unseen;
            fit.soc_low = std::min(fit.soc_low, soc);
            fit.soc_high = std::max(fit.soc_high, soc);
            if (unseen) continue;
            fit.largest_discharge_A = std::max(fit.largest_discharge_A, -interval.end_current_A);
            fit.largest_charge_A = std::max(fit.largest_charge_A, interval.end_current_A);
        }
        one.pulses = pulses_of(one.intervals, one.initial_soc, base.capacity_Ah);
        prepared.push_back(std::move(one));
    }

    constexpr double held_scale_log_std = 0.02;
    const bool single_rate = one_rate(prepared);
    ScaleFromDrops scale;
    if (Transfer)
        scale = scale_from_drops(prepared, base.capacity_Ah, settings.transfer_scale_log_std);

    using Problem = PulseProblem<Branches, Transfer>;
    Problem problem(std::move(prepared), base, warmer, settings, temperature_degC);
    // Priors hold what the nodes in between lack, so more nodes than rows are no fault in
    // themselves; ten places over SOC is what a test has to tell.
    constexpr int places = 10;
    const int least = places * (Problem::quantities + 1);
    if (problem.data_rows() < least) {
        throw Error(logs.front()->source + ": " + std::to_string(problem.data_rows()) +
                    " rows left after thinning, fewer than the " + std::to_string(least) +
                    " that this form of the model needs; the pulse test is too short");
    }
    Eigen::VectorXd x(problem.inputs());
    Eigen::VectorXd start_std(problem.inputs());
    // Start: the warmer test carried to this temperature by the usual activation energies, or usual
    // values.
    const std::vector<double> times_s = usual_times_s(Branches);
    const double colder_inverse_K = warmer ? 1 / (temperature_degC + zero_celsius_K<double>)-1 /
                                                 (warmer->temperature_degC + zero_celsius_K<double>)
                                           : 0.0;
    const auto carried = [&](double activation_J_per_mol) {
        return activation_J_per_mol / gas_constant_J_per_mol_K<double> * colder_inverse_K;
    };
    const auto start_times = [&](int i, const std::vector<double>* warmer_s, double usual_s,
                                 double log_more, double log_std) {
        for (int k = 0; k < time_knots; ++k) {
            x[problem.time_index(i, k)] =
                (warmer_s ? log_time_at_knot(*warmer_s, k) : std::log(usual_s)) + log_more;
            // The others hang on the middle one, see add_prior.
            constexpr double open_log_std = 1e6;
            start_std[problem.time_index(i, k)] = k == middle_time_knot ? log_std : open_log_std;
        }
    };
    for (int i = 0; i < Branches; ++i) {
        const bool slow = Problem::is_slow(i);
        const auto* from = warmer ? &warmer->branches[static_cast<std::size_t>(i)] : nullptr;
        // A slow branch and a change of the OCV look alike: rests of an hour hold its time and size
        // only loosely.
        start_times(i, from ? &from->time_s : nullptr, times_s[static_cast<std::size_t>(i)],
                    slow ? carried(usual_slow_time_activation_J_per_mol) : 0.0,
                    slow ? settings.slow_time_log_std : settings.time_log_std);
        for (int k = 0; k < settings.soc_nodes; ++k) {
            const double share = slow ? 0.4 : 0.5;
            x[problem.branch_index(i, k)] =
                from ? std::log(from->resistance_ohm[static_cast<std::size_t>(k)]) +
                           carried(usual_activation_J_per_mol(false))
                     : std::log(share * edge_ohm);
            start_std[problem.branch_index(i, k)] = slow ? settings.slow_log_std : 2.0;
        }
    }
    if constexpr (Transfer) {
        const ChargeTransferFit* from = warmer ? &*warmer->charge_transfer : nullptr;
        for (int k = 0; k < settings.soc_nodes; ++k) {
            x[problem.transfer_index(k)] =
                from ? std::log(from->resistance_ohm[static_cast<std::size_t>(k)]) +
                           carried(usual_activation_J_per_mol(false))
                     : std::log(0.5 * edge_ohm);
            start_std[problem.transfer_index(k)] = 2.0;
        }
        start_times(Branches, from ? &from->time_s : nullptr, usual_transfer_time_s, 0.0,
                    settings.transfer_time_log_std);
        x[problem.scale_index()] = std::log(from ? from->scale_V : usual_transfer_scale_V);
        start_std[problem.scale_index()] = settings.transfer_scale_log_std;
        if (scale.sets > 0) {
            x[problem.scale_index()] = scale.log_scale;
            start_std[problem.scale_index()] = held_scale_log_std;
        }
    }
    for (int k = 0; k < settings.soc_nodes; ++k) {
        // Where the curve is steep, a small difference of SOC between the tests is a large one of
        // voltage.
        const double soc = static_cast<double>(k) / (settings.soc_nodes - 1);
        x[problem.ocv_index(k)] = 0;
        start_std[problem.ocv_index(k)] =
            std::hypot(settings.ocv_std_V,
                       settings.ocv_soc_std *
                           ocv_at(ocv, std::min(soc + 0.01, 1.0), temperature_degC).slope_V);
        x[problem.r0_index(k)] = warmer ? std::log(warmer->r0_ohm[static_cast<std::size_t>(k)]) +
                                              carried(usual_activation_J_per_mol(true))
                                        : std::log(edge_ohm);
        start_std[problem.r0_index(k)] = 1.5;
    }
    for (std::size_t f = 0; f < logs.size(); ++f) {
        x[problem.soc_index(static_cast<int>(f))] = problem.logs()[f].initial_soc;
        start_std[problem.soc_index(static_cast<int>(f))] = problem.logs()[f].initial_soc_std;
    }
    x[problem.capacity_index()] = 0;
    start_std[problem.capacity_index()] =
        std::max(base.capacity_Ah_std / base.capacity_Ah, settings.least_capacity_std);
    problem.set_start(x, start_std);

    // Valleys lie side by side: several starts, and the lowest end counts.
    std::vector<Eigen::VectorXd> starts{x};
    if (before) {
        starts.push_back(start_of(problem, *before, base.capacity_Ah, x));
    } else if (!warmer) {
        // Nothing to start from but what is usual: faster and slower, too.
        for (const double factor : {1.0 / 3.0, 3.0}) {
            Eigen::VectorXd& other = starts.emplace_back(x);
            for (int i = 0; i < Problem::times; ++i) {
                for (int k = 0; !Problem::is_slow(i) && k < time_knots; ++k)
                    other[problem.time_index(i, k)] += std::log(factor);
            }
        }
    }

    detail::NormalEquations data(problem.inputs());
    detail::NormalEquations prior(problem.inputs());
    std::vector<RowError> errors;
    for (int round = 0; round < settings.noise_rounds; ++round) {
        const auto sums = [&](const Eigen::VectorXd& at, Eigen::MatrixXd& square,
                              Eigen::VectorXd& gradient) {
            problem.run(at, data);
            problem.add_prior(at, prior);
            square = data.square() + prior.square();
            gradient = data.gradient() + prior.gradient();
            return data.cost() + prior.cost();
        };
        const detail::PackedLeastSquares packed(problem.inputs(), sums);
        const auto go_on = [&](int iterations) {
            if (iterations > 0 && iterations >= settings.max_iterations) return false;
            if (keep_going && !keep_going()) throw Error("cancelled");
            return true;
        };
        double lowest = std::numeric_limits<double>::infinity();
        for (Eigen::VectorXd& end : starts) {
            const detail::Minimum minimum = detail::minimize(packed, end, {1e-7, 1e-6}, go_on);
            if (!minimum.started)
                throw Error(logs.front()->source + ": the pulse fit cannot start");
            fit.iterations += minimum.jacobians;
            problem.run(end, data);
            problem.add_prior(end, prior);
            const double cost = data.cost() + prior.cost();
            if (starts.size() > 1 && !(cost < lowest)) continue;
            lowest = cost;
            x = end;
        }
        starts = {x};
        errors.clear();
        problem.run(x, data, &errors);
        fit.noise = noise_of(errors);
        problem.set_noise(fit.noise);
    }
    problem.run(x, data);
    problem.add_prior(x, prior, true);
    const Eigen::MatrixXd normal =
        Eigen::MatrixXd((data.square() + prior.square()).selfadjointView<Eigen::Lower>());
    Eigen::MatrixXd covariance = detail::inverse_of_normal(normal);
    const Eigen::MatrixXd told =
        Eigen::MatrixXd(data.square().selfadjointView<Eigen::Lower>()) * covariance;
    fit.effective_parameters = told.trace();
    if constexpr (Transfer) {
        // The scale is held where the drops put it; what they leave open moves all that goes with
        // it.
        const Eigen::VectorXd by_scale = covariance.col(problem.scale_index()) /
                                         covariance(problem.scale_index(), problem.scale_index());
        if (scale.sets > 0)
            covariance += scale.log_std * scale.log_std * by_scale * by_scale.transpose();
    }
    const auto log_std = [&](int p) { return std::sqrt(std::max(0.0, covariance(p, p))); };

    fit.capacity_Ah = base.capacity_Ah * std::exp(x[problem.capacity_index()]);
    fit.capacity_Ah_std = fit.capacity_Ah * log_std(problem.capacity_index());
    fit.branches.resize(Branches);
    for (int k = 0; k < settings.soc_nodes; ++k) {
        fit.soc.push_back(static_cast<double>(k) / (settings.soc_nodes - 1));
        fit.r0_ohm.push_back(std::exp(x[problem.r0_index(k)]));
        fit.r0_log_std.push_back(log_std(problem.r0_index(k)));
        fit.ocv_shift_V.push_back(x[problem.ocv_index(k)]);
        fit.ocv_shift_std_V.push_back(log_std(problem.ocv_index(k)));
        for (int i = 0; i < Branches; ++i) {
            auto& branch = fit.branches[static_cast<std::size_t>(i)];
            branch.resistance_ohm.push_back(std::exp(x[problem.branch_index(i, k)]));
            branch.resistance_log_std.push_back(log_std(problem.branch_index(i, k)));
            branch.time_s.push_back(problem.time_s(x, i, k));
            branch.time_log_std.push_back(problem.time_log_std(covariance, i, k));
        }
    }
    if constexpr (Transfer) {
        ChargeTransferFit& transfer = fit.charge_transfer.emplace();
        for (int k = 0; k < settings.soc_nodes; ++k) {
            transfer.resistance_ohm.push_back(std::exp(x[problem.transfer_index(k)]));
            transfer.resistance_log_std.push_back(log_std(problem.transfer_index(k)));
            transfer.time_s.push_back(problem.time_s(x, Branches, k));
            transfer.time_log_std.push_back(problem.time_log_std(covariance, Branches, k));
        }
        transfer.scale_V = std::exp(x[problem.scale_index()]);
        transfer.scale_log_std = log_std(problem.scale_index());
    }
    for (std::size_t f = 0; f < logs.size(); ++f) {
        fit.initial_soc.push_back(x[problem.soc_index(static_cast<int>(f))]);
        fit.initial_soc_std.push_back(log_std(problem.soc_index(static_cast<int>(f))));
        fit.starts_full = fit.starts_full || problem.logs()[f].starts_full;
        double sum = 0;
        std::size_t rows = 0;
        for (const RowError& e : errors) {
            if (e.log != f) continue;
            sum += e.error_V * e.error_V;
            ++rows;
        }
        fit.residual_rms_V.push_back(
            std::sqrt(sum / std::max<double>(1, static_cast<double>(rows))));
        fit.log_rows_used.push_back(rows);
    }
    fit.rows_used = errors.size();
    for (const RowError& e : errors) {
        const double std_V = noise_std_V(e.overvoltage_V, fit.noise);
        fit.deviance += std::log(2 * pi * std_V * std_V) + e.error_V * e.error_V / (std_V * std_V);
    }
    fit.findings =
        findings_of(problem, covariance, fit, longest_rest_s(logs, base.capacity_Ah), single_rate);
    return fit;
}

}  // namespace

PulseFit fit_pulses(const std::vector<const Log*>& logs, const Cell& base, const PulseFit* warmer,
                    const PulseFitSettings& settings, const std::function<bool()>& keep_going,
                    const PulseFit* before) {
    if (logs.empty()) throw Error("a pulse fit needs at least one log");
    if (settings.soc_nodes < 3 || settings.soc_nodes > 201) {
        throw Error("soc_nodes: " + std::to_string(settings.soc_nodes) + " is outside 3 .. 201");
    }
    struct Positive {
        const char* field;
        double value;
    };
    for (const Positive& p :
         {Positive{"noise.voltage_std_V", settings.noise.voltage_std_V},
          {"noise.rows_per_independent_row", settings.noise.rows_per_independent_row},
          {"highest_rate_per_h", settings.highest_rate_per_h},
          {"smoothness", settings.smoothness},
          {"ratio_smoothness", settings.ratio_smoothness},
          {"smoothness_ends", settings.smoothness_ends},
          {"time_log_std", settings.time_log_std},
          {"slow_time_log_std", settings.slow_time_log_std},
          {"slow_log_std", settings.slow_log_std},
          {"time_step_log_std", settings.time_step_log_std},
          {"transfer_time_log_std", settings.transfer_time_log_std},
          {"transfer_scale_log_std", settings.transfer_scale_log_std},
          {"ocv_std_V", settings.ocv_std_V},
          {"initial_soc_std", settings.initial_soc_std},
          {"least_capacity_std", settings.least_capacity_std},
          {"full_soc_std", settings.full_soc_std},
          {"capacity_Ah", base.capacity_Ah}}) {
        if (!(p.value > 0) || !std::isfinite(p.value)) {
            throw Error(std::string(p.field) + ": " + number_text(p.value) + " must be above 0");
        }
    }
    const double share_std = drop_share_std(settings);
    if (!(share_std >= 0) || !std::isfinite(share_std)) {
        throw Error("drop_share_std: " + number_text(share_std) + " must be 0 or above");
    }
    for (const Log* log : logs) {
        check_log(*log);
        if (log->size() < 20) throw Error(log->source + ": a pulse test needs at least 20 rows");
    }
    if (settings.branches < 1 || settings.branches > 4) {
        throw Error("branches: " + std::to_string(settings.branches) + " is outside 1 .. 4");
    }
    if (before && before->initial_soc.size() != logs.size()) {
        throw Error("the earlier fit has " + std::to_string(before->initial_soc.size()) +
                    " logs, this one " + std::to_string(logs.size()));
    }
    const auto check_form = [&](const char* what, const PulseFit* other) {
        if (other == nullptr ||
            (other->soc.size() == static_cast<std::size_t>(settings.soc_nodes) &&
             other->branches.size() == static_cast<std::size_t>(settings.branches) &&
             other->charge_transfer.has_value() == settings.charge_transfer)) {
            return;
        }
        const auto form = [](std::size_t nodes, std::size_t branches, bool transfer) {
            return std::to_string(nodes) + " SOC nodes, " + std::to_string(branches) +
                   " branches and " + (transfer ? "a" : "no") + " charge transfer";
        };
        throw Error(
            "the " + std::string(what) + " fit has " +
            form(other->soc.size(), other->branches.size(), other->charge_transfer.has_value()) +
            ", the settings ask for " +
            form(static_cast<std::size_t>(settings.soc_nodes),
                 static_cast<std::size_t>(settings.branches), settings.charge_transfer));
    };
    check_form("warmer", warmer);
    check_form("earlier", before);
    return with_form(static_cast<std::size_t>(settings.branches), settings.charge_transfer,
                     [&](auto form) {
                         return fit_with<decltype(form)::branches, decltype(form)::transfer>(
                             logs, base, warmer, settings, keep_going, before);
                     });
}

}  // namespace voltkeel
