// Not a check: a first recheck from an empty home in the real window, at a person's pace, with the time of every step. It writes the table
// that assets/guide/first-recheck.md holds:
//   build/release/tests/test_gui "[.trial]"
#include <catch2/catch.hpp>
#include <chrono>
#include <cstdio>
#include <thread>

#include "gui/real_window.h"
#include "gui/sample_book.h"
#include "uroko/geometry/polygon.h"

using namespace uroko;
using namespace uroko::testing;

namespace {

using Clock = std::chrono::steady_clock;

/// A person looks at what came up, finds the next thing and moves the hand there; types 3 letters a second.
constexpr double kLook = 3, kSmallLook = 1.5, kLettersPerSecond = 3;

void pause(double seconds) { std::this_thread::sleep_for(std::chrono::duration<double>(seconds)); }
void typed(RealWindow& w, const std::string& field, const std::string& text) {
  pause(kSmallLook + static_cast<double>(text.size()) / kLettersPerSecond);
  w.type(field, text);
}

struct Times {
  Clock::time_point start = Clock::now(), last = start;
  void step(const char* what) {
    const auto now = Clock::now();
    const auto s = [](auto d) { return std::chrono::duration<double>(d).count(); };
    std::printf("| %s | %.1f | %.1f |\n", what, s(now - last), s(now - start));
    last = now;
  }
};

}  // namespace

TEST_CASE("a first recheck at a person's pace", "[.trial]") {
  REQUIRE(RealWindow::missing().empty());
  const auto t = sample(0);
  auto loop = outline_from_wkt<ImagePoint>(t.at("loop").get<std::string>()).parts.at(0).outer;
  loop.push_back(loop.front());
  Times times;
  RealWindow w;
  w.wait("the first screen", [](const auto& st) { return st["widgets"].contains("start.drop"); });
  times.step("The program is started; the first screen says what to do");
  pause(2 * kLook);
  w.press("start.drop");
  w.wait("the typed path", [](const auto& st) { return st["widgets"].contains("path.text") && st["asking"] == false; });
  times.step("The screen is looked over and \"Drop photos here\" clicked; no dialog being there, a path is asked");
  typed(w, "path.text", (kSamples / t["file"].get<std::string>()).string());
  w.press("path.confirm");
  w.wait("the form", [](const auto& st) { return st["widgets"].contains("import.fish.name"); });
  times.step("The photo's path is typed");
  pause(kLook);
  typed(w, "import.fish.name", "Botan");
  typed(w, "import.wound.name", "left flank");
  pause(kSmallLook);
  w.press("import.confirm");
  w.wait("the card found", [](const auto& st) { return st.contains("desk") && st["desk"]["in_book"] == true && st["desk"]["scale"] == "card" && st["idle"] == true; });
  times.step("Fish and wound are typed, the date stands there already; taken in, and the card found by itself");
  pause(kLook);
  const auto before = Clock::now();
  w.drag_photo(loop);
  pause(std::max(0.0, 4 - std::chrono::duration<double>(Clock::now() - before).count()));  // a loop takes a hand about four seconds
  w.wait("an area", [](const auto& st) { return st.contains("desk") && st["desk"].contains("area_mm2") && st["idle"] == true; });
  times.step("One loop round the wound; margin, area, interval and bed are there");
  pause(2 * kLook);
  w.press("margin.accept");
  w.wait("accepted", [](const auto& st) { return st["desk"]["unsaved"] == false && st["idle"] == true; });
  times.step("The margin is looked at and accepted; it is in the case book and on the curve");
  CHECK(w.state()["desk"]["area_mm2"].get<double>() == Approx(t["area_mm2"].get<double>()).epsilon(0.05));
  std::printf("area %.1f mm2, truth %.1f\n", w.state()["desk"]["area_mm2"].get<double>(), t["area_mm2"].get<double>());
  CHECK(w.quit() == 0);
}
