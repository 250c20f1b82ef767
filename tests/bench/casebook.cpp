// Speed of the case book at 1 000 fish, 10 000 visits, 30 000 measures, and its growth.
//   bench_casebook           prints the Markdown table of assets/guide/casebook.md; processor time, median of seven
// Peer: SQLite alone (one connection without any of our checks) reading the columns area_mm2 and u_mm2 of every measure once.
#include <sqlite3.h>

#include <algorithm>
#include <cmath>
#include <cstdio>
#include <ctime>
#include <functional>

#include "../support/temp_folder.h"
#include "uroko/base/random.h"
#include "uroko/casebook/due.h"
#include "uroko/casebook/keeping.h"

using namespace uroko;
using namespace uroko::casebook;

namespace {

/// Processor time: the same on a busy machine.
double seconds(const std::function<void()>& work) {
  const auto now = [] {
    timespec t{};
    ::clock_gettime(CLOCK_PROCESS_CPUTIME_ID, &t);
    return static_cast<double>(t.tv_sec) + 1e-9 * static_cast<double>(t.tv_nsec);
  };
  const double start = now();
  work();
  return now() - start;
}

/// Median of seven.
double median_of(const std::function<void()>& work) {
  std::vector<double> times;
  for (int k = 0; k < 7; ++k) times.push_back(seconds(work));
  std::nth_element(times.begin(), times.begin() + 3, times.end());
  return times[3];
}

/// 10 visits a fish, 3 photos a visit, one measure a photo with a margin of 120 points, care and prescriptions.
void fill(Book& book, int fish_count) {
  Random random(1);
  std::string wkt = "POLYGON((";
  for (int k = 0; k <= 120; ++k) {
    char point[64];
    std::snprintf(point, sizeof point, "%s%.3f %.3f", k ? "," : "", 2000 + 400 * std::cos(k % 120 * 0.05236), 1500 + 300 * std::sin(k % 120 * 0.05236));
    wkt += point;
  }
  wkt += "))";
  const std::string details(1200, 'x');
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

double peer(const std::filesystem::path& file) {
  return median_of([&] {
    sqlite3* db = nullptr;
    sqlite3_open_v2(file.c_str(), &db, SQLITE_OPEN_READONLY, nullptr);
    sqlite3_stmt* statement = nullptr;
    sqlite3_prepare_v2(db, "SELECT area_mm2, u_mm2 FROM measure", -1, &statement, nullptr);
    double sum = 0;
    while (sqlite3_step(statement) == SQLITE_ROW) sum += sqlite3_column_double(statement, 0) + sqlite3_column_double(statement, 1);
    sqlite3_finalize(statement);
    sqlite3_close(db);
    if (!(sum > 0)) std::abort();
  });
}

}  // namespace

int main() {
  const std::vector<int> sizes = {100, 316, 1000};
  std::vector<std::vector<double>> times;
  std::printf("| fish / visits / measures | file MB | peer ms | open ms | first screen ms | open + first screen ms | curve ms | due list ms | whole tree ms | save one row ms |\n| --- | --- | --- | --- | --- | --- | --- | --- | --- | --- |\n");
  for (const int size : sizes) {
    uroko::testing::TempFolder temp;
    const auto path = temp / "koi.uroko";
    {
      auto book = Book::create(path);
      fill(book, size);
    }
    std::vector<double> t;
    t.push_back(peer(path / "book.sqlite"));
    t.push_back(median_of([&] { Book::open(path); }));
    auto book = Book::open(path);
    t.push_back(median_of([&] { book.glance(); }));
    t.push_back(median_of([&] { Book::open(path).glance(); }));
    const auto wound = book.wounds(book.fish().at(static_cast<std::size_t>(size / 2)).id).at(0).id;
    t.push_back(median_of([&] { healing::follow(book.series_of(wound)); }));
    t.push_back(median_of([&] { due(book, DateTime::parse("2026-02-12").value()); }));
    t.push_back(median_of([&] { book.everything(); }));
    auto fish = book.fish().at(0);
    int n = 0;
    t.push_back(median_of([&] {
      fish.note = std::to_string(++n);
      book.update(fish);
    }));
    std::printf("| %d / %d / %d | %.0f |", size, size * 10, size * 30, static_cast<double>(std::filesystem::file_size(path / "book.sqlite")) / 1e6);
    for (const double s : t) std::printf(" %.1f |", 1e3 * s);
    std::printf("\n");
    std::fflush(stdout);
    times.push_back(t);
  }
  std::printf("| ratio to the peer at the largest | |");
  for (const double s : times.back()) std::printf(" %.2f |", s / times.back()[0]);
  std::printf("\n| log-log slope of growth | |");
  for (std::size_t k = 0; k < times[0].size(); ++k) std::printf(" %.2f |", std::log(times.back()[k] / times[0][k]) / std::log(10.0));
  std::printf("\n");
}
