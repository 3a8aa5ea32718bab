// The cell model with a charge-transfer branch: step and voltage against central differences,
// against many short steps, and against the linear model that it becomes in the limit.

#include <algorithm>
#include <catch2/catch.hpp>
#include <cmath>
#include <limits>
#include <string>

#include "support/transfer_cell.hpp"
#include "voltkeel/cell/model.hpp"

using voltkeel::CellInput;
using voltkeel::CellParameters;
using voltkeel::CellState;
using voltkeel::ChargeTransfer;
using voltkeel::ResistanceNode;
using voltkeel::Status;
using voltkeel::StepJacobian;
using voltkeel::voltage_at;
using voltkeel_test::Random;
using voltkeel_test::TransferCell;

namespace {

constexpr int branches = 2;
constexpr int transfer_at = branches;  // w is the last of the lags
using State = CellState<double, branches, true>;
using Jacobian = StepJacobian<double, branches, true>;
using Cell = TransferCell<double, branches>;

State random_state(Random& random) {
    State state;
    state.soc = random.uniform(0.03, 0.97);
    const double size_V = 0.06 * random.uniform(0, 1);
    for (double& u : state.branch_V)
        u = size_V * random.uniform(-1, 1);
    state.hysteresis = random.uniform(-1, 1);
    state.resistance_scale = random.uniform(0.7, 1.8);
    return state;
}

CellInput<double> random_input(const Cell& cell, Random& random) {
    return {cell.scalars.capacity_Ah * random.uniform(-3, 3), std::pow(10.0, random.uniform(-2, 2)),
            random.uniform(-15, 40)};
}

/// True when no table has a kink near `soc`.
bool clear_of_kinks(const CellParameters<double, branches, true>& cell, double soc) {
    const auto clear = [](double t) { return std::abs(t - std::round(t)) > 1e-3; };
    return clear(soc * (cell.ocv.count - 1)) && clear(soc * (cell.resistance.soc.count - 1)) &&
           std::abs(soc - cell.charge_rise.soc_start) > 1e-4;
}

State stepped(const CellParameters<double, branches, true>& cell, const CellInput<double>& input,
              State state) {
    voltkeel::step(cell, input, state);
    return state;
}

bool close(double analytic, double difference) {
    return std::abs(analytic - difference) < 2e-8 + 2e-5 * std::abs(difference);
}

/// Central difference of one lag after the step.
template <class Change>
double slope(const Change& lag, double h) {
    return (lag(h) - lag(-h)) / (2 * h);
}

}  // namespace

// A controller holds these tables in flash: a cell without charge transfer must not pay for it.
static_assert(sizeof(ResistanceNode<float, 2, false>) == 5 * sizeof(float));
static_assert(sizeof(ResistanceNode<float, 2, true>) == 8 * sizeof(float));
static_assert(sizeof(CellState<float, 2, false>) == 6 * sizeof(float));
static_assert(sizeof(CellState<float, 2, true>) == 7 * sizeof(float));

