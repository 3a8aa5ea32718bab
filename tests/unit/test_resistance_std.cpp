// Resistances with their standard deviations at any place, the filter's settings from the noise
// that a fit found, and both in a cell file.

#include <catch2/catch.hpp>
#include <cmath>
#include <string>
#include <tuple>
#include <utility>
#include <vector>

#include "support/made_tests.hpp"
#include "voltkeel/io/cell_file.hpp"
#include "voltkeel/io/filter_settings.hpp"

using Catch::Contains;
using voltkeel::Cell;
using voltkeel::filter_settings;
using voltkeel::Grid;
using voltkeel::resistance_with_std;
using voltkeel::ResistanceStd;
using voltkeel::SocFilterSettings;
using voltkeel::ValueStd;
using voltkeel_test::error_text;

namespace {

constexpr double kelvin = 273.15;
constexpr double gas_constant = 8.314462618;  // CODATA 2018, from memory, not re-read

/// A grid of the same shape, each value times the share of its row.
Grid shares_of(const Grid& values, double warm, double cold) {
    Grid stds = values;
    for (std::size_t t = 0; t < stds.size(); ++t) {
        for (std::size_t s = 0; s < stds[t].size(); ++s)
            stds[t][s] *= t == 0 ? cold : warm;
    }
    return stds;
}

/// A cell tested at 5 and 25 degC: standard deviations of 4 and 2 % of R0, 20 and 10 % of the
/// branches, 12 and 6 % of the charge transfer.
Cell spread_cell(bool transfer = true) {
    voltkeel_test::MadeCellShape shape;
    shape.branches = 2;
    shape.charge_transfer = transfer;
    Cell cell = voltkeel_test::made_cell(shape);
    auto& r = cell.resistance;
    r.r0_ohm_std = shares_of(r.r0_ohm, 0.02, 0.04);
    for (auto& branch : r.branches) {
        branch.resistance_ohm_std = shares_of(branch.resistance_ohm, 0.1, 0.2);
        branch.time_s_std = shares_of(branch.time_s, 0.1, 0.2);
    }
    if (r.charge_transfer) {
        auto& t = *r.charge_transfer;
        t.scale_V_std = shares_of(t.scale_V, 0.06, 0.12);
        t.exchange_current_A_std = shares_of(t.exchange_current_A, 0.06, 0.12);
        t.time_s_std = shares_of(t.time_s, 0.06, 0.12);
    }
    return cell;
}

double share(const ValueStd& x) {
    return x.std / x.value;
}

/// Every value and its share of spread at 25 degC.
std::vector<std::pair<ValueStd, double>> all_of(const ResistanceStd& r) {
    std::vector<std::pair<ValueStd, double>> all{{r.r0_ohm, 0.02}};
    for (const ValueStd& x : r.branch_ohm)
        all.emplace_back(x, 0.1);
    for (const ValueStd& x : r.branch_time_s)
        all.emplace_back(x, 0.1);
    REQUIRE(r.transfer_scale_V);
    REQUIRE(r.exchange_current_A);
    REQUIRE(r.transfer_time_s);
    for (const auto& x : {r.transfer_scale_V, r.exchange_current_A, r.transfer_time_s})
        all.emplace_back(*x, 0.06);
    return all;
}

}  // namespace

TEST_CASE("at a tested temperature and node the values of the file come back", "[cell]") {
    const Cell cell = spread_cell();
    const auto& grid = cell.resistance;
    for (std::size_t t = 0; t < grid.temperature_degC.size(); ++t) {
        for (std::size_t s = 0; s < grid.soc.size(); ++s) {
            const ResistanceStd r =
                resistance_with_std(cell, grid.soc[s], grid.temperature_degC[t]);
            CAPTURE(grid.soc[s], grid.temperature_degC[t]);
            CHECK(r.tested);
            const auto same = [&](const ValueStd& found, const Grid& values, const Grid& stds) {
                CHECK(found.value == Approx(values[t][s]).epsilon(1e-12));
                CHECK(found.std == Approx(stds[t][s]).epsilon(1e-12));
            };
            same(r.r0_ohm, grid.r0_ohm, grid.r0_ohm_std);
            REQUIRE(r.branch_ohm.size() == 2);
            REQUIRE(r.branch_time_s.size() == 2);
            for (std::size_t i = 0; i < 2; ++i) {
                const auto& branch = grid.branches[i];
                same(r.branch_ohm[i], branch.resistance_ohm, branch.resistance_ohm_std);
                same(r.branch_time_s[i], branch.time_s, branch.time_s_std);
            }
            const auto& transfer = *grid.charge_transfer;
            same(*r.transfer_scale_V, transfer.scale_V, transfer.scale_V_std);
            same(*r.exchange_current_A, transfer.exchange_current_A,
                 transfer.exchange_current_A_std);
            same(*r.transfer_time_s, transfer.time_s, transfer.time_s_std);
        }
    }
}

