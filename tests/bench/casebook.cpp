// Speed of the case book at 1 000 fish, 10 000 visits, 30 000 measures, and its growth.
//   bench_casebook           prints the Markdown table of assets/guide/casebook.md; processor time, median of seven
// Peer: SQLite alone (one connection without any of our checks) reading the columns area_mm2 and u_mm2 of every measure once.
#include <algorithm>
#include <cmath>
#include <cstdio>
#include <ctime>
#include <functional>

#include "bench/book_of_size.h"
#include "support/temp_folder.h"
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

double peer(const std::filesystem::path& file) {
  return median_of([&] { bench::read_measures_by_sqlite(file); });
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
      bench::fill(book, size);
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
