// Learned tapers in files: exponential tapers, whose times are known in closed form, written and
// read again; charges that teach nothing; files and plans that are refused.

#include <catch2/catch.hpp>
#include <cmath>
#include <filesystem>
#include <fstream>
#include <iterator>
#include <string>

#include "support/error_text.hpp"
#include "support/example_cell.hpp"
#include "voltkeel/error.hpp"
#include "voltkeel/io/taper_file.hpp"

namespace {

using voltkeel::LearnedTaper;
using voltkeel::Log;
using voltkeel::TaperTime;
using voltkeel_test::error_text;
using voltkeel_test::Random;

constexpr double end_A = 0.15;

/// Constant current to 4.2 V, there exp(-t / tau) down to `last_A`, warming from `start_degC` on.
Log charge(double tau_s, double start_degC, double last_A = end_A) {
    Log log;
    log.source = "charge.csv";
    const auto add = [&](double current_A, double voltage_V, double temperature_degC) {
        log.time_s.push_back(10.0 * static_cast<double>(log.time_s.size()));
        log.current_A.push_back(current_A);
        log.voltage_V.push_back(voltage_V);
        log.temperature_degC.push_back(temperature_degC);
    };
    add(0, 3.6, start_degC - 3);
    for (int k = 0; k < 100; ++k)
        add(2.5, 3.7 + 0.0049 * k, start_degC - 2);
    const double length_s = tau_s * std::log(2.5 / last_A);
    for (double t_s = 0; t_s < length_s + 10; t_s += 10)
        add(2.5 * std::exp(-t_s / tau_s), 4.2, start_degC + 4 * t_s / length_s);
    add(0, 4.18, start_degC + 30);  // what comes after the end counts nowhere
    return log;
}

LearnedTaper fresh() {
    LearnedTaper taper;
    taper.cell = "invented";
    taper.settings.capacity_Ah = 3;
    taper.voltage_V = 4.2;
    taper.provenance.made_by = "a test";
    taper.provenance.made_at = "2026-01-01T00:00:00Z";
    return taper;
}

std::filesystem::path scratch(const char* name) {
    return std::filesystem::temp_directory_path() /
           ("voltkeel_" + std::to_string(voltkeel_test::seed()) + name);
}

std::string text_of(const std::filesystem::path& path) {
    std::ifstream file(path, std::ios::binary);
    return {std::istreambuf_iterator<char>(file), std::istreambuf_iterator<char>()};
}

double left_s(const LearnedTaper& taper, double from_A) {
    TaperTime<double> time;
    REQUIRE(taper_learner(taper).time_left(from_A, end_A, time) == voltkeel::Status::ok);
    return time.time_s;
}

}  // namespace

TEST_CASE("a learned taper reads back as it was written, and goes on from there", "[taper]") {
    Random random(911);
    const auto path = scratch("taper.json");
    for (int run = 0; run < 20; ++run) {
        const double tau_s = random.uniform(300, 2000);
        CAPTURE(run, tau_s);
        LearnedTaper taper = fresh();
        taper.settings.memory_charges = random.uniform(1, 20);
        REQUIRE(learn_charge(taper, charge(tau_s, 20), end_A));
        CHECK(taper.state.charges == 1);
        CHECK(taper.temperature_min_degC == Approx(20));
        CHECK(taper.temperature_max_degC == Approx(24).margin(0.1));
        CHECK(left_s(taper, 1) == Approx(tau_s * std::log(1 / end_A)).epsilon(0.01));
        auto& file = taper.provenance.files.emplace_back();
        file.role = "charge";
        file.name = "charge.csv";
        file.sha256 = std::string(64, 'a');
        save_taper(path, taper);

        LearnedTaper again = voltkeel::load_taper(path);
        CHECK(again.cell == taper.cell);
        CHECK(again.settings.capacity_Ah == taper.settings.capacity_Ah);
        CHECK(again.settings.memory_charges == taper.settings.memory_charges);
        CHECK(again.settings.spread == taper.settings.spread);
        CHECK(again.voltage_V == taper.voltage_V);
        CHECK(again.provenance.made_by == "a test");
        CHECK(again.provenance.made_at == "2026-01-01T00:00:00Z");
        REQUIRE(again.provenance.files.size() == 1);
        CHECK(again.provenance.files[0].name == "charge.csv");
        CHECK(again.provenance.files[0].sha256 == std::string(64, 'a'));
        for (int k = 0; k < voltkeel::TaperState<double>::falls; ++k) {
            CHECK(again.state.time_s[k] == taper.state.time_s[k]);
            CHECK(again.state.square_s2[k] == taper.state.square_s2[k]);
            CHECK(again.state.weight[k] == taper.state.weight[k]);
        }
        // The next charge counts the same, whether the state went through a file or not.
        const Log next = charge(1.2 * tau_s, 5);
        REQUIRE(learn_charge(again, next, end_A));
        REQUIRE(learn_charge(taper, next, end_A));
        CHECK(left_s(again, 1) == left_s(taper, 1));
        CHECK(again.state.charges == 2);
        CHECK(again.temperature_min_degC == Approx(5));
        CHECK(again.temperature_max_degC == Approx(24).margin(0.1));
        const double kept = std::exp(-1 / taper.settings.memory_charges);
        CHECK(left_s(again, 1) ==
              Approx(tau_s * std::log(1 / end_A) * (kept + 1.2) / (kept + 1)).epsilon(0.01));
    }
    std::filesystem::remove(path);
}