TEST_CASE("between nodes values follow the model and shares of spread straight lines", "[cell]") {
    const Cell cell = spread_cell();
    const voltkeel::CellTables<double, 2, true> tables(cell);
    for (const double degC : {5.0, 10.0, 15.0, 20.0, 25.0}) {
        for (const double soc : {0.013, 0.27, 0.5, 0.981}) {
            const ResistanceStd r = resistance_with_std(cell, soc, degC);
            CAPTURE(soc, degC);
            CHECK(r.tested);
            // Half-way between 2 % at 25 degC and 4 % at 5 degC lie 3 % at 15 degC.
            const double colder = 1 + (25 - degC) / 20;
            for (const auto& [x, warm] : all_of(r))
                CHECK(share(x) == Approx(warm * colder).epsilon(1e-9));
            // The model's table has nodes every 2.5 K, where the temperatures here lie.
            const auto model =
                voltkeel::resistance_at(tables.parameters().resistance, soc, degC).value;
            CHECK(r.r0_ohm.value == Approx(model.r0_ohm).epsilon(1e-9));
            for (std::size_t i = 0; i < 2; ++i) {
                // Straight lines over SOC first and Arrhenius after it, or the other way round:
                // the two differ in second order of a node's distance.
                CHECK(r.branch_ohm[i].value == Approx(model.branch_ohm[i]).epsilon(1e-4));
                CHECK(r.branch_time_s[i].value == Approx(model.branch_time_s[i]).epsilon(1e-4));
            }
            CHECK(r.transfer_scale_V->value == Approx(model.transfer.scale_V).epsilon(1e-9));
            CHECK(r.exchange_current_A->value ==
                  Approx(model.transfer.exchange_current_A).epsilon(1e-9));
            CHECK(r.transfer_time_s->value == Approx(model.transfer.time_s).epsilon(1e-9));
        }
    }
}

TEST_CASE("beyond the tested temperatures the spread grows as the activation energy allows",
          "[cell]") {
    const Cell cell = spread_cell();
    // An activation energy known to 8 kJ/mol moves a value by exp(8e3 / R (1 / T - 1 / T_tested)).
    const auto beyond = [](double degC, double tested_degC) {
        return 8e3 / gas_constant * std::abs(1 / (degC + kelvin) - 1 / (tested_degC + kelvin));
    };
    for (const auto& [degC, nearest, colder] : {std::tuple{-20.0, 5.0, 2.0},
                                                {0.0, 5.0, 2.0},
                                                {4.999, 5.0, 2.0},
                                                {25.001, 25.0, 1.0},
                                                {40.0, 25.0, 1.0},
                                                {60.0, 25.0, 1.0}}) {
        const ResistanceStd r = resistance_with_std(cell, 0.5, degC);
        CAPTURE(degC);
        CHECK_FALSE(r.tested);
        for (const auto& [x, warm] : all_of(r)) {
            CHECK(share(x) ==
                  Approx(std::hypot(warm * colder, beyond(degC, nearest))).epsilon(1e-6));
        }
    }
    // At 60 degC that is a third of the value (worked by hand: 962.2 K * 3.524e-4 / K).
    CHECK(share(resistance_with_std(cell, 0.5, 60).transfer_scale_V.value()) ==
          Approx(std::hypot(0.06, 0.33908)).epsilon(1e-3));
    double before = 0;
    for (double degC = 25; degC <= 70; degC += 5) {
        const double now = share(resistance_with_std(cell, 0.5, degC).r0_ohm);
        CHECK(now > before);
        before = now;
    }
}

TEST_CASE("without standard deviations only what lies beyond the tests has a spread", "[cell]") {
    voltkeel_test::MadeCellShape shape;
    shape.branches = 3;
    const Cell cell = voltkeel_test::made_cell(shape);
    const ResistanceStd inside = resistance_with_std(cell, 0.4, 12);
    CHECK(inside.tested);
    CHECK(inside.r0_ohm.std == 0);
    REQUIRE(inside.branch_ohm.size() == 3);
    for (const ValueStd& x : inside.branch_ohm)
        CHECK(x.std == 0);
    CHECK_FALSE(inside.transfer_scale_V);
    CHECK_FALSE(inside.exchange_current_A);
    CHECK_FALSE(inside.transfer_time_s);
    const ResistanceStd outside = resistance_with_std(cell, 0.4, -10);
    CHECK_FALSE(outside.tested);
    CHECK(outside.r0_ohm.std > 0);
    CHECK(outside.branch_time_s[2].std > 0);
}

