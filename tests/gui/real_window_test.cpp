// A few ways through the program as people start it: a real window, a real mouse, real keys. Photos: sample_images, rendered by src/scenes
// with their truth beside them. Skipped, and said so, where there is no Xvfb or no xdotool.
#include <catch2/catch.hpp>
#include <fstream>

#include "gui/real_window.h"
#include "gui/sample_book.h"
#include "support/command.h"
#include "uroko/geometry/polygon.h"

using namespace uroko;
using namespace uroko::testing;
namespace fs = std::filesystem;

namespace {

bool cannot_run() {
  const auto missing = RealWindow::missing();
  if (!missing.empty()) WARN("skipped: " << missing);
  return !missing.empty();
}

std::vector<ImagePoint> loop_of(const nlohmann::json& photo) {
  auto loop = outline_from_wkt<ImagePoint>(photo.at("loop").get<std::string>()).parts.at(0).outer;
  loop.push_back(loop.front());
  return loop;
}

double area_of(const nlohmann::json& state) { return state.at("desk").value("area_mm2", 0.0); }
bool measured(const nlohmann::json& state) { return state.contains("desk") && state["desk"].contains("area_mm2") && state.at("idle") == true; }

nlohmann::json printed(const std::vector<std::string>& arguments) {
  const auto ran = uroko::testing::uroko(arguments);
  INFO(ran.err);
  REQUIRE(ran.exit_code == 0);
  return nlohmann::json::parse(ran.out);
}

}  // namespace

TEST_CASE("a first recheck in the real window: typed path, confirmed, card found, looped, corrected, accepted, read back by the command line") {
  if (cannot_run()) return;
  const auto s = sample(0);
  RealWindow w;
  w.wait("the first screen", [](const auto& st) { return st["widgets"].contains("start.drop"); });
  w.press("start.drop");
  w.wait("the typed path, no dialog being there", [](const auto& st) { return st["widgets"].contains("path.text") && st["asking"] == false; });
  w.type("path.text", (kSamples / s["file"].get<std::string>()).string());
  w.key("Return");
  w.type("import.fish.name", "Botan");
  w.type("import.wound.name", "left flank");
  w.press("import.confirm");
  w.wait("the photo in the book and the card found", [](const auto& st) { return st.contains("desk") && st["desk"]["in_book"] == true && st["desk"]["scale"] == "card" && st["idle"] == true; });
  w.key("l");
  w.wait("the loop tool", [](const auto& st) { return st["desk"]["tool"] == "loop"; });
  w.drag_photo(loop_of(s));
  w.wait("an area", measured);
  const double found = area_of(w.state());
  CHECK(found == Approx(s["area_mm2"].get<double>()).epsilon(0.05));  // rendered truth

  // The margin is dragged off the wound by hand, and a stroke of skin over what that took in brings it back.
  const auto outline = outline_from_wkt<ImagePoint>(w.state()["desk"]["margin"].get<std::string>());
  const auto middle = centroid(outline), edge = outline.parts[0].outer.front();
  const auto beside = [&](double along, int vertices = 0) {
    const auto& ring = outline.parts[0].outer;
    const auto& p = ring[static_cast<std::size_t>((vertices + static_cast<int>(ring.size())) % static_cast<int>(ring.size()))];
    return ImagePoint{middle.x + along * (p.x - middle.x), middle.y + along * (p.y - middle.y)};
  };
  REQUIRE(w.state()["desk"]["tool"] == "points");
  w.drag_photo({edge, beside(1.2), beside(1.4), beside(1.5)});
  w.wait("the larger area", [&](const auto& st) { return measured(st) && st["undo"] == "move the margin" && area_of(st) > 1.02 * found; });
  w.key("x");
  w.wait("the skin stroke", [](const auto& st) { return st["desk"]["tool"] == "outside"; });
  std::vector<ImagePoint> stroke;
  for (const double along : {1.08, 1.25})
    for (int i = -60; i <= 60; i += 12) stroke.push_back(beside(along, along < 1.2 ? i : -i));
  w.drag_photo(stroke);
  w.wait("the corrected margin", [&](const auto& st) { return measured(st) && st["undo"] == "stroke what is skin"; });
  const double shown = area_of(w.state());
  CHECK(shown == Approx(s["area_mm2"].get<double>()).epsilon(0.05));  // rendered truth
  w.key("Return");
  w.wait("the accepted margin", [](const auto& st) { return st["desk"]["unsaved"] == false && st["idle"] == true; });
  CHECK(w.quit() == 0);

  const auto book = (w.home() / "Koi.uroko").string();
  const auto visit = printed({"book", "list", book, "--json"})["fish"][0]["wounds"][0]["visits"][0];
  CHECK(visit["area_mm2"].get<double>() == Approx(shown).epsilon(1e-6));
  CHECK(visit["area_mm2"].get<double>() == Approx(s["area_mm2"].get<double>()).epsilon(0.05));
  CHECK(printed({"book", "check", book, "--json"})["ok"] == true);
}

