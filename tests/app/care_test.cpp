// The care log, the scales, the water and the fish: what is typed is in the book as it was meant, or the form says what is wrong and with which field.
#include "app/on_the_desk.h"

using namespace uroko;
using namespace uroko::app;
using uroko::testing::OnTheDesk;

namespace {

struct Open : OnTheDesk {
  Session s{places};
  Open() {
    s.open_book(koi);
    REQUIRE(s.settle());
    REQUIRE(s.desk);
  }
  casebook::Book book() const { return casebook::Book::open(koi, casebook::Access::read); }
  std::string visit_day() const { return s.current_wound()->visit(s.visit)->visit.date.iso_date(); }
  void save() {
    s.save_log();
    REQUIRE(s.settle());
  }
};

}  // namespace

TEST_CASE("the care log opens on the visit's day, or on today where no visit is shown") {
  Open c;
  c.s.select_visit(c.s.current_wound()->visits.front().visit.id);
  REQUIRE(c.s.settle());
  c.s.open_log();
  REQUIRE(c.s.log_form);
  CHECK(c.s.log_form->date == c.visit_day());
  c.s.visit = 0;
  c.s.open_log();
  CHECK(c.s.log_form->date == DateTime::now().iso_date());
}

TEST_CASE("an entry of the care log belongs to the wound that is looked at, or to the whole fish and so to each of its wounds") {
  Open c;
  {
    auto book = casebook::Book::open(c.koi);
    book.wound_or_new(book.fish().at(0).id, "tail");
  }
  c.s.open_book(c.koi);
  REQUIRE(c.s.settle());
  c.s.open_log();
  c.s.log_form->kind = "debridement";
  c.s.log_form->date = "5.3.2026";
  c.s.log_form->note = "  loose scale \n";
  c.save();
  CHECK_FALSE(c.s.log_form);
  c.s.open_log();
  c.s.log_form->kind = "salt";
  c.s.log_form->date = "2026-03-06T10:30";
  c.s.log_form->whole_fish = true;
  c.save();
  const auto events = c.book().all<casebook::Event>();
  REQUIRE(events.size() == 2);
  CHECK(events[0].kind == "debridement");
  CHECK(events[0].note == "loose scale");
  CHECK(events[0].date.iso_date() == "2026-03-05");
  CHECK_FALSE(events[0].date.has_time);
  CHECK(events[0].wound == c.s.wound);
  CHECK_FALSE(events[1].wound);
  CHECK(events[1].date.has_time);
  CHECK(c.s.series().events.size() == 2);
  c.s.step_fish(1);
  REQUIRE(c.s.settle());
  CHECK(c.s.current_wound()->wound.name == "tail");
  REQUIRE(c.s.current_wound()->events.size() == 1);
  CHECK(c.s.current_wound()->events[0].kind == "salt");
  c.s.remove_event(events[1].id);
  REQUIRE(c.s.settle());
  CHECK(c.s.current_wound()->events.empty());
  c.s.undo();
  REQUIRE(c.s.settle());
  CHECK(c.s.current_wound()->events.size() == 1);
}

TEST_CASE("a water temperature goes to the fish's pond, which gets a name the first time, and undo takes both back in one step") {
  Open c;
  for (const auto& [date, typed] : {std::pair{"2026-03-05", "17,5"}, std::pair{"2026-03-06", "-2.5"}}) {
    c.s.open_log();
    c.s.log_form->kind = "water temperature";
    c.s.log_form->date = date;
    c.s.log_form->water = typed;
    c.save();
    CHECK_FALSE(c.s.log_form);
  }
  REQUIRE(c.s.series().water.size() == 2);
  CHECK(c.s.series().water[0].water_c == 17.5);
  CHECK(c.s.series().water[1].water_c == -2.5);  // as low as the book takes it
  CHECK(c.s.current_fish()->fish.place == "pond of A");
  const auto readings = c.book().all<casebook::WaterReading>();
  REQUIRE(readings.size() == 2);
  CHECK(readings[0].place == readings[1].place);
  CHECK(readings[0].date.iso_date() == "2026-03-05");
  c.s.undo();
  REQUIRE(c.s.settle());
  c.s.undo();
  REQUIRE(c.s.settle());
  CHECK(c.s.series().water.empty());
  CHECK(c.s.current_fish()->fish.place.empty());
}