TEST_CASE("a place that is none and a cell that cannot be are refused by name", "[cell]") {
    const Cell cell = spread_cell();
    const double nan = std::nan("");
    for (const double soc : {-0.001, 1.001, nan, HUGE_VAL}) {
        CAPTURE(soc);
        CHECK_THAT(error_text([&] { (void)resistance_with_std(cell, soc, 25); }),
                   Contains("soc: ") && Contains("0 .. 1"));
    }
    for (const double degC : {-100.5, 200.5, nan, -HUGE_VAL}) {
        CAPTURE(degC);
        CHECK_THAT(error_text([&] { (void)resistance_with_std(cell, 0.5, degC); }),
                   Contains("temperature_degC: ") && Contains("-100 .. 200"));
    }
    CHECK(error_text([&] { (void)resistance_with_std(cell, 0, -100); }).empty());
    CHECK(error_text([&] { (void)resistance_with_std(cell, 1, 200); }).empty());

    struct Row {
        const char* field;
        void (*spoil)(Cell&);
    };
    for (const Row& row : {
             Row{"resistance.charge_transfer.scale_V[1][3]",
                 [](Cell& c) { c.resistance.charge_transfer->scale_V[1][3] = 0; }},
             {"resistance.charge_transfer.exchange_current_A[0][0]",
              [](Cell& c) { c.resistance.charge_transfer->exchange_current_A[0][0] = -1; }},
             {"resistance.charge_transfer.time_s[1][2]",
              [](Cell& c) { c.resistance.charge_transfer->time_s[1][2] = std::nan(""); }},
             {"resistance.charge_transfer.scale_V_std[0][1]",
              [](Cell& c) { c.resistance.charge_transfer->scale_V_std[0][1] = -0.01; }},
             {"resistance.charge_transfer.time_s",
              [](Cell& c) { c.resistance.charge_transfer->time_s.pop_back(); }},
             {"noise.voltage_std_V", [](Cell& c) { c.noise.voltage_std_V = -0.001; }},
             {"noise.overvoltage_share_std", [](Cell& c) { c.noise.overvoltage_share_std = 10.5; }},
             {"noise.lasting_share", [](Cell& c) { c.noise.lasting_share = 1.01; }},
             {"noise.correlation_time_s",
              [](Cell& c) { c.noise.correlation_time_s = std::nan(""); }},
             {"noise.resistance_log_std", [](Cell& c) { c.noise.resistance_log_std = 3.1; }},
             {"noise.resistance_log_std_per_sqrt_h",
              [](Cell& c) { c.noise.resistance_log_std_per_sqrt_h = -0.1; }},
             {"noise.tested_current_A", [](Cell& c) { c.noise.tested_current_A = -1; }},
             {"noise.untested_share_std", [](Cell& c) { c.noise.untested_share_std = 1.5; }},
         }) {
        Cell bad = cell;
        row.spoil(bad);
        CAPTURE(row.field);
        CHECK_THAT(error_text([&] { (void)resistance_with_std(bad, 0.5, 25); }),
                   Contains(row.field));
        CHECK_THAT(error_text([&] { (void)filter_settings(bad); }), Contains(row.field));
    }
}

// ---------------------------------------------------------------------------------------------
// The filter's settings

TEST_CASE("a cell that does not know its noise gets the filter's defaults", "[cell][soc_filter]") {
    Cell cell = spread_cell();
    cell.noise = {};
    cell.noise.overvoltage_share_std = 0.7;  // means nothing without the constant part
    cell.noise.resistance_log_std = 0.5;
    const SocFilterSettings<double> defaults;
    const SocFilterSettings<double> s = filter_settings(cell);
    CHECK(s.voltage_std_V == defaults.voltage_std_V);
    CHECK(s.overvoltage_share_std == defaults.overvoltage_share_std);
    CHECK(s.log_scale_std_initial == defaults.log_scale_std_initial);
    CHECK(s.soc_std_floor == defaults.soc_std_floor);
    CHECK(s.soc_std_per_sqrt_h == defaults.soc_std_per_sqrt_h);
}

