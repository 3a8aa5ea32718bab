// What validate() finds: every field, one bad value at a time.

#include <catch2/catch.hpp>
#include <cstring>
#include <functional>
#include <limits>
#include <string>
#include <vector>

#include "support/example_cell.hpp"
#include "support/scalars.hpp"
#include "voltkeel/cell/parameters.hpp"

using voltkeel::Status;
using voltkeel::validate;
using voltkeel_test::OwnedCell;
using voltkeel_test::Random;

TEMPLATE_LIST_TEST_CASE("a sound cell passes", "[parameters]", voltkeel_test::EveryModel) {
    using Real = typename TestType::Scalar;
    constexpr int branches = TestType::branches;
    Random random(1);
    for (int k = 0; k < 50; ++k) {
        const auto cell =
            voltkeel_test::cell_cast<Real>(voltkeel_test::random_cell<branches>(random));
        const auto finding = validate(cell.view());
        CAPTURE(k, finding.field, finding.index, finding.value, finding.bound);
        REQUIRE(finding.status == Status::ok);
    }
    const auto linear = voltkeel_test::linear_cell<Real, branches>();
    CHECK(validate(linear.view()).status == Status::ok);
}

TEMPLATE_LIST_TEST_CASE("every number that is bad alone is found, named and located",
                        "[parameters]", voltkeel_test::EveryModel) {
    using Real = typename TestType::Scalar;
    constexpr int branches = TestType::branches;
    using Cell = OwnedCell<Real, branches>;
    Random random(2);
    const Cell sound = voltkeel_test::cell_cast<Real>(voltkeel_test::random_cell<branches>(random));

    struct Field {
        const char* name;
        int index;
        std::function<Real&(Cell&)> of;
        Real too_low;
        Real too_high;
    };
    std::vector<Field> fields = {
        {"capacity_Ah", -1, [](Cell& c) -> Real& { return c.scalars.capacity_Ah; }, 0, Real(1e6)},
        {"coulombic_efficiency", -1,
         [](Cell& c) -> Real& { return c.scalars.coulombic_efficiency; }, Real(0.49), Real(1.01)},
        {"self_discharge_per_s", -1,
         [](Cell& c) -> Real& { return c.scalars.self_discharge_per_s; }, Real(-1e-9), Real(1)},
        {"hysteresis_rate", -1, [](Cell& c) -> Real& { return c.scalars.hysteresis_rate; },
         Real(-1), Real(1e9)},
        {"charge_rise.soc_start", -1,
         [](Cell& c) -> Real& { return c.scalars.charge_rise.soc_start; }, Real(-0.01), Real(1)},
        {"charge_rise.resistance_ohm", -1,
         [](Cell& c) -> Real& { return c.scalars.charge_rise.resistance_ohm; }, Real(-1e-6),
         Real(1e4)},
        {"thermal.heat_capacity_J_per_K", -1,
         [](Cell& c) -> Real& { return c.scalars.thermal.heat_capacity_J_per_K; }, 0, Real(1e9)},
        {"thermal.resistance_K_per_W", -1,
         [](Cell& c) -> Real& { return c.scalars.thermal.resistance_K_per_W; }, 0, Real(1e9)},
    };
    for (std::size_t k = 0; k < sound.ocv.size(); ++k) {
        const int index = static_cast<int>(k);
        fields.push_back({"ocv.mean_V", index, [k](Cell& c) -> Real& { return c.ocv[k].mean_V; },
                          Real(-11), Real(11)});
        fields.push_back({"ocv.half_gap_V", index,
                          [k](Cell& c) -> Real& { return c.ocv[k].half_gap_V; }, Real(-0.001),
                          Real(2)});
        fields.push_back({"ocv.entropy_V_per_K", index,
                          [k](Cell& c) -> Real& { return c.ocv[k].entropy_V_per_K; }, Real(-0.011),
                          Real(0.011)});
    }
    for (std::size_t k = 0; k < sound.resistance.size(); ++k) {
        const int index = static_cast<int>(k);
        fields.push_back({"resistance.r0_ohm", index,
                          [k](Cell& c) -> Real& { return c.resistance[k].r0_ohm; }, Real(-1e-6),
                          Real(1e5)});
        for (int i = 0; i < branches; ++i) {
            fields.push_back({"resistance.branch_ohm", index,
                              [k, i](Cell& c) -> Real& { return c.resistance[k].branch_ohm[i]; },
                              Real(-1e-6), Real(1e5)});
            fields.push_back({"resistance.branch_time_s", index,
                              [k, i](Cell& c) -> Real& { return c.resistance[k].branch_time_s[i]; },
                              Real(0), Real(1e8)});
        }
    }
    const Real nan = std::numeric_limits<Real>::quiet_NaN();
    const Real infinity = std::numeric_limits<Real>::infinity();
    for (const Field& field : fields) {
        for (const Real bad : {field.too_low, field.too_high, nan, infinity, -infinity}) {
            Cell cell = sound;
            field.of(cell) = bad;
            const auto finding = validate(cell.view());
            CAPTURE(field.name, field.index, bad, finding.field, finding.index);
            const bool is_number = bad - bad == Real(0);
            CHECK(finding.status == (is_number ? Status::out_of_range : Status::not_finite));
            CHECK(std::string(finding.field) == field.name);
            CHECK(finding.index == field.index);
            if (is_number) {
                CHECK(finding.value == bad);
                // The bound printed is the one that was broken.
                CHECK((bad == field.too_low ? bad < finding.bound : bad > finding.bound));
            }
        }
    }
}

