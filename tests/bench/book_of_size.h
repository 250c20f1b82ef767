// A case book of any size, invented from a seed, and SQLite alone as the peer that reads it.
#pragma once
#include <sqlite3.h>

#include <cmath>
#include <cstdio>
#include <cstdlib>

#include "uroko/base/random.h"
#include "uroko/casebook/book.h"

namespace uroko::bench {

/// 10 visits a fish, 3 photos a visit, one measure a photo with a margin of 120 points, care and prescriptions.
inline void fill(casebook::Book& book, int fish_count) {
  Random random(1);
  std::string wkt = "POLYGON((";
  for (int k = 0; k <= 120; ++k) {
    char point[64];
    std::snprintf(point, sizeof point, "%s%.3f %.3f", k ? "," : "", 2000 + 400 * std::cos(k % 120 * 0.05236), 1500 + 300 * std::sin(k % 120 * 0.05236));
    wkt += point;
  }
  wkt += "))";
  const std::string details(1200, 'x');
  using namespace casebook;
  Book::Step step(book, "Fill");
  const long first = DateTime::parse("2026-01-01")->day_number();
  for (int f = 0; f < fish_count; ++f) {
    Fish fish{0, "fish " + std::to_string(f)};
    fish.place = "pond " + std::to_string(f % 10);
    book.add(fish);
    Wound wound;
    wound.fish = fish.id, wound.name = "left";
    book.add(wound);
    Prescription written;
    written.fish = fish.id, written.written = DateTime::from_day_number(first), written.drug = "X", written.interval_hours = 48, written.doses = 30;
    book.add(written);
    for (int v = 0; v < 10; ++v) {
      Visit visit;
      visit.fish = fish.id, visit.date = DateTime::from_day_number(first + 4 * v + f % 7), visit.date_from = photo::DateSource::user, visit.water_c = 18;
      book.add(visit);
      book.add(Event{0, fish.id, wound.id, visit.date, "injection", "", "", written.id});
      for (int p = 0; p < 3; ++p) {
        PhotoRow photo;
        photo.visit = visit.id, photo.wound = wound.id, photo.extension = ".jpg", photo.width_px = 4000, photo.height_px = 3000;
        char sha[65];
        std::snprintf(sha, sizeof sha, "%016llx%016llx%016llx%016llx", static_cast<unsigned long long>(random.bits()), static_cast<unsigned long long>(random.bits()),
                      static_cast<unsigned long long>(random.bits()), static_cast<unsigned long long>(random.bits()));
        photo.sha256 = sha;
        book.add(photo);
        MeasureRow measure;
        measure.photo = photo.id, measure.area_mm2 = 500 * std::exp(-0.1 * v) * random.uniform(0.95, 1.05), measure.u_mm2 = 5;
        measure.low95 = measure.area_mm2 - 10, measure.high95 = measure.area_mm2 + 10, measure.perimeter_mm = 80;
        measure.margin_wkt = wkt, measure.scale_json = "\"" + details + "\"", measure.budget_json = "[]";
        measure.bed_json = R"({"granulation":{"share":0.5},"slough":{"share":0.2},"necrotic":{"share":0.1},"pale":{"share":0.1},"unsure":{"share":0.05},"glare":{"share":0.05}})";
        book.add(measure);
      }
    }
  }
  step.commit();
}

/// SQLite alone, one connection without any of our checks, reads the columns area_mm2 and u_mm2 of every measure once.
inline void read_measures_by_sqlite(const std::filesystem::path& file) {
  sqlite3* db = nullptr;
  sqlite3_open_v2(file.c_str(), &db, SQLITE_OPEN_READONLY, nullptr);
  sqlite3_stmt* statement = nullptr;
  sqlite3_prepare_v2(db, "SELECT area_mm2, u_mm2 FROM measure", -1, &statement, nullptr);
  double sum = 0;
  while (sqlite3_step(statement) == SQLITE_ROW) sum += sqlite3_column_double(statement, 0) + sqlite3_column_double(statement, 1);
  sqlite3_finalize(statement);
  sqlite3_close(db);
  if (!(sum > 0)) std::abort();
}

}  // namespace uroko::bench