TEST_CASE("a mistyped path or date in the real window is told under its field, which has the keyboard: it is mended without the mouse") {
  if (cannot_run()) return;
  const auto path = (kSamples / sample(0)["file"].get<std::string>()).string();
  const auto with_keyboard = [](const std::string& field) { return [field](const auto& st) { return st["focus"] == field && st["typing"] == true; }; };
  RealWindow w;
  w.wait("the first screen", [](const auto& st) { return st["widgets"].contains("start.drop"); });
  w.press("start.drop");
  w.wait("the typed path, no dialog being there", [](const auto& st) { return st["widgets"].contains("path.text") && st["asking"] == false; });
  w.type("path.text", path.substr(0, path.size() - 1));
  w.key("Return");
  w.wait("the fault", [](const auto& st) { return st["fault"].template get<std::string>().find("is not there") != std::string::npos; });
  w.wait("the keyboard back", with_keyboard("path.text"));
  w.key(path.substr(path.size() - 1));
  w.wait("the whole path", [&](const auto& st) { return st["fields"]["path.text"] == path; });
  w.key("Return");
  w.wait("the next form with the keyboard in it", with_keyboard("import.fish.name"));
  w.type("import.date.0", "31.02.2026");
  w.type("import.fish.name", "Botan");
  w.type("import.wound.name", "left flank");
  w.key("Return");
  w.wait("the date's fault", [](const auto& st) { return st["fault"].template get<std::string>().find("date") != std::string::npos; });
  w.wait("the keyboard in the date", with_keyboard("import.date.0"));
  w.type("import.date.0", "2.3.2026");
  w.key("Return");
  w.wait("the photo in the book", [](const auto& st) { return st.contains("desk") && st["desk"]["in_book"] == true && st["idle"] == true; });
  CHECK(w.quit() == 0);
  CHECK(printed({"book", "list", (w.home() / "Koi.uroko").string(), "--json"})["fish"][0]["wounds"][0]["visits"][0]["date"].get<std::string>().substr(0, 10) == "2026-03-02");
}

TEST_CASE("a correction stroke in the real window is one step that undo takes back and redo does again") {
  if (cannot_run()) return;
  TempFolder folder;
  RealWindow w({"open", book_of(folder, 1)});
  w.wait("the accepted measure, measured again", [](const auto& st) { return measured(st) && st["desk"]["whole"] == true; });
  const double before = area_of(w.state());
  const std::string margin = w.state()["desk"]["margin"];
  // Skin drawn through the wound's own edge: the margin must give way there.
  const auto outline = outline_from_wkt<ImagePoint>(margin);
  const auto c = centroid(outline), edge = outline.parts[0].outer.front();
  w.key("x");
  w.wait("the skin stroke", [](const auto& st) { return st["desk"]["tool"] == "outside"; });
  std::vector<ImagePoint> stroke;
  for (int i = 0; i <= 8; ++i) stroke.push_back({edge.x + (0.45 - 0.06 * i) * (c.x - edge.x), edge.y + (0.45 - 0.06 * i) * (c.y - edge.y)});
  w.drag_photo(stroke);
  w.wait("another margin", [&](const auto& st) { return measured(st) && st["desk"]["margin"] != margin; });
  const double after = area_of(w.state());
  CHECK(after < before);
  CHECK(w.state()["desk"]["unsaved"] == true);
  CHECK(w.state()["undo"].get<std::string>().size() > 3);
  w.key("ctrl+z");
  w.wait("the margin from before", [&](const auto& st) { return measured(st) && st["desk"]["margin"] == margin; });
  CHECK(area_of(w.state()) == Approx(before));
  CHECK(w.state()["desk"]["unsaved"] == false);
  w.key("ctrl+y");
  w.wait("the stroke again", [&](const auto& st) { return measured(st) && st["desk"]["margin"] != margin; });
  CHECK(area_of(w.state()) == Approx(after));
  CHECK(w.quit() == 0);
}

TEST_CASE("the list of commands opens by its key in the real window and finds the comparison by its words, the tour has its key") {
  if (cannot_run()) return;
  TempFolder folder;
  RealWindow w({"open", book_of(folder, 2)});
  w.wait("the last visit", measured);
  w.key("ctrl+k");
  w.wait("the list of commands", [](const auto& st) { return st["commands_open"] == true && st["focus"] == "palette.text"; });
  w.type("palette.text", "compare visits");
  w.wait("the command found", [](const auto& st) { return st["widgets"].contains("palette.compare.show"); });
  w.key("Return");
  w.wait("both photos", [](const auto& st) { return st["step"] == "compare" && st["commands_open"] == false && st["widgets"].contains("compare.left") && st["idle"] == true; });
  w.press("compare.nested");
  w.wait("the outlines in one frame", [](const auto& st) { return st["widgets"].contains("compare.plot") && st["widgets"].contains("nested.2026-03-02") && st["widgets"].contains("nested.2026-03-05"); });
  w.key("Escape");
  w.wait("the photo again", [](const auto& st) { return st["step"] == "margin" && st["widgets"].contains("photo"); });
  w.key("F2");
  w.wait("the tour's first stop", [](const auto& st) { return st["widgets"].contains("tour.next"); });
  w.key("Escape");
  w.wait("the tour's end", [](const auto& st) { return !st["widgets"].contains("tour.next"); });
  CHECK(w.quit() == 0);
}