TEST_CASE("the derivatives of the step with charge transfer are those of differences",
          "[model][charge_transfer]") {
    Random random(61);
    int checked = 0;
    for (int n = 0; n < 600; ++n) {
        const Cell owned = voltkeel_test::random_transfer_cell<branches>(random);
        const auto cell = owned.view();
        const State state = random_state(random);
        const CellInput<double> input = random_input(owned, random);
        const auto middle = [&](const CellInput<double>& in) {
            return 0.5 * voltkeel::soc_gain(cell, in.current_A, in.dt_s);
        };
        const double middle_soc = state.soc + middle(input);
        if (!clear_of_kinks(cell, middle_soc) || middle_soc < 0.001 || middle_soc > 0.999 ||
            std::abs(input.current_A) < 1e-2)
            continue;
        ++checked;
        Jacobian j;
        State moved = state;
        voltkeel::step(cell, input, moved, &j);
        CAPTURE(n, state.soc, input.current_A, input.dt_s, input.temperature_degC,
                state.branch_V[transfer_at]);
        for (int i = 0; i < State::lags; ++i) {
            CAPTURE(i);
            CHECK(close(j.branch_by_branch[i], slope(
                                                   [&](double d) {
                                                       State s = state;
                                                       s.branch_V[i] += d;
                                                       return stepped(cell, input, s).branch_V[i];
                                                   },
                                                   1e-6)));
            // By nothing but its own lag: a neighbour moved leaves it as it is.
            State neighbour = state;
            neighbour.branch_V[(i + 1) % State::lags] += 0.01;
            CHECK(stepped(cell, input, neighbour).branch_V[i] == moved.branch_V[i]);
            CHECK(close(j.branch_by_soc[i], slope(
                                                [&](double d) {
                                                    State s = state;
                                                    s.soc += d;
                                                    return stepped(cell, input, s).branch_V[i];
                                                },
                                                1e-6)));
            // At frozen tables: the SOC is shifted so that the middle of the step stays put.
            const double h_A = 1e-5 * std::max(1.0, std::abs(input.current_A));
            CHECK(close(j.branch_by_current[i], slope(
                                                    [&](double d) {
                                                        CellInput<double> in = input;
                                                        in.current_A += d;
                                                        State s = state;
                                                        s.soc += middle(input) - middle(in);
                                                        return stepped(cell, in, s).branch_V[i];
                                                    },
                                                    h_A)));
        }
        const auto with = [&](double log_scale, double log_exchange, double log_time) {
            Cell other = owned;
            for (auto& node : other.resistance) {
                node.transfer.scale_V *= std::exp(log_scale);
                node.transfer.exchange_current_A *= std::exp(log_exchange);
                node.transfer.time_s *= std::exp(log_time);
            }
            return stepped(other.view(), input, state).branch_V[transfer_at];
        };
        CHECK(close(j.transfer_by_log_scale, slope([&](double d) { return with(d, 0, 0); }, 1e-5)));
        CHECK(close(j.transfer_by_log_exchange,
                    slope([&](double d) { return with(0, d, 0); }, 1e-5)));
        CHECK(close(j.transfer_by_log_time, slope([&](double d) { return with(0, 0, d); }, 1e-5)));
        // Where w is heading, from the law itself at the place the tables were read.
        const auto at =
            voltkeel::resistance_at(cell.resistance, middle_soc, input.temperature_degC).value;
        CHECK(std::abs(j.branch_end_V[transfer_at] -
                       at.transfer.scale_V *
                           std::asinh(input.current_A / at.transfer.exchange_current_A)) < 1e-13);
    }
    CHECK(checked > 400);
}

TEST_CASE("the derivatives of the voltage with charge transfer are those of differences",
          "[model][charge_transfer]") {
    Random random(62);
    int checked = 0;
    for (int n = 0; n < 600; ++n) {
        const Cell owned = voltkeel_test::random_transfer_cell<branches>(random);
        const auto cell = owned.view();
        const State state = random_state(random);
        const double current_A = random_input(owned, random).current_A;
        const double degC = random.uniform(-15, 40);
        if (!clear_of_kinks(cell, state.soc)) continue;
        ++checked;
        const auto point = voltage_at(cell, state, current_A, degC);
        CAPTURE(n, state.soc, current_A, degC);
        const auto voltage = [&](const State& s) {
            return voltage_at(cell, s, current_A, degC).voltage_V;
        };
        CHECK(close(point.by_soc, slope(
                                      [&](double d) {
                                          State s = state;
                                          s.soc += d;
                                          return voltage(s);
                                      },
                                      1e-6)));
        for (int i = 0; i < State::lags; ++i) {
            CHECK(close(point.by_branch, slope(
                                             [&](double d) {
                                                 State s = state;
                                                 s.branch_V[i] += d;
                                                 return voltage(s);
                                             },
                                             1e-5)));
        }
        CHECK(close(point.by_log_scale, slope(
                                            [&](double d) {
                                                State s = state;
                                                s.resistance_scale *= std::exp(d);
                                                return voltage(s);
                                            },
                                            1e-5)));
        CHECK(close(
            point.by_current,
            slope([&](double d) { return voltage_at(cell, state, current_A + d, degC).voltage_V; },
                  1e-4)));
        // The sum that the file's head states.
        const double r0_ohm =
            voltkeel::resistance_at(cell.resistance, state.soc, degC).value.r0_ohm;
        const double sum_V = r0_ohm * current_A + state.branch_V[0] + state.branch_V[1] +
                             state.branch_V[transfer_at];
        CHECK(std::abs(point.overvoltage_V - state.resistance_scale * sum_V) < 1e-14);
        CHECK(std::abs(point.voltage_V - point.ocv_V - point.overvoltage_V) < 1e-14);
    }
    CHECK(checked > 400);
}