TEST_CASE("a weight is the fish's last weighing, from which the dose sheet starts with its day") {
  Open c;
  c.s.open_dose();
  CHECK(c.s.dose_form->weight_g.empty());
  c.s.open_log();
  c.s.log_form->kind = "weight";
  c.s.log_form->date = "2026-03-05";
  c.s.log_form->weight = "1450,5";
  c.save();
  CHECK_FALSE(c.s.log_form);
  const auto weights = c.book().all<casebook::Weight>();
  REQUIRE(weights.size() == 1);
  CHECK(weights[0].grams == 1450.5);
  CHECK(weights[0].method == "weighed");
  CHECK(weights[0].fish == c.s.fish);
  c.s.open_dose();
  CHECK(c.s.dose_form->weight_g == "1450.5");
  CHECK(c.s.dose_form->weighed_on == "2026-03-05");
}

TEST_CASE("a log entry that cannot be meant stays open, says at which field, and is not in the book") {
  Open c;
  struct Wrong {
    const char *kind, *date, *water, *weight, *at, *says;
  };
  for (const auto& wrong : {Wrong{"cleaning", "31.02.2026", "", "", "log.date", "The date must be like 2026-03-19"}, Wrong{"water temperature", "2026-03-05", "", "", "log.water", "What is the water temperature?"},
                            Wrong{"water temperature", "2026-03-05", "warm", "", "log.water", "from -3 to 45"}, Wrong{"water temperature", "2026-03-05", "46", "", "log.water", "from -3 to 45"},
                            Wrong{"weight", "2026-03-05", "", "", "log.weight", "What do the scales say?"}, Wrong{"weight", "2026-03-05", "", "0", "log.weight", "from 1 to 100000"},
                            Wrong{"prayer", "2026-03-05", "", "", "", "is not a kind of care event"}}) {
    INFO(wrong.kind << " " << wrong.date << " " << wrong.water << wrong.weight);
    c.s.open_log();
    auto& f = *c.s.log_form;
    f.kind = wrong.kind, f.date = wrong.date, f.water = wrong.water, f.weight = wrong.weight, f.note = "kept";
    c.save();
    REQUIRE(c.s.log_form);
    CHECK(c.s.log_form->fault.at == wrong.at);
    CHECK(c.s.log_form->fault.text.find(wrong.says) != std::string::npos);
    CHECK(c.s.log_form->note == "kept");
    CHECK(c.s.log_form->write == 0);
  }
  const auto book = c.book();
  CHECK(book.all<casebook::Event>().empty());
  CHECK(book.all<casebook::Weight>().empty());
  CHECK(book.all<casebook::WaterReading>().empty());
  c.s.log_form->kind = "swab";
  c.save();
  CHECK_FALSE(c.s.log_form);
  CHECK(c.book().all<casebook::Event>().size() == 1);
}

TEST_CASE("the fish's form shows what is known, keeps what is typed, and takes neither an empty name nor a length that no koi has") {
  Open c;
  c.s.open_fish();
  REQUIRE(c.s.fish_form);
  CHECK(c.s.fish_form->name == "A");
  CHECK(c.s.fish_form->length.empty());
  c.s.fish_form->name = " ";
  c.s.save_fish();
  CHECK(c.s.fish_form->fault.at == "fish.name");
  c.s.fish_form->name = " Botan ";
  c.s.fish_form->length = "4 m";
  c.s.save_fish();
  CHECK(c.s.fish_form->fault.at == "fish.length");
  c.s.fish_form->length = "612,5";
  c.s.fish_form->variety = " kohaku ";
  c.s.fish_form->note = "bought 2024";
  c.s.save_fish();
  c.s.save_fish();  // Enter again
  CHECK(c.s.writes_waiting() == 1);
  REQUIRE(c.s.settle());
  CHECK_FALSE(c.s.fish_form);
  const auto fish = c.book().fish().at(0);
  CHECK(fish.name == "Botan");
  CHECK(fish.length_mm == 612.5);
  CHECK(fish.variety == "kohaku");
  CHECK(fish.note == "bought 2024");
  c.s.open_fish();
  CHECK(c.s.fish_form->length == "612.5");
  // A new one, from a form without an id.
  c.s.fish_form = FishForm{};
  c.s.fish_form->name = "Ume";
  c.s.save_fish();
  REQUIRE(c.s.settle());
  CHECK(c.s.book.fish.size() == 2);
  c.s.undo();
  REQUIRE(c.s.settle());
  CHECK(c.s.book.fish.size() == 1);
}
