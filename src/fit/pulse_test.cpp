#include "voltkeel/fit/pulse_test.hpp"

#include <Eigen/Cholesky>
#include <Eigen/Core>
#include <algorithm>
#include <array>
#include <cmath>
#include <unsupported/Eigen/NonLinearOptimization>

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
    double residual_std_V{0};
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
                                 log.temperature_degC[k], 0});
            next_keep_s = std::max(since_edge_s * growth, since_edge_s + 0.05);
            dt_s = 0;
            charge_As = 0;
        }
    }
    return intervals;
}

struct PulseLog {
    std::vector<Interval> intervals;
    double first_voltage_V{0};
    double initial_soc{1};
    double initial_soc_std{0.01};
};

double default_activation_J_per_mol(bool ohmic) {
    return ohmic ? 15e3 : 45e3;
}
constexpr double slow_time_activation_J_per_mol = 25e3;

template <int Branches>
class PulseProblem {
  public:
    // Interface that Eigen's Levenberg-Marquardt asks for.
    using Scalar = double;
    enum { InputsAtCompileTime = Eigen::Dynamic, ValuesAtCompileTime = Eigen::Dynamic };
    using InputType = Eigen::VectorXd;
    using ValueType = Eigen::VectorXd;
    using JacobianType = Eigen::MatrixXd;