TEST_CASE("the filter's noise is that of the fit, grown by what repeats", "[cell][soc_filter]") {
    Cell cell = spread_cell();
    const SocFilterSettings<double> defaults;
    REQUIRE(defaults.update_interval_s == 1);

    // Nothing repeats: as found.
    cell.noise = {0.006, 0.11, 0, 12, 0.02};
    SocFilterSettings<double> s = filter_settings(cell);
    CHECK(s.voltage_std_V == Approx(0.006));
    CHECK(s.overvoltage_share_std == Approx(0.11));
    CHECK(s.log_scale_std_initial == defaults.log_scale_std_initial);  // 2 * 0.02 is less

    // A fifth of the variance repeats for 12 updates of 1 s: sqrt(1 + 2 * 0.2 * 12) = 2.40832.
    cell.noise = {0.006, 0.11, 0.2, 12, 0.2};
    s = filter_settings(cell);
    CHECK(s.voltage_std_V == Approx(0.006 * 2.40832).epsilon(1e-5));
    CHECK(s.overvoltage_share_std == Approx(0.11 * 2.40832).epsilon(1e-5));
    CHECK(s.log_scale_std_initial == Approx(0.4));

    // Beyond half a minute it is no noise any more: sqrt(1 + 2 * 0.2 * 30) = 3.60555.
    cell.noise.correlation_time_s = 30;
    const double longest_V = filter_settings(cell).voltage_std_V;
    CHECK(longest_V == Approx(0.006 * 3.60555).epsilon(1e-5));
    cell.noise.correlation_time_s = 3000;
    CHECK(filter_settings(cell).voltage_std_V == longest_V);

    // The walk of the resistance is taken as found, between the default and 100 % in an hour.
    CHECK(s.log_scale_std_per_sqrt_h == defaults.log_scale_std_per_sqrt_h);
    cell.noise.resistance_log_std_per_sqrt_h = 0.43;
    CHECK(filter_settings(cell).log_scale_std_per_sqrt_h == Approx(0.43));
    cell.noise.resistance_log_std_per_sqrt_h = 0.01;
    CHECK(filter_settings(cell).log_scale_std_per_sqrt_h ==
          Approx(defaults.log_scale_std_per_sqrt_h));
    cell.noise.resistance_log_std_per_sqrt_h = 2.5;
    CHECK(filter_settings(cell).log_scale_std_per_sqrt_h == Approx(1));
}

TEST_CASE("whatever noise a cell states, the filter takes the settings", "[cell][soc_filter]") {
    voltkeel_test::Random random(91);
    const Cell made = spread_cell();
    const voltkeel::CellTables<double, 2, true> tables(made);
    for (int n = 0; n < 200; ++n) {
        Cell cell = made;
        cell.noise = {
            std::pow(10.0, random.uniform(-6, 0)), random.uniform(0, 10), random.uniform(0, 1),
            std::pow(10.0, random.uniform(-3, 6)), random.uniform(0, 3),  random.uniform(0, 3)};
        cell.capacity_Ah_std = cell.capacity_Ah * random.uniform(0, 2);
        for (double& std_V : cell.ocv.voltage_std_V)
            std_V = random.uniform(0, 0.05);
        const SocFilterSettings<double> s = filter_settings(cell);
        const auto finding = voltkeel::validate(s);
        CAPTURE(n, cell.noise.voltage_std_V, cell.noise.overvoltage_share_std,
                cell.noise.lasting_share, cell.noise.correlation_time_s,
                cell.noise.resistance_log_std, cell.noise.resistance_log_std_per_sqrt_h,
                finding.field, finding.value, finding.bound);
        CHECK(finding.status == voltkeel::Status::ok);
        CHECK(s.voltage_std_V >= 1e-3);
        CHECK(s.voltage_std_V <= 0.2);
        CHECK(s.overvoltage_share_std <= 2);
        voltkeel::SocFilter<double, 2, true> filter;
        CHECK(filter.configure(tables.parameters(), s) == voltkeel::Status::ok);
    }
}

// ---------------------------------------------------------------------------------------------
// In a file

