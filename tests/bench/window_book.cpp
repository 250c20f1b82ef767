// How long the window's own thread is held by a large case book: laid out and drawn frame by frame without a display, while the book is opened, looked
// through, written into, and while another program keeps it from being written.
//   build/release/tests/bench_window_book [FISH [TIMES]]     10 visits a fish, 3 photos a visit; 1000 fish, each thing three times, unless said
// Figures in assets/guide/speed.md, "A large case book in the window". A frame at 60 a second is 16.7 ms.
#include <algorithm>
#include <chrono>
#include <cstdio>
#include <cstdlib>
#include <functional>
#include <vector>

#include "book_of_size.h"
#include "casebook/database.h"
#include "gui/harness.h"

using namespace uroko;

namespace {

using Clock = std::chrono::steady_clock;

double ms_since(Clock::time_point start) { return 1e3 * std::chrono::duration<double>(Clock::now() - start).count(); }

struct Row {
  std::vector<double> held, until;
};

void tell(const char* what, Row r) {
  std::sort(r.held.begin(), r.held.end());
  std::sort(r.until.begin(), r.until.end());
  std::printf("| %s | %zu | %.1f | %.1f | %.0f |\n", what, r.held.size(), r.held[r.held.size() / 2], r.held.back(), r.until[r.until.size() / 2]);
  std::fflush(stdout);
}

}  // namespace

int main(int argc, char** argv) {
  const int fish = argc > 1 ? std::atoi(argv[1]) : 1000;
  const int times = argc > 2 ? std::atoi(argv[2]) : 3;
  uroko::testing::TempFolder folder;
  const auto file = folder / "b.uroko";
  {
    auto book = casebook::Book::create(file);
    bench::fill(book, fish);
  }
  uroko::testing::Harness h(folder.path());
  auto& s = h.session;
  const auto frame = [&] {
    const auto start = Clock::now();
    h.frames(1);
    return ms_since(start);
  };
  /// Asks, then frames until it is done and nothing is left: the longest time that asking or a frame took, and how long it was until done.
  const auto measure = [&](Row& row, const std::function<void()>& ask, const std::function<bool()>& done) {
    const auto start = Clock::now();
    ask();
    double longest = ms_since(start), until = 0;
    while (!until || !s.idle()) {
      longest = std::max(longest, frame());
      if (!until && done()) until = ms_since(start);
      if (ms_since(start) > 120e3) {
        std::fprintf(stderr, "not done within 120 s\n");
        std::exit(1);
      }
    }
    row.held.push_back(longest);
    row.until.push_back(until);
  };
  const auto saved = [&] { return !s.saving(); };
  const auto log = [&] {
    s.open_log();
    s.log_form->date = "2026-03-01";
    s.save_log();
  };

  Row still, open, choose, entry, held, undo, compare, close;
  for (int i = 0; i < times; ++i) {
    measure(open, [&] { s.open_book(file); }, [&] { return s.has_book() && !s.opening; });
    for (int k = 0; k < 20; ++k) {
      const double t = frame();
      still.held.push_back(t);
      still.until.push_back(t);
    }
    const auto id = s.book.fish[static_cast<std::size_t>(i * 7 + 3) % s.book.fish.size()].wounds[0].wound.id;
    measure(choose, [&] { s.select_wound(id); }, [&] { return s.wound == id; });
    measure(entry, log, saved);
    measure(undo, [&] { s.undo(); }, saved);
    measure(compare, [&] {
      s.set_step(app::Step::compare);
      s.show_outlines(true);
    }, [] { return true; });
    s.set_step(app::Step::margin);
    {
      casebook::Database other(file / "book.sqlite", casebook::Database::Mode::write);
      other.begin();
      const auto until = Clock::now() + std::chrono::seconds(2);
      measure(held, log, [&] {
        if (other.in_transaction() && Clock::now() > until) other.rollback();
        return saved();
      });
    }
    measure(close, [&] { s.close_book(); }, [&] { return !s.has_book(); });
  }
  std::printf("%d fish, %d visits, %d photos\n\n| what | times | window held, ms, median | most | until done, ms |\n|---|---:|---:|---:|---:|\n", fish, 10 * fish, 30 * fish);
  tell("a frame at rest, the book's list and bank in it", still);
  tell("open the book", open);
  tell("choose a fish", choose);
  tell("save an entry in the care log", entry);
  tell("undo it", undo);
  tell("compare: nested outlines", compare);
  tell("save an entry while another program holds the book for 2 s", held);
  tell("close the book", close);
  return 0;
}