    PulseProblem(std::vector<PulseLog> logs, const Cell& base, const PulseFit* warmer,
                 const PulseFitSettings& settings, double temperature_degC)
        : logs_(std::move(logs)),
          base_(base),
          warmer_(warmer),
          settings_(settings),
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
        build_temperature_factors();
    }

    [[nodiscard]] int inputs() const {
        return nodes_ * (2 + Branches) + Branches + static_cast<int>(logs_.size());
    }
    [[nodiscard]] int values() const {
        return data_rows_ + (nodes_ - (warmer_ ? 1 : 2)) * (1 + Branches) + (nodes_ - 2) + inputs();
    }
    [[nodiscard]] int data_rows() const { return data_rows_; }
    [[nodiscard]] const std::vector<PulseLog>& logs() const { return logs_; }
    [[nodiscard]] std::vector<PulseLog>& logs() { return logs_; }

    [[nodiscard]] int r0_index(int node) const { return node; }
    [[nodiscard]] int branch_index(int branch, int node) const {
        return nodes_ * (1 + branch) + node;
    }
    [[nodiscard]] int time_index(int branch) const { return nodes_ * (1 + Branches) + branch; }
    [[nodiscard]] int ocv_index(int node) const {
        return nodes_ * (1 + Branches) + Branches + node;
    }
    [[nodiscard]] int soc_index(int log) const { return nodes_ * (2 + Branches) + Branches + log; }

    void set_start(const Eigen::VectorXd& start, const Eigen::VectorXd& start_std) {
        start_ = start;
        start_std_ = start_std;
    }

    int operator()(const Eigen::VectorXd& x, Eigen::VectorXd& residuals) const {
        run(x, &residuals, nullptr);
        return 0;
    }
    int df(const Eigen::VectorXd& x, Eigen::MatrixXd& jacobian) const {
        run(x, nullptr, &jacobian);
        return 0;
    }

    [[nodiscard]] CellParameters<double, Branches> parameters(const Eigen::VectorXd& x) const {
        table_.resize(place(0, axis_.count, 0));
        for (int t = 0; t < axis_.count; ++t) {
            for (int s = 0; s < nodes_; ++s) {
                auto& node = table_[place(0, t, s)];
                node.r0_ohm = std::exp(x[r0_index(s)]) * factor(0, t, s);
                for (int i = 0; i < Branches; ++i) {
                    node.branch_ohm[i] = std::exp(x[branch_index(i, s)]) * factor(1 + i, t, s);
                    node.branch_time_s[i] =
                        std::exp(x[time_index(i)]) * factor(1 + Branches + i, t, s);
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
        CellParameters<double, Branches> cell;
        cell.capacity_Ah = base_.capacity_Ah;
        cell.coulombic_efficiency = base_.coulombic_efficiency;
        cell.hysteresis_rate = base_.hysteresis_rate;
        cell.ocv = {shifted_ocv_.data(), static_cast<int>(shifted_ocv_.size()),
                    base_.ocv.reference_temperature_degC};
        cell.resistance = {table_.data(), uniform_axis(0.0, 1.0, nodes_), axis_};
        return cell;
    }

  private:
    /// Change of each quantity with temperature inside the test: from the base cell when it has
    /// resistances, else an Arrhenius law with usual activation energies (DEVELOPERS.md, "Fit").
    void build_temperature_factors() {
        factors_.resize(place(1 + 2 * Branches, 0, 0), 1.0);
        const ResistanceGrid& grid = base_.resistance;
        const bool known = grid.temperature_degC.size() > 1 &&
                           static_cast<int>(grid.soc.size()) == nodes_ &&
                           grid.branches.size() == Branches;
        const auto column = [](const Grid& values, int s) {
            std::vector<double> over_temperature;
            for (const auto& row : values)
                over_temperature.push_back(row[static_cast<std::size_t>(s)]);
            return over_temperature;
        };
        for (int t = 0; t < axis_.count; ++t) {
            const double degC = axis_.first + axis_.step * t;
            const double inverse_K = 1 / (degC + zero_celsius_K<double>)-1 /
                                     (temperature_degC_ + zero_celsius_K<double>);
            for (int s = 0; s < nodes_; ++s) {
                for (int q = 0; q < 1 + 2 * Branches; ++q) {
                    double& f = factors_[place(q, t, s)];
                    if (known) {
                        const Grid& values =
                            q == 0 ? grid.r0_ohm
                            : q <= Branches
                                ? grid.branches[static_cast<std::size_t>(q - 1)].resistance_ohm
                                : grid.branches[static_cast<std::size_t>(q - 1 - Branches)].time_s;
                        const std::vector<double> v = column(values, s);
                        f = arrhenius_value(grid.temperature_degC, v, degC) /
                            arrhenius_value(grid.temperature_degC, v, temperature_degC_);
                    } else if (q <= Branches) {
                        f = std::exp(default_activation_J_per_mol(q == 0) /
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

    void run(const Eigen::VectorXd& x, Eigen::VectorXd* residuals,
             Eigen::MatrixXd* jacobian) const {
        const CellParameters<double, Branches> cell = parameters(x);
        if (jacobian) jacobian->setZero(values(), inputs());
        int row = 0;
        std::vector<double> by_resistance(static_cast<std::size_t>(Branches * nodes_));
        for (std::size_t f = 0; f < logs_.size(); ++f) {
            CellState<double, Branches> state;
            state.soc = x[soc_index(static_cast<int>(f))];
            std::fill(by_resistance.begin(), by_resistance.end(), 0.0);
            std::array<double, Branches> by_time{};
            std::array<double, Branches> by_soc{};
            for (const Interval& interval : logs_[f].intervals) {
                const CellInput<double> input{interval.mean_current_A, interval.dt_s,
                                              interval.temperature_degC};
                StepJacobian<double, Branches> j;
                const double middle_soc =
                    state.soc + 0.5 * soc_gain(cell, input.current_A, input.dt_s);
                const auto place =
                    resistance_place(cell.resistance, middle_soc, input.temperature_degC);
                step(cell, input, state, jacobian ? &j : nullptr);
                const VoltagePoint<double, Branches> v =
                    voltage_at(cell, state, interval.end_current_A, interval.temperature_degC);
                const double weight = 1.0 / interval.residual_std_V;
                if (residuals) (*residuals)[row] = (v.voltage_V - interval.voltage_V) * weight;
                if (jacobian) {
                    const auto index =
                        static_cast<int>((place.cold - cell.resistance.nodes) % nodes_);
                    double soc_slope = v.by_soc;
                    for (int i = 0; i < Branches; ++i) {
                        const auto at = static_cast<std::size_t>(i);
                        double* s = by_resistance.data() + i * nodes_;
                        for (int k = 0; k < nodes_; ++k)
                            s[k] *= j.branch_by_branch[i];
                        const auto node_part = [&](int side) {
                            const double c = place.cold[side].branch_ohm[i];
                            const double w = place.warm[side].branch_ohm[i];
                            const double fraction =
                                side == 0 ? 1 - place.soc_fraction : place.soc_fraction;
                            return fraction * (c + place.temperature_fraction * (w - c));
                        };
                        s[index] += j.branch_by_resistance[i] * node_part(0);
                        s[index + 1] += j.branch_by_resistance[i] * node_part(1);
                        const double tau =
                            place.blend([i](const auto& node) { return node.branch_time_s[i]; })
                                .value;
                        by_time[at] =
                            j.branch_by_branch[i] * by_time[at] + j.branch_by_time[i] * tau;
                        by_soc[at] = j.branch_by_branch[i] * by_soc[at] + j.branch_by_soc[i];
                        for (int k = 0; k < nodes_; ++k)
                            (*jacobian)(row, branch_index(i, k)) = s[k] * weight;
                        (*jacobian)(row, time_index(i)) = by_time[at] * weight;
                        soc_slope += by_soc[at];
                    }
                    const auto end =
                        resistance_place(cell.resistance, state.soc, interval.temperature_degC);
                    const auto end_index =
                        static_cast<int>((end.cold - cell.resistance.nodes) % nodes_);
                    const auto r0_part = [&](int side) {
                        const double c = end.cold[side].r0_ohm;
                        const double w = end.warm[side].r0_ohm;
                        const double fraction = side == 0 ? 1 - end.soc_fraction : end.soc_fraction;
                        return fraction * (c + end.temperature_fraction * (w - c)) *
                               interval.end_current_A;
                    };
                    (*jacobian)(row, r0_index(end_index)) += r0_part(0) * weight;
                    (*jacobian)(row, r0_index(end_index + 1)) += r0_part(1) * weight;
                    (*jacobian)(row, soc_index(static_cast<int>(f))) = soc_slope * weight;
                    const AxisPosition<double> at =
                        locate(uniform_axis(0.0, 1.0, nodes_), state.soc);
                    (*jacobian)(row, ocv_index(at.index)) = (1 - at.fraction) * weight;
                    (*jacobian)(row, ocv_index(at.index + 1)) = at.fraction * weight;
                }
                ++row;
            }
        }
        add_prior(x, row, residuals, jacobian);
    }

    /// What is known without this test: resistances change smoothly over SOC (with a warmer test:
    /// their ratio to it does), and every parameter lies somewhere near its start.
    void add_prior(const Eigen::VectorXd& x, int row, Eigen::VectorXd* residuals,
                   Eigen::MatrixXd* jacobian) const {
        // Near empty and near full the resistances turn upward within a few percent of SOC.
        const auto weight_at = [&](double node) {
            const double soc = node / (nodes_ - 1);
            return 1.0 /
                   (soc < 0.22 || soc > 0.9 ? settings_.smoothness_ends : settings_.smoothness);
        };
        const auto warm_log = [&](int quantity, int k) {
            const auto at = static_cast<std::size_t>(k);
            return std::log(
                quantity == 0
                    ? warmer_->r0_ohm[at]
                    : warmer_->branches[static_cast<std::size_t>(quantity - 1)].resistance_ohm[at]);
        };
        for (int q = 0; q < 1 + Branches; ++q) {
            const int first = q == 0 ? r0_index(0) : branch_index(q - 1, 0);
            if (warmer_) {
                for (int k = 0; k + 1 < nodes_; ++k, ++row) {
                    const double weight = weight_at(k + 0.5);
                    if (residuals) {
                        (*residuals)[row] = weight * ((x[first + k + 1] - warm_log(q, k + 1)) -
                                                      (x[first + k] - warm_log(q, k)));
                    }
                    if (jacobian) {
                        (*jacobian)(row, first + k + 1) = weight;
                        (*jacobian)(row, first + k) = -weight;
                    }
                }
            } else {
                for (int k = 1; k + 1 < nodes_; ++k, ++row) {
                    const double weight = weight_at(k);
                    if (residuals)
                        (*residuals)[row] =
                            weight * (x[first + k - 1] - 2 * x[first + k] + x[first + k + 1]);
                    if (jacobian) {
                        (*jacobian)(row, first + k - 1) = weight;
                        (*jacobian)(row, first + k) = -2 * weight;
                        (*jacobian)(row, first + k + 1) = weight;
                    }
                }
            }
        }
        for (int k = 1; k + 1 < nodes_; ++k, ++row) {
            const double second_difference_weight = 1.0 / (0.3 * start_std_[ocv_index(k)]);
            if (residuals) {
                (*residuals)[row] =
                    second_difference_weight *
                    (x[ocv_index(k - 1)] - 2 * x[ocv_index(k)] + x[ocv_index(k + 1)]);
            }
            if (jacobian) {
                (*jacobian)(row, ocv_index(k - 1)) = second_difference_weight;
                (*jacobian)(row, ocv_index(k)) = -2 * second_difference_weight;
                (*jacobian)(row, ocv_index(k + 1)) = second_difference_weight;
            }
        }
        for (int p = 0; p < inputs(); ++p, ++row) {
            if (residuals) (*residuals)[row] = (x[p] - start_[p]) / start_std_[p];
            if (jacobian) (*jacobian)(row, p) = 1 / start_std_[p];
        }
    }

    std::vector<PulseLog> logs_;
    const Cell& base_;
    const PulseFit* warmer_;
    PulseFitSettings settings_;
    double temperature_degC_;
    int nodes_;
    int data_rows_{0};
    UniformAxis<double> axis_{};
    std::vector<OcvNode<double>> ocv_nodes_;
    std::vector<double> factors_;
    mutable std::vector<ResistanceNode<double, Branches>> table_;
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

template <int Branches>
PulseFit fit_with(const std::vector<const Log*>& logs, const Cell& base, const PulseFit* warmer,
                  const PulseFitSettings& settings, const std::function<bool()>& keep_going) {
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
        } else {
            one.initial_soc_std = settings.initial_soc_std;
        }
        double soc = one.initial_soc;
        for (Interval& interval : one.intervals) {
            soc += interval.mean_current_A * interval.dt_s /
                   (seconds_per_hour<double> * base.capacity_Ah);
            const double over_V = interval.voltage_V - ocv_at(ocv, soc, temperature_degC).mean_V;
            interval.residual_std_V =
                std::sqrt(settings.rows_per_independent_row) *
                std::hypot(settings.voltage_std_V, settings.overvoltage_share_std * over_V);
            fit.soc_low = std::min(fit.soc_low, soc);
            fit.soc_high = std::max(fit.soc_high, soc);
            fit.largest_discharge_A = std::max(fit.largest_discharge_A, -interval.end_current_A);
            fit.largest_charge_A = std::max(fit.largest_charge_A, interval.end_current_A);
        }
        prepared.push_back(std::move(one));
    }

    PulseProblem<Branches> problem(std::move(prepared), base, warmer, settings, temperature_degC);
    // With what is assumed beside the data the solver would always have rows enough.
    if (problem.data_rows() < problem.inputs()) {
        throw Error(logs.front()->source + ": " + std::to_string(problem.data_rows()) +
                    " rows left after thinning, fewer than the " +
                    std::to_string(problem.inputs()) +
                    " parameters; the pulse test is too short, or soc_nodes too large");
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
    for (int i = 0; i < Branches; ++i) {
        const bool slow = i == Branches - 1 && Branches > 1;
        const auto* from = warmer ? &warmer->branches[static_cast<std::size_t>(i)] : nullptr;
        // A slow branch and a change of the OCV look alike: rests of an hour hold its time and size
        // only loosely.
        x[problem.time_index(i)] =
            (from ? std::log(from->time_s) : std::log(times_s[static_cast<std::size_t>(i)])) +
            (slow ? carried(slow_time_activation_J_per_mol) : 0.0);
        start_std[problem.time_index(i)] =
            slow ? settings.slow_time_log_std : settings.time_log_std;
        for (int k = 0; k < settings.soc_nodes; ++k) {
            const double share = slow ? 0.4 : 0.5;
            x[problem.branch_index(i, k)] =
                from ? std::log(from->resistance_ohm[static_cast<std::size_t>(k)]) +
                           carried(default_activation_J_per_mol(false))
                     : std::log(share * edge_ohm);
            start_std[problem.branch_index(i, k)] = slow ? settings.slow_log_std : 2.0;
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
                                              carried(default_activation_J_per_mol(true))
                                        : std::log(edge_ohm);
        start_std[problem.r0_index(k)] = 1.5;
    }
    for (std::size_t f = 0; f < logs.size(); ++f) {
        x[problem.soc_index(static_cast<int>(f))] = problem.logs()[f].initial_soc;
        start_std[problem.soc_index(static_cast<int>(f))] = problem.logs()[f].initial_soc_std;
    }
    problem.set_start(x, start_std);

    Eigen::LevenbergMarquardt<PulseProblem<Branches>> solver(problem);
    solver.parameters.ftol = 1e-5;
    solver.parameters.xtol = 1e-5;
    auto status = solver.minimizeInit(x);
    if (status == Eigen::LevenbergMarquardtSpace::ImproperInputParameters) {
        throw Error(logs.front()->source + ": the pulse fit cannot start");
    }
    do {
        if (keep_going && !keep_going()) throw Error("cancelled");
        status = solver.minimizeOneStep(x);
        ++fit.iterations;
    } while (status == Eigen::LevenbergMarquardtSpace::Running &&
             fit.iterations < settings.max_iterations);

    // Spread: inverse of the normal matrix, times the residual's own variance, times the factor by
    // which neighbouring residuals repeat each other (lag-one correlation, Bayley & Hammersley
    // 1946; from memory).
    Eigen::VectorXd residuals(problem.values());
    Eigen::MatrixXd jacobian(problem.values(), problem.inputs());
    problem(x, residuals);
    problem.df(x, jacobian);
    const auto data = residuals.head(problem.data_rows());
    const double variance =
        std::max(1.0, data.squaredNorm() / static_cast<double>(problem.data_rows()));
    double lag = 0;
    for (int k = 1; k < problem.data_rows(); ++k)
        lag += data[k] * data[k - 1];
    const double rho = std::clamp(lag / std::max(1e-30, data.squaredNorm()), 0.0, 0.98);
    const double repeated = (1 + rho) / (1 - rho);
    jacobian.topRows(problem.data_rows()) /= std::sqrt(variance * repeated);
    const Eigen::MatrixXd normal = jacobian.transpose() * jacobian;
    const Eigen::MatrixXd covariance =
        normal.ldlt().solve(Eigen::MatrixXd::Identity(problem.inputs(), problem.inputs()));
    const auto log_std = [&](int p) { return std::sqrt(std::max(0.0, covariance(p, p))); };

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
        }
    }
    for (int i = 0; i < Branches; ++i) {
        fit.branches[static_cast<std::size_t>(i)].time_s = std::exp(x[problem.time_index(i)]);
        fit.branches[static_cast<std::size_t>(i)].time_log_std = log_std(problem.time_index(i));
    }
    int row = 0;
    for (std::size_t f = 0; f < logs.size(); ++f) {
        fit.initial_soc.push_back(x[problem.soc_index(static_cast<int>(f))]);
        double sum = 0;
        for (const Interval& interval : problem.logs()[f].intervals) {
            const double error_V = residuals[row++] * interval.residual_std_V;
            sum += error_V * error_V;
        }
        fit.residual_rms_V.push_back(
            std::sqrt(sum / static_cast<double>(problem.logs()[f].intervals.size())));
    }
    fit.rows_used = static_cast<std::size_t>(problem.data_rows());
    return fit;
}

}  // namespace

PulseFit fit_pulses(const std::vector<const Log*>& logs, const Cell& base, const PulseFit* warmer,
                    const PulseFitSettings& settings, const std::function<bool()>& keep_going) {
    if (logs.empty()) throw Error("a pulse fit needs at least one log");
    if (settings.soc_nodes < 3 || settings.soc_nodes > 201) {
        throw Error("soc_nodes: " + std::to_string(settings.soc_nodes) + " is outside 3 .. 201");
    }
    struct Positive {
        const char* field;
        double value;
    };
    for (const Positive& p : {Positive{"voltage_std_V", settings.voltage_std_V},
                              {"rows_per_independent_row", settings.rows_per_independent_row},
                              {"smoothness", settings.smoothness},
                              {"smoothness_ends", settings.smoothness_ends},
                              {"time_log_std", settings.time_log_std},
                              {"slow_time_log_std", settings.slow_time_log_std},
                              {"slow_log_std", settings.slow_log_std},
                              {"ocv_std_V", settings.ocv_std_V},
                              {"initial_soc_std", settings.initial_soc_std},
                              {"full_soc_std", settings.full_soc_std},
                              {"capacity_Ah", base.capacity_Ah}}) {
        if (!(p.value > 0) || !std::isfinite(p.value)) {
            throw Error(std::string(p.field) + ": " + number_text(p.value) + " must be above 0");
        }
    }
    for (const Log* log : logs) {
        check_log(*log);
        if (log->size() < 20) throw Error(log->source + ": a pulse test needs at least 20 rows");
    }
    if (settings.branches < 1 || settings.branches > 4) {
        throw Error("branches: " + std::to_string(settings.branches) + " is outside 1 .. 4");
    }
    if (warmer != nullptr &&
        (warmer->soc.size() != static_cast<std::size_t>(settings.soc_nodes) ||
         warmer->branches.size() != static_cast<std::size_t>(settings.branches))) {
        throw Error("the warmer fit has " + std::to_string(warmer->soc.size()) + " SOC nodes and " +
                    std::to_string(warmer->branches.size()) + " branches, the settings ask for " +
                    std::to_string(settings.soc_nodes) + " and " +
                    std::to_string(settings.branches));
    }
    return with_branches(static_cast<std::size_t>(settings.branches), [&](auto n) {
        return fit_with<decltype(n)::value>(logs, base, warmer, settings, keep_going);
    });
}

}  // namespace voltkeel