TEST_CASE("noise and charge transfer come back from a file to the last bit", "[cell_file]") {
    voltkeel_test::Random random(92);
    for (int n = 0; n < 20; ++n) {
        Cell cell = spread_cell();
        cell.noise = {random.uniform(0, 1),   random.uniform(0, 10), random.uniform(0, 1),
                      random.uniform(0, 1e6), random.uniform(0, 3),  random.uniform(0, 3),
                      random.uniform(0, 1e6), random.uniform(0, 1)};
        auto& t = *cell.resistance.charge_transfer;
        for (Grid* grid : {&t.scale_V, &t.exchange_current_A, &t.time_s, &t.scale_V_std,
                           &t.exchange_current_A_std, &t.time_s_std}) {
            for (auto& row : *grid) {
                for (double& value : row)
                    value *= random.uniform(0.5, 2);
            }
        }
        const Cell again = voltkeel::parse_cell(voltkeel::to_json(cell), "again");
        CHECK(again.noise.voltage_std_V == cell.noise.voltage_std_V);
        CHECK(again.noise.overvoltage_share_std == cell.noise.overvoltage_share_std);
        CHECK(again.noise.lasting_share == cell.noise.lasting_share);
        CHECK(again.noise.correlation_time_s == cell.noise.correlation_time_s);
        CHECK(again.noise.resistance_log_std == cell.noise.resistance_log_std);
        CHECK(again.noise.resistance_log_std_per_sqrt_h ==
              cell.noise.resistance_log_std_per_sqrt_h);
        CHECK(again.noise.tested_current_A == cell.noise.tested_current_A);
        CHECK(again.noise.untested_share_std == cell.noise.untested_share_std);
        REQUIRE(again.resistance.charge_transfer);
        const auto& back = *again.resistance.charge_transfer;
        CHECK(back.scale_V == t.scale_V);
        CHECK(back.scale_V_std == t.scale_V_std);
        CHECK(back.exchange_current_A == t.exchange_current_A);
        CHECK(back.exchange_current_A_std == t.exchange_current_A_std);
        CHECK(back.time_s == t.time_s);
        CHECK(back.time_s_std == t.time_s_std);
    }
    const Cell plain = voltkeel::parse_cell(voltkeel::to_json(spread_cell(false)), "plain");
    CHECK_FALSE(plain.resistance.charge_transfer);
    CHECK(plain.noise.voltage_std_V == 0);
}

TEST_CASE("a file with noise or charge transfer that cannot be is refused by the name of the field",
          "[cell_file]") {
    Cell cell = spread_cell();
    cell.noise = {0.0031, 0.131, 0.31, 57, 0.041};
    const std::string json = voltkeel::to_json(cell);
    REQUIRE(error_text([&] { (void)voltkeel::parse_cell(json, "good"); }).empty());
    // A key once in the file is renamed; a number after its key is replaced.
    const auto renamed = [&](const std::string& from, const std::string& to) {
        std::string text = json;
        const auto at = text.find("\"" + from + "\"");
        REQUIRE(at != std::string::npos);
        return text.replace(at, from.size() + 2, "\"" + to + "\"");
    };
    const auto with_number = [&](const std::string& after, const std::string& key,
                                 const std::string& number) {
        std::string text = json;
        auto at = text.find("\"" + after + "\"");
        REQUIRE(at != std::string::npos);
        at = text.find("\"" + key + "\"", at);
        REQUIRE(at != std::string::npos);
        const auto begin = text.find_first_of("-0123456789", at + key.size() + 2);
        const auto end = text.find_first_of(",]\n}", begin);
        return text.replace(begin, end - begin, number);
    };
    struct Row {
        std::string json;
        std::string place;
    };
    for (const Row& row : {
             Row{with_number("noise", "voltage_std_V", "-0.1"), "/noise/voltage_std_V"},
             {with_number("noise", "voltage_std_V", "1.5"), "/noise/voltage_std_V"},
             {with_number("noise", "voltage_std_V", "\"low\""), "/noise/voltage_std_V"},
             {with_number("noise", "overvoltage_share_std", "11"), "/noise/overvoltage_share_std"},
             {with_number("noise", "lasting_share", "1.2"), "/noise/lasting_share"},
             {with_number("noise", "correlation_time_s", "-1"), "/noise/correlation_time_s"},
             {with_number("noise", "resistance_log_std", "4"), "/noise/resistance_log_std"},
             {with_number("noise", "resistance_log_std_per_sqrt_h", "-1"),
              "/noise/resistance_log_std_per_sqrt_h"},
             {renamed("lasting_share", "lasting"), "lasting"},
             {with_number("charge_transfer", "scale_V", "0"),
              "/resistance/charge_transfer/scale_V/0/0"},
             {with_number("charge_transfer", "scale_V", "2.5"),
              "/resistance/charge_transfer/scale_V/0/0"},
             {with_number("charge_transfer", "exchange_current_A", "-3"),
              "/resistance/charge_transfer/exchange_current_A/0/0"},
             {with_number("charge_transfer", "time_s", "0"),
              "/resistance/charge_transfer/time_s/0/0"},
             {with_number("charge_transfer", "scale_V_std", "-0.001"),
              "/resistance/charge_transfer/scale_V_std/0/0"},
             {renamed("exchange_current_A", "exchange_A"), "exchange_current_A"},
         }) {
        CAPTURE(row.place);
        CHECK_THAT(error_text([&] { (void)voltkeel::parse_cell(row.json, "bad.json"); }),
                   Contains("bad.json") && Contains(row.place));
    }
}