TEST_CASE("at constant tables one long step is many short ones", "[model][charge_transfer]") {
    Random random(63);
    for (int n = 0; n < 300; ++n) {
        voltkeel_test::LinearShape shape;
        shape.hysteresis_rate = random.uniform(0, 60);
        const ChargeTransfer<double> transfer{random.uniform(0.02, 0.1), random.uniform(0.2, 6),
                                              random.uniform(0.05, 5)};
        const Cell owned = voltkeel_test::with_transfer<double>(
            voltkeel_test::linear_cell<double, branches>(shape), transfer);
        const auto cell = owned.view();
        const State state = random_state(random);
        const double current_A = random.uniform(-8, 8);
        const double dt_s = random.uniform(0.1, 60);
        CAPTURE(n, transfer.scale_V, transfer.exchange_current_A, transfer.time_s, current_A, dt_s);
        const State whole = stepped(cell, {current_A, dt_s, 25}, state);
        State parts = state;
        for (int k = 0; k < 50; ++k)
            parts = stepped(cell, {current_A, dt_s / 50, 25}, parts);
        for (int i = 0; i < State::lags; ++i)
            CHECK(std::abs(whole.branch_V[i] - parts.branch_V[i]) < 1e-13);
        CHECK(std::abs(whole.soc - parts.soc) < 1e-14);
        CHECK(std::abs(whole.hysteresis - parts.hysteresis) < 1e-13);
        // The model's branch is the branch alone, fed with the values of the table.
        CHECK(whole.branch_V[transfer_at] ==
              voltkeel::charge_transfer_step(transfer, state.branch_V[transfer_at], current_A, dt_s)
                  .voltage_V);
    }
}

TEST_CASE("a vanishing scale leaves the linear cell", "[model][charge_transfer]") {
    Random random(64);
    for (int n = 0; n < 200; ++n) {
        const auto linear = voltkeel_test::random_cell<branches>(random);
        const double scale_V = n % 2 == 0 ? 1e-12 : 0.0;
        const Cell owned = voltkeel_test::with_transfer<double>(linear, {scale_V, 3.0, 0.5});
        CellState<double, branches> plain;
        State state;
        plain.soc = state.soc = random.uniform(0.1, 0.9);
        for (int k = 0; k < 30; ++k) {
            const CellInput<double> input{linear.scalars.capacity_Ah * random.uniform(-2, 2),
                                          random.uniform(0.1, 20), random.uniform(-15, 40)};
            voltkeel::step(linear.view(), input, plain);
            voltkeel::step(owned.view(), input, state);
            CAPTURE(n, k, scale_V, input.current_A, input.dt_s);
            CHECK(state.soc == plain.soc);
            CHECK(state.branch_V[0] == plain.branch_V[0]);
            CHECK(state.branch_V[1] == plain.branch_V[1]);
            CHECK(state.hysteresis == plain.hysteresis);
            // s asinh(|I| / I0) with |I| <= 120 A is below 5.1 s.
            CHECK(std::abs(voltage_at(owned.view(), state, input.current_A, input.temperature_degC)
                               .voltage_V -
                           voltage_at(linear.view(), plain, input.current_A, input.temperature_degC)
                               .voltage_V) <= 5.1 * scale_V + 1e-15);
        }
    }
}

TEST_CASE("far below the exchange current the branch is one more linear branch",
          "[model][charge_transfer]") {
    // s / I0 and tau are those of the third branch. sinh(y) = y (1 + y^2 / 6 ..): at y = I / I0 =
    // 1e-4 the two differ by some 1e-9 of themselves.
    voltkeel_test::LinearShape shape;
    shape.branch_time_s[2] = 0.7;
    const auto linear = voltkeel_test::linear_cell<double, 3>(shape);
    const double scale_V = shape.branch_ohm[2] * 1e5;
    const Cell owned = voltkeel_test::with_transfer<double>(
        voltkeel_test::linear_cell<double, branches>(shape), {scale_V, 1e5, 0.7});
    CellState<double, 3> plain;
    State state;
    plain.soc = state.soc = 0.5;
    Random random(65);
    for (int k = 0; k < 500; ++k) {
        const CellInput<double> input{random.uniform(-10, 10), random.uniform(0.01, 3), 25};
        voltkeel::step(linear.view(), input, plain);
        voltkeel::step(owned.view(), input, state);
        CAPTURE(k, input.current_A, input.dt_s, plain.branch_V[2]);
        CHECK(std::abs(state.branch_V[2] - plain.branch_V[2]) < 1e-9);
    }
    CHECK(voltkeel::direct_current_resistance_ohm(owned.resistance[0]) ==
          Approx(voltkeel::direct_current_resistance_ohm(linear.resistance[0])).epsilon(1e-14));
}

