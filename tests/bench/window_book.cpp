// What the window's own thread does with a large case book: opening it, an entry in the care log, undo, an accepted measure.
//   build/release/tests/bench_window_book [FISH [TIMES]]     10 visits a fish, 3 photos a visit; 1000 fish, each thing once, unless said
// Figures in assets/guide/speed.md, "A large case book in the window". A frame at 60 a second is 16.7 ms.
#include <algorithm>
#include <chrono>
#include <cstdio>
#include <cstdlib>
#include <vector>

#include "book_of_size.h"
#include "support/temp_folder.h"
#include "uroko/app/session.h"

using namespace uroko;

namespace {

using Clock = std::chrono::steady_clock;

template <class F>
double ms(F&& f) {
  const auto start = Clock::now();
  f();
  return 1e3 * std::chrono::duration<double>(Clock::now() - start).count();
}

void tell(const char* what, std::vector<double> v) {
  std::sort(v.begin(), v.end());
  std::printf("| %s | %zu | %.1f | %.1f |\n", what, v.size(), v[v.size() / 2], v.back());
}

}  // namespace

int main(int argc, char** argv) {
  const int fish = argc > 1 ? std::atoi(argv[1]) : 1000;
  const int times = argc > 2 ? std::atoi(argv[2]) : 1;
  uroko::testing::TempFolder folder;
  {
    auto book = casebook::Book::create(folder / "b.uroko");
    bench::fill(book, fish);
  }
  app::Session s(app::Places{folder / "settings.json", folder / "unfinished.json", {}});
  std::vector<double> open, shown;
  for (int i = 0; i < times; ++i) {
    const auto start = Clock::now();
    open.push_back(ms([&] { s.open_book(folder / "b.uroko"); }));
    s.settle();
    shown.push_back(1e3 * std::chrono::duration<double>(Clock::now() - start).count());
  }
  std::vector<double> log, undo, select;
  for (int i = 0; i < times; ++i) {
    select.push_back(ms([&] { s.select_wound(s.book.fish[static_cast<std::size_t>(i * 7 + 3) % s.book.fish.size()].wounds[0].wound.id); }));
    s.settle();
    s.open_log();
    s.log_form->date = "2026-03-01";
    log.push_back(ms([&] { s.save_log(); }));
    s.settle();
    undo.push_back(ms([&] { s.undo(); }));
    s.settle();
  }
  std::printf("%d fish, %d visits, %d photos\n\n| on the window's thread | times | ms, median | ms, most |\n|---|---:|---:|---:|\n", fish, 10 * fish, 30 * fish);
  tell("open the book", open);
  tell("until it is shown", shown);
  tell("choose a fish", select);
  tell("save an entry in the care log", log);
  tell("undo it", undo);
  return 0;
}
