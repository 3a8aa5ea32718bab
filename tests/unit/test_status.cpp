// Status numbers appear in logs: they never change, and every one has its words.

#include <catch2/catch.hpp>
#include <set>
#include <string>

#include "voltkeel/status.hpp"

using voltkeel::message;
using voltkeel::Status;
using voltkeel::usable;

namespace {

struct Row {
    Status status;
    int number;
    bool usable;
};

const Row frozen[] = {
    {Status::ok, 0, true},
    {Status::missing_table, 1, false},
    {Status::not_finite, 2, false},
    {Status::out_of_range, 3, false},
    {Status::not_increasing, 4, false},
    {Status::not_started, 5, false},
    {Status::sample_not_finite, 20, false},
    {Status::time_step_invalid, 21, false},
    {Status::voltage_out_of_range, 22, false},
    {Status::snapshot_damaged, 23, false},
    {Status::snapshot_foreign, 24, false},
    {Status::measurement_rejected, 40, true},
    {Status::not_reached, 41, true},
    {Status::not_allowed, 42, true},
};

}  // namespace

TEST_CASE("status numbers are frozen", "[status]") {
    for (const Row& row : frozen) {
        CAPTURE(row.number);
        CHECK(static_cast<int>(row.status) == row.number);
        CHECK(usable(row.status) == row.usable);
    }
    STATIC_REQUIRE(sizeof(Status) == 1);
}

TEST_CASE("every status has its own words and no other number has any", "[status]") {
    std::set<int> known;
    std::set<std::string> texts;
    for (const Row& row : frozen) {
        known.insert(row.number);
        const std::string text = message(row.status);
        CAPTURE(row.number, text);
        CHECK_FALSE(text.empty());
        CHECK(text != "unknown status");
        CHECK(texts.insert(text).second);
    }
    // A new status without a row above fails here.
    for (int number = 0; number < 256; ++number) {
        if (known.count(number) != 0) continue;
        CAPTURE(number);
        CHECK(std::string(message(static_cast<Status>(number))) == "unknown status");
    }
}

TEST_CASE("usable follows the bands of the numbers", "[status]") {
    for (int number = 0; number < 256; ++number) {
        CAPTURE(number);
        CHECK(usable(static_cast<Status>(number)) ==
              (number == 0 || (number >= 40 && number < 60)));
    }
}

TEST_CASE("a status can be read at compile time", "[status]") {
    STATIC_REQUIRE(usable(Status::ok));
    STATIC_REQUIRE(message(Status::ok)[0] == 'o');
    const voltkeel::Finding<double> none;
    CHECK(none.status == Status::ok);
    CHECK(none.index == -1);
}