TEST_CASE("float keeps up with double over a drive", "[model][charge_transfer]") {
    // A float of 4 V has steps of 2.4e-7 V; lookups and the branch's logarithm add theirs. Bound:
    // 0.1 mV after an hour of one-second steps, 1e-6 of SOC thanks to the compensated sum.
    Random random(66);
    double worst_V = 0;
    double worst_soc = 0;
    for (int n = 0; n < 20; ++n) {
        const Cell owned = voltkeel_test::random_transfer_cell<branches>(random);
        const auto small = voltkeel_test::in_float(owned);
        State state;
        CellState<float, branches, true> single;
        state.soc = 0.5;
        single.soc = 0.5F;
        for (int k = 0; k < 3600; ++k) {
            const double rate_per_h = 1.5 * std::sin(k / 9.0) + std::sin(k / 57.0 + n);
            const auto current_A = static_cast<float>(owned.scalars.capacity_Ah * rate_per_h);
            const float degC = 5.0F + 0.005F * static_cast<float>(k);
            voltkeel::step(owned.view(),
                           {static_cast<double>(current_A), 1, static_cast<double>(degC)}, state);
            voltkeel::step(small.view(), {current_A, 1.0F, degC}, single);
            worst_V = std::max(
                worst_V,
                voltkeel_test::apart(voltage_at(small.view(), single, current_A, degC).voltage_V,
                                     voltage_at(owned.view(), state, static_cast<double>(current_A),
                                                static_cast<double>(degC))
                                         .voltage_V));
            worst_soc = std::max(worst_soc, voltkeel_test::apart(single.soc, state.soc));
        }
    }
    CAPTURE(worst_V, worst_soc);
    CHECK(worst_V < 1e-4);
    CHECK(worst_V > 0);
    CHECK(worst_soc < 1e-6);
}

TEST_CASE("validate names the node of the charge transfer that cannot be",
          "[model][charge_transfer]") {
    const double nan = std::numeric_limits<double>::quiet_NaN();
    const double infinity = std::numeric_limits<double>::infinity();
    const Cell good = voltkeel_test::with_transfer<double>(
        voltkeel_test::linear_cell<double, branches>(), {0.05, 2, 0.5});
    REQUIRE(voltkeel::validate(good.view()).status == Status::ok);
    struct Row {
        double ChargeTransfer<double>::*member;
        const char* field;
        double value;
        Status status;
        double bound;
    };
    using Transfer = ChargeTransfer<double>;
    const char* const scale = "resistance.transfer.scale_V";
    const char* const exchange = "resistance.transfer.exchange_current_A";
    const char* const time = "resistance.transfer.time_s";
    for (const Row& row :
         {Row{&Transfer::scale_V, scale, -1e-9, Status::out_of_range, 0},
          {&Transfer::scale_V, scale, 2.01, Status::out_of_range, 2},
          {&Transfer::scale_V, scale, nan, Status::not_finite, 0},
          {&Transfer::exchange_current_A, exchange, 0, Status::out_of_range, 1e-6},
          {&Transfer::exchange_current_A, exchange, -2, Status::out_of_range, 1e-6},
          {&Transfer::exchange_current_A, exchange, 1.1e6, Status::out_of_range, 1e6},
          {&Transfer::exchange_current_A, exchange, infinity, Status::not_finite, 1e-6},
          {&Transfer::time_s, time, 0, Status::out_of_range, 1e-4},
          {&Transfer::time_s, time, 1.1e6, Status::out_of_range, 1e6},
          {&Transfer::time_s, time, nan, Status::not_finite, 1e-4}}) {
        for (const int index : {0, 3}) {
            Cell bad = good;
            bad.resistance[static_cast<std::size_t>(index)].transfer.*row.member = row.value;
            const auto finding = voltkeel::validate(bad.view());
            CAPTURE(row.field, row.value, index, finding.field);
            CHECK(finding.status == row.status);
            CHECK(std::string(finding.field) == row.field);
            CHECK(finding.index == index);
            CHECK(finding.bound == row.bound);
            if (!std::isnan(row.value)) CHECK(finding.value == row.value);
        }
    }
    // Nothing at all is a scale like any other: the branch is then off.
    Cell off = good;
    for (auto& node : off.resistance)
        node.transfer.scale_V = 0;
    CHECK(voltkeel::validate(off.view()).status == Status::ok);
}
