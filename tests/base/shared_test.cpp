#include "uroko/base/shared.h"

#include <catch2/catch.hpp>
#include <ctime>
#include <memory>

#include "uroko/base/date.h"
#include "uroko/base/result.h"
#include "uroko/base/token.h"

using namespace uroko;

TEST_CASE("the guide is found beside the program, its pages with their titles, the reader's first") {
  const auto pages = guide_pages();
  REQUIRE(pages.size() > 10);
  CHECK(pages[0].name == "keeping");
  CHECK(pages[1].name == "first-recheck");
  for (const auto& page : pages) {
    INFO(page.name);
    CHECK_FALSE(page.title.empty());
    CHECK(std::filesystem::is_regular_file(page.file));
  }
  CHECK(shared_path("there-is-no-such-thing").empty());
}

TEST_CASE("a result is a value that can be moved out, or the refusal as it was given") {
  Result<std::unique_ptr<int>> value(std::make_unique<int>(7));
  REQUIRE(value);
  CHECK(**value == 7);
  const auto taken = std::move(value).value();
  CHECK(*taken == 7);
  const Result<int> refused(Refusal{"no-card", "no card was found", "show it"});
  REQUIRE_FALSE(refused.ok());
  CHECK(refused.refusal().code == "no-card");
  CHECK(refused.refusal().advice == "show it");
  Result<std::string> word(std::string("a"));
  word->append("b");
  CHECK(*word == "ab");
}

TEST_CASE("a token's copies are one token") {
  const Token waiter, job = waiter;
  job.progress(0.5);
  CHECK(waiter.progress() == 0.5);
  CHECK_FALSE(job.cancelled());
  waiter.cancel();
  CHECK(job.cancelled());
}

TEST_CASE("now is the clock's local time with its offset, and dates are ordered by it") {
  const auto earlier = std::time(nullptr);
  const auto now = DateTime::now();
  const auto later = std::time(nullptr);
  REQUIRE(now.utc_offset_min);
  const double utc_s = now.days() * 86400 - *now.utc_offset_min * 60;
  CHECK(utc_s >= static_cast<double>(earlier) - 0.5);
  CHECK(utc_s <= static_cast<double>(later) + 0.5);
  CHECK(DateTime::parse(now.iso()) == now);
  CHECK(before(DateTime::parse("2026-03-02T10:14").value(), DateTime::parse("2026-03-02T10:15").value()));
  CHECK_FALSE(before(now, now));
}
