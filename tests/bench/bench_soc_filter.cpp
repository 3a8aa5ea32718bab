// What a step of the SOC filter costs: float and double, 1 to 4 branches, the voltage fused at
// every sample and once a second out of ten. Beside it, measured in the same run, the same filter
// as a textbook writes it: dense matrices, Joseph form, the same model calls.
//
// bench_soc_filter [largest ns per step of the double filter with 3 branches, default 0: no limit]
// bench_soc_filter --once STEPS BRANCHES INTERVAL    the double filter with 2 or 3 branches, STEPS
//     times, fused every INTERVAL seconds, and nothing else: for count_instructions.sh
// Returns 1 when a step takes longer than the given limit, 2 when a filter lost track.

#include <Eigen/Dense>
#include <algorithm>
#include <cmath>
#include <cstdio>
#include <cstdlib>
#include <cstring>
#include <ctime>
#include <vector>

#include "bench/bench_cell.hpp"
#include "support/example_cell.hpp"
#include "voltkeel/estimate/soc_filter.hpp"

namespace {

using voltkeel::CellSample;
using voltkeel::Status;
using voltkeel_test::bench_cell;

constexpr int repeats = 9;
constexpr std::size_t ring = 4096;  // samples walked round and round; a power of two
constexpr long steps = 400000;

/// Samples of a load that ends where it began, so that the ring can be walked for ever.
template <class Real, int Branches>
std::vector<CellSample<Real>> ring_samples(const voltkeel_test::OwnedCell<double, Branches>& cell) {
    voltkeel_test::Random random(1);
    voltkeel::CellState<double, Branches> state;
    state.soc = 0.6;
    const double round = 2 * 3.14159265358979 / ring;
    std::vector<CellSample<Real>> samples;
    for (std::size_t k = 0; k < 2 * ring; ++k) {
        const double angle = round * static_cast<double>(k);
        const double current_A = 60 * std::sin(25 * angle) + 30 * std::sin(118 * angle);
        voltkeel::step(cell.view(), {current_A, 0.1, 17}, state);
        if (k < ring) continue;  // the first round settles branches and hysteresis
        const double voltage_V =
            voltkeel::voltage_at(cell.view(), state, current_A, 17.0).voltage_V +
            0.003 * random.normal();
        samples.push_back(
            {static_cast<Real>(current_A), static_cast<Real>(voltage_V), Real(17), Real(0.1)});
    }
    return samples;
}

template <class Real>
voltkeel::SocFilterSettings<Real> bench_settings(double update_interval_s) {
    voltkeel::SocFilterSettings<Real> settings;
    settings.update_interval_s = static_cast<Real>(update_interval_s);
    return settings;
}

/// The filter as a textbook writes it, on the same model calls and the same settings.
template <class Real, int Branches>
class DenseFilter {
  public:
    static constexpr int size = Branches + 3;
    using Matrix = Eigen::Matrix<Real, size, size>;
    using Vector = Eigen::Matrix<Real, size, 1>;

    DenseFilter(const voltkeel::CellParameters<Real, Branches>& cell,
                const voltkeel::SocFilterSettings<Real>& settings, Real soc, Real soc_std)
        : cell_(cell), settings_(settings) {
        state_.soc = soc;
        p_(0, 0) = soc_std * soc_std;
        for (int i = 1; i <= Branches; ++i)
            p_(i, i) = settings.rest_std_V * settings.rest_std_V;
        p_(Branches + 1, Branches + 1) =
            settings.hysteresis_std_initial * settings.hysteresis_std_initial;
        p_(Branches + 2, Branches + 2) =
            settings.log_scale_std_initial * settings.log_scale_std_initial;
    }

    Real step(const CellSample<Real>& sample) {
        voltkeel::StepJacobian<Real, Branches> j;
        voltkeel::step(cell_, {sample.current_A, sample.dt_s, sample.temperature_degC}, state_, &j);
        Matrix f = Matrix::Identity();
        Matrix q = Matrix::Zero();
        const Real hours = sample.dt_s / Real(3600);
        q(0, 0) = settings_.soc_std_per_sqrt_h * settings_.soc_std_per_sqrt_h * hours;
        for (int i = 0; i < Branches; ++i) {
            const Real kept = j.branch_by_branch[i];
            f(1 + i, 1 + i) = kept;
            const Real end_V = j.branch_end_V[i];
            const Real share_V = settings_.branch_share_std * end_V;
            q(1 + i, 1 + i) = (Real(1) - kept * kept) *
                              (share_V * share_V + settings_.rest_std_V * settings_.rest_std_V);
        }
        f(Branches + 1, Branches + 1) = j.hysteresis_by_hysteresis;
        const Real walked = j.hysteresis_by_hysteresis;
        q(Branches + 1, Branches + 1) = (Real(1) - walked * walked) *
                                        settings_.hysteresis_std_walked *
                                        settings_.hysteresis_std_walked;
        q(Branches + 2, Branches + 2) =
            settings_.log_scale_std_per_sqrt_h * settings_.log_scale_std_per_sqrt_h * hours;
        p_ = f * p_ * f.transpose() + q;

        const auto point =
            voltkeel::voltage_at(cell_, state_, sample.current_A, sample.temperature_degC);
        Eigen::Matrix<Real, 1, size> h;
        h(0) = point.ocv_by_soc;
        for (int i = 0; i < Branches; ++i)
            h(1 + i) = point.by_branch;
        h(Branches + 1) = point.by_hysteresis;
        h(Branches + 2) = point.by_log_scale;
        const Real share_V = settings_.overvoltage_share_std * point.overvoltage_V;
        const Real voltage_var =
            settings_.voltage_std_V * settings_.voltage_std_V + share_V * share_V;
        const Real innovation_var = (h * p_ * h.transpose()).value() + voltage_var;
        const Vector gain = p_ * h.transpose() / innovation_var;
        const Matrix left = Matrix::Identity() - gain * h;
        p_ = left * p_ * left.transpose() + gain * voltage_var * gain.transpose();
        const Vector correction = gain * (sample.voltage_V - point.voltage_V);
        state_.soc += correction(0);
        for (int i = 0; i < Branches; ++i)
            state_.branch_V[i] += correction(1 + i);
        state_.hysteresis =
            std::clamp(state_.hysteresis + correction(Branches + 1), Real(-1), Real(1));
        log_scale_ += correction(Branches + 2);
        state_.resistance_scale = std::exp(log_scale_);
        return state_.soc;
    }