TEMPLATE_TEST_CASE("an OCV that does not rise is found at its node", "[parameters]",
                   VOLTKEEL_SCALARS) {
    Random random(3);
    const auto sound = voltkeel_test::cell_cast<TestType>(voltkeel_test::random_cell<2>(random));
    for (std::size_t k = 1; k < sound.ocv.size(); ++k) {
        auto cell = sound;
        cell.ocv[k].mean_V = cell.ocv[k - 1].mean_V;
        const auto finding = validate(cell.view());
        CAPTURE(k);
        CHECK(finding.status == Status::not_increasing);
        CHECK(std::string(finding.field) == "ocv.mean_V");
        CHECK(finding.index == static_cast<int>(k));
        CHECK(finding.value == cell.ocv[k].mean_V);
        CHECK(finding.bound == cell.ocv[k - 1].mean_V);
    }
}

TEMPLATE_TEST_CASE("missing and too short tables are found", "[parameters]", VOLTKEEL_SCALARS) {
    const auto sound = voltkeel_test::linear_cell<TestType, 2>();
    auto cell = sound.view();
    cell.ocv.nodes = nullptr;
    CHECK(validate(cell).status == Status::missing_table);
    CHECK(std::string(validate(cell).field) == "ocv");
    for (const int count : {1, 0, -3}) {
        CAPTURE(count);
        cell = sound.view();
        cell.ocv.count = count;
        CHECK(validate(cell).status == Status::missing_table);
        CHECK(validate(cell).value == static_cast<TestType>(count));
        cell = sound.view();
        cell.resistance.soc.count = count;
        CHECK(validate(cell).status == Status::missing_table);
        CHECK(std::string(validate(cell).field).find("resistance") == 0);
        CHECK(validate(cell).value == static_cast<TestType>(count));
        cell = sound.view();
        cell.resistance.temperature_degC.count = count;
        CHECK(validate(cell).status == Status::missing_table);
        CHECK(std::string(validate(cell).field).find("resistance") == 0);
        CHECK(validate(cell).value == static_cast<TestType>(count));
    }
    cell = sound.view();
    cell.resistance.nodes = nullptr;
    CHECK(validate(cell).status == Status::missing_table);
}

TEMPLATE_TEST_CASE("bad axes and a bad reference temperature are found", "[parameters]",
                   VOLTKEEL_SCALARS) {
    using Parameters = voltkeel::CellParameters<TestType, 2>;
    using Axis = voltkeel::UniformAxis<TestType>;
    const auto sound = voltkeel_test::linear_cell<TestType, 2>();
    const TestType nan = std::numeric_limits<TestType>::quiet_NaN();
    const TestType infinity = std::numeric_limits<TestType>::infinity();
    for (const TestType bad : {nan, infinity, -infinity}) {
        CAPTURE(bad);
        auto cell = sound.view();
        cell.ocv.reference_temperature_degC = bad;
        CHECK(validate(cell).status == Status::not_finite);
        for (Axis voltkeel::ResistanceTable<TestType, 2>::*axis :
             {&voltkeel::ResistanceTable<TestType, 2>::soc,
              &voltkeel::ResistanceTable<TestType, 2>::temperature_degC}) {
            for (TestType Axis::*member : {&Axis::first, &Axis::step, &Axis::inverse_step}) {
                cell = sound.view();
                cell.resistance.*axis.*member = bad;
                CHECK(validate(cell).status == Status::not_finite);
            }
        }
    }
    // An axis that runs backwards or stands still would look up the wrong node at every step.
    for (const TestType bad : {TestType(0), TestType(-1)}) {
        CAPTURE(bad);
        Parameters cell = sound.view();
        cell.resistance.temperature_degC.step = bad;
        CHECK(validate(cell).status != Status::ok);
        cell = sound.view();
        cell.resistance.soc.inverse_step = bad;
        CHECK(validate(cell).status != Status::ok);
    }
}

TEMPLATE_TEST_CASE("the extra resistance to a charge rises with the square", "[parameters]",
                   VOLTKEEL_SCALARS) {
    const voltkeel::ChargeRise<TestType> rise{TestType(0.75), TestType(0.002)};
    const auto near_to = [](TestType x, double y) { return voltkeel_test::apart(x, y) < 1e-8; };
    for (const double soc : {-0.02, 0.3, 0.75}) {
        CAPTURE(soc);
        CHECK(voltkeel::charge_rise_at(rise, static_cast<TestType>(soc)).value == TestType(0));
        CHECK(voltkeel::charge_rise_at(rise, static_cast<TestType>(soc)).slope == TestType(0));
    }
    const auto middle = voltkeel::charge_rise_at(rise, TestType(0.875));
    CHECK(near_to(middle.value, 0.0005));
    CHECK(near_to(middle.slope, 0.008));
    for (const double soc : {1.0, 1.02}) {
        const auto full = voltkeel::charge_rise_at(rise, static_cast<TestType>(soc));
        CHECK(full.value == TestType(0.002));
        CHECK(full.slope == TestType(0));
    }
}
