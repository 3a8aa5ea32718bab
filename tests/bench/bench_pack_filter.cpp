// What the state of 96 groups costs, per group and step: mean-plus-differences (PackFilter), a full
// filter for each group (GroupFilters), and beside them, in the same run, a bare hand loop over the
// same voltages that keeps a mean and one gain a group: what this machine takes to look at them.
//
// bench_pack_filter [largest ns per group and step of PackFilter, default 0: no limit]
// Returns 1 when that is exceeded, 2 when a filter lost track.

#include <algorithm>
#include <cmath>
#include <cstdio>
#include <cstdlib>
#include <ctime>
#include <memory>
#include <vector>

#include "bench/bench_cell.hpp"
#include "support/example_cell.hpp"
#include "voltkeel/estimate/group_filters.hpp"
#include "voltkeel/estimate/pack_filter.hpp"

namespace {

constexpr int groups = 96;
constexpr int repeats = 9;
constexpr std::size_t ring = 1024;  // ticks walked round and round
constexpr long steps = 20000;

template <class Real>
using Pack = voltkeel::PackFilter<Real, 2, false, groups>;
template <class Real>
using Full = voltkeel::GroupFilters<Real, 2, false, groups>;

/// A load that ends where it began, on groups that differ.
template <class Real>
struct Ticks {
    std::vector<Real> current_A;
    std::vector<Real> voltage_V;  // (ticks, groups)
    std::vector<double> soc;      // of each group, mean over the ring
};

template <class Real>
Ticks<Real> ring_of(const voltkeel_test::OwnedCell<double, 2>& cell) {
    voltkeel_test::Random random(3);
    Ticks<Real> ticks;
    std::vector<voltkeel::CellState<double, 2>> states(groups);
    for (auto& state : states) {
        state.soc = 0.6 + 0.01 * random.normal();
        state.resistance_scale = std::exp(0.1 * random.normal());
        ticks.soc.push_back(state.soc);
    }
    const double round = 2 * 3.14159265358979 / ring;
    for (std::size_t tick = 0; tick < 2 * ring; ++tick) {
        const double angle = round * static_cast<double>(tick);
        const double current_A = 60 * std::sin(5 * angle) + 30 * std::sin(23 * angle);
        for (auto& state : states)
            voltkeel::step(cell.view(), {current_A, 0.1, 17}, state);
        if (tick < ring) continue;  // the first round settles branches and hysteresis
        ticks.current_A.push_back(static_cast<Real>(current_A));
        for (const auto& state : states) {
            const double voltage_V =
                voltkeel::voltage_at(cell.view(), state, current_A, 17.0).voltage_V;
            ticks.voltage_V.push_back(static_cast<Real>(voltage_V + 0.001 * random.normal()));
        }
    }
    return ticks;
}

/// Median processor time per group and step in ns.
template <class Step>
double time_of_ns(Step step) {
    std::vector<double> times_ns;
    for (int r = 0; r < repeats; ++r) {
        const std::clock_t start = std::clock();
        for (long k = 0; k < steps; ++k)
            step(static_cast<std::size_t>(k) & (ring - 1));
        times_ns.push_back(static_cast<double>(std::clock() - start) * (1e9 / CLOCKS_PER_SEC) /
                           (static_cast<double>(steps) * groups));
    }
    std::sort(times_ns.begin(), times_ns.end());
    return times_ns[times_ns.size() / 2];
}

/// The least that a step could be: a mean over the voltages, and one gain a group.
template <class Real>
struct HandLoop {
    Real difference[groups]{};
    void step(const Real* voltage_V) {
        Real sum = 0;
        for (int k = 0; k < groups; ++k)
            sum += voltage_V[k] - difference[k];
        const Real mean = sum * (Real(1) / Real(groups));
        for (int k = 0; k < groups; ++k)
            difference[k] += Real(0.01) * (voltage_V[k] - difference[k] - mean);
    }
};

template <class Real>
double measure(const char* scalar, bool& lost) {
    const auto exact = voltkeel_test::bench_cell<2>(20);
    const auto cell = voltkeel_test::cell_cast<Real>(exact);
    const auto ticks = ring_of<Real>(exact);
    const auto sample = [&](std::size_t k) {
        voltkeel::PackSample<Real> s;
        s.current_A = ticks.current_A[k];
        s.temperature_degC = Real(17);
        s.dt_s = Real(0.1);
        s.voltage_V = ticks.voltage_V.data() + k * groups;
        return s;
    };
    double worst = 0;
    const auto pack_ns = [&](double interval_s) {
        const auto filter = std::make_unique<Pack<Real>>();
        voltkeel::PackFilterSettings<Real> settings;
        settings.reference.update_interval_s = static_cast<Real>(interval_s);
        if (filter->configure(cell.view(), groups, settings) != voltkeel::Status::ok ||
            filter->start(Real(0.6), Real(0.05), Real(17)) != voltkeel::Status::ok) {
            std::exit(2);
        }
        const double ns = time_of_ns([&](std::size_t k) { (void)filter->step(sample(k)); });
        for (int k = 0; k < groups; ++k) {
            worst = std::max(worst, voltkeel_test::apart(filter->soc(k),
                                                         ticks.soc[static_cast<std::size_t>(k)]));
        }
        return ns;
    };
    const auto full_ns = [&](double interval_s) {
        const auto filter = std::make_unique<Full<Real>>();
        voltkeel::SocFilterSettings<Real> settings;
        settings.update_interval_s = static_cast<Real>(interval_s);
        if (filter->configure(cell.view(), groups, settings) != voltkeel::Status::ok ||
            filter->start(Real(0.6), Real(0.05), Real(17)) != voltkeel::Status::ok) {
            std::exit(2);
        }
        const double ns = time_of_ns([&](std::size_t k) { (void)filter->step(sample(k)); });
        for (int k = 0; k < groups; ++k) {
            worst = std::max(worst, voltkeel_test::apart(filter->soc(k),
                                                         ticks.soc[static_cast<std::size_t>(k)]));
        }
        return ns;
    };
    HandLoop<Real> hand;
    const double hand_ns =
        time_of_ns([&](std::size_t k) { hand.step(ticks.voltage_V.data() + k * groups); });
    const double every_ns = pack_ns(0);
    const double tenth_ns = pack_ns(1);
    const double full_every_ns = full_ns(0);
    const double full_tenth_ns = full_ns(1);
    std::printf("%-7s %9.2f %9.2f %9.2f %9.2f %9.2f\n", scalar, tenth_ns, every_ns, full_tenth_ns,
                full_every_ns, hand_ns);
    // What the load moves the SOC within the ring, and noise.
    if (worst > 0.02 || !(std::abs(hand.difference[0]) < Real(1))) {
        std::fprintf(stderr, "%s: a group is %.4f off\n", scalar, worst);
        lost = true;
    }
    return tenth_ns;
}

}  // namespace

int main(int argc, char* argv[]) {
    const double limit_ns = argc > 1 ? std::strtod(argv[1], nullptr) : 0;
    std::printf("ns per group and step, 96 groups, 2 branches, median of %d runs of %ld steps\n",
                repeats, steps);
    std::printf("scalar  pack 1/10      pack full 1/10      full hand loop\n");
    bool lost = false;
    const double main_ns = measure<double>("double", lost);
    (void)measure<float>("float", lost);
    if (lost) return 2;
    if (limit_ns > 0 && main_ns > limit_ns) {
        std::fprintf(stderr, "%.2f ns, over the limit of %.2f ns\n", main_ns, limit_ns);
        return 1;
    }
    return 0;
}