  private:
    voltkeel::CellParameters<Real, Branches> cell_;
    voltkeel::SocFilterSettings<Real> settings_;
    voltkeel::CellState<Real, Branches> state_{};
    Real log_scale_{0};
    Matrix p_ = Matrix::Zero();
};

/// Median processor time of a step in ns: other programs on the machine do not count.
template <class Step>
double time_of_ns(Step step) {
    std::vector<double> times_ns;
    for (int r = 0; r < repeats; ++r) {
        const std::clock_t start = std::clock();
        for (long k = 0; k < steps; ++k)
            step(static_cast<std::size_t>(k) & (ring - 1));
        times_ns.push_back(static_cast<double>(std::clock() - start) * (1e9 / CLOCKS_PER_SEC) /
                           steps);
    }
    std::sort(times_ns.begin(), times_ns.end());
    return times_ns[times_ns.size() / 2];
}

template <class Real, int Branches>
voltkeel::SocFilter<Real, Branches> started(const voltkeel_test::OwnedCell<Real, Branches>& owned,
                                            double update_interval_s) {
    voltkeel::SocFilter<Real, Branches> filter;
    if (filter.configure(owned.view(), bench_settings<Real>(update_interval_s)) != Status::ok ||
        filter.start(Real(0.55), Real(0.05), Real(17)) != Status::ok) {
        std::fprintf(stderr, "the filter did not start\n");
        std::exit(2);
    }
    return filter;
}

/// Prints one line; returns the time of a step that fuses.
template <class Real, int Branches>
double measure(const char* scalar, bool& lost) {
    const auto exact = bench_cell<Branches>();
    const auto owned = voltkeel_test::cell_cast<Real>(exact);
    const auto samples = ring_samples<Real>(exact);
    auto fused = started<Real, Branches>(owned, 0);
    auto once_a_second = started<Real, Branches>(owned, 1);
    DenseFilter<Real, Branches> dense(owned.view(), bench_settings<Real>(0), Real(0.55),
                                      Real(0.05));
    Real dense_soc = 0;
    const double fused_ns = time_of_ns([&](std::size_t k) { (void)fused.step(samples[k]); });
    const double second_ns =
        time_of_ns([&](std::size_t k) { (void)once_a_second.step(samples[k]); });
    const double dense_ns = time_of_ns([&](std::size_t k) { dense_soc = dense.step(samples[k]); });
    std::printf("%-7s %d  %9.1f %9.1f %9.1f\n", scalar, Branches, fused_ns, second_ns, dense_ns);
    // All three have seen the same hours: they must agree on where the cell is (0.6, give or take
    // what the load moves it).
    const auto near_truth = [](Real soc) { return std::abs(soc - Real(0.6)) < Real(0.02); };
    if (!near_truth(fused.estimate().soc) || !near_truth(once_a_second.estimate().soc) ||
        !near_truth(dense_soc)) {
        std::fprintf(stderr, "%s, %d branches: soc %g, %g and %g\n", scalar, Branches,
                     static_cast<double>(fused.estimate().soc),
                     static_cast<double>(once_a_second.estimate().soc),
                     static_cast<double>(dense_soc));
        lost = true;
    }
    return fused_ns;
}

template <int Branches>
int run_once(long count, double update_interval_s) {
    const auto owned = bench_cell<Branches>();
    const auto samples = ring_samples<double>(owned);
    auto filter = started<double, Branches>(owned, update_interval_s);
    for (long k = 0; k < count; ++k)
        (void)filter.step(samples[static_cast<std::size_t>(k) & (ring - 1)]);
    std::printf("%ld steps, soc %.6f\n", count, filter.estimate().soc);
    return 0;
}

}  // namespace

int main(int argc, char* argv[]) {
    if (argc == 5 && std::strcmp(argv[1], "--once") == 0) {
        const long count = std::strtol(argv[2], nullptr, 10);
        const double interval_s = std::strtod(argv[4], nullptr);
        return std::strcmp(argv[3], "2") == 0 ? run_once<2>(count, interval_s)
                                              : run_once<3>(count, interval_s);
    }
    const double limit_ns = argc > 1 ? std::strtod(argv[1], nullptr) : 0;
    std::printf("ns per step, median of %d runs of %ld steps\n", repeats, steps);
    std::printf("scalar  branches  fused  1 in 10     dense\n");
    bool lost = false;
    (void)measure<double, 1>("double", lost);
    (void)measure<double, 2>("double", lost);
    const double main_ns = measure<double, 3>("double", lost);
    (void)measure<double, 4>("double", lost);
    (void)measure<float, 1>("float", lost);
    (void)measure<float, 2>("float", lost);
    (void)measure<float, 3>("float", lost);
    (void)measure<float, 4>("float", lost);
    if (lost) return 2;
    if (limit_ns > 0 && main_ns > limit_ns) {
        std::fprintf(stderr, "%.1f ns per step, over the limit of %.1f ns\n", main_ns, limit_ns);
        return 1;
    }
    return 0;
}