TEST_CASE("a log without a completed charge leaves a learned taper as it is", "[taper]") {
    LearnedTaper taper = fresh();
    CHECK_FALSE(learn_charge(taper, charge(800, 20, 0.3), end_A));  // ends early
    taper.voltage_V = 4.25;
    CHECK_FALSE(learn_charge(taper, charge(800, 20), end_A));  // never held there
    CHECK(taper.state.charges == 0);
    CHECK(taper.temperature_max_degC == 0);
    CHECK(error_text([&] {
              (void)learn_charge(taper, charge(800, 20), -1);
          }).find("end_current_A: -1") != std::string::npos);
    taper.settings.capacity_Ah = 0;
    CHECK(error_text([&] {
              (void)learn_charge(taper, charge(800, 20), end_A);
          }).find("capacity_Ah: 0") != std::string::npos);
}

TEST_CASE("a plan that ends at another voltage is refused", "[taper]") {
    voltkeel::ChargePlan<double> plan;
    plan.zone_count = 2;
    plan.zones[0].voltage_V = 4.1;
    plan.zones[1].voltage_V = 4.2;
    const LearnedTaper taper = fresh();
    CHECK(voltkeel::held_voltage_V(plan) == 4.2);
    CHECK(error_text([&] { check_taper_fits(taper, plan); }).empty());
    plan.stage_count = 2;  // a stage can only ask for less
    plan.stages[1].voltage_V = 4.3;
    CHECK(voltkeel::held_voltage_V(plan) == 4.2);
    plan.stages[1].voltage_V = 4.15;
    CHECK(voltkeel::held_voltage_V(plan) == 4.15);
    const std::string said = error_text([&] { check_taper_fits(taper, plan); });
    CHECK(said.find("4.2 V") != std::string::npos);
    CHECK(said.find("4.15 V") != std::string::npos);
    CHECK(error_text([&] { check_taper_fits(taper, plan, 0.06); }).empty());
}

TEST_CASE("a wrong taper file is named with its place", "[taper]") {
    LearnedTaper taper = fresh();
    REQUIRE(learn_charge(taper, charge(800, 20), end_A));
    const auto path = scratch("wrong_taper.json");
    save_taper(path, taper);
    const std::string text = text_of(path);
    std::filesystem::remove(path);
    REQUIRE(error_text([&] { (void)voltkeel::parse_taper(text, "t.json"); }).empty());
    struct Wrong {
        const char* from;
        const char* to;
        const char* says;
    };
    for (const Wrong& wrong :
         {Wrong{"\"voltkeel.taper\"", "\"voltkeel.supply\"", "/format"},
          Wrong{"\"format_version\": 1", "\"format_version\": 2", "/format_version"},
          Wrong{"\"capacity_Ah\": 3", "\"capacity_Ah\": 0", "/capacity_Ah"},
          Wrong{"\"voltage_V\": 4.2", "\"voltage_V\": \"4.2\"", "/voltage_V"},
          Wrong{"\"charges\": 1", "\"charges\": 0", "/charges"},
          Wrong{"\"temperature_min_degC\": 20", "\"temperature_min_degC\": 60",
                "temperature_max_degC"},
          Wrong{"\"time_s\": [0", "\"time_s\": [7", "falls.time_s[0]: 7"},
          Wrong{"\"time_s\": [0.0, ", "\"time_s\": [", "/falls/time_s"},
          Wrong{"\"weight\": [0", "\"weight\": [1", "weight 1"}}) {
        std::string changed = text;
        const auto at = changed.find(wrong.from);
        CAPTURE(wrong.from, text);
        REQUIRE(at != std::string::npos);
        changed.replace(at, std::string(wrong.from).size(), wrong.to);
        const std::string said =
            error_text([&] { (void)voltkeel::parse_taper(changed, "t.json"); });
        CAPTURE(said);
        CHECK(said.find("t.json: ") == 0);
        CHECK(said.find(wrong.says) != std::string::npos);
    }
    CHECK(error_text([&] { (void)voltkeel::load_taper(path); }).find(path.string()) !=
          std::string::npos);
    taper.state.square_s2[12] *= 0.5;
    const auto refused = scratch("refused_taper.json");
    CHECK_FALSE(error_text([&] { save_taper(refused, taper); }).empty());
    CHECK_FALSE(std::filesystem::exists(refused));
}
