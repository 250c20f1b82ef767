// The main screens as pictures, at 1x and 2x, light and dark, against the ones kept in tests/gui/golden.
// They are kept small (480 x 300, 32 levels a channel) and compared block by block, so that another rasteriser of letters or of OpenGL
// passes and a panel, a figure or a curve that is gone does not. To renew them after a wanted change, and look at each:
//   UROKO_RENEW_GOLDEN=1 build/release/tests/test_gui "the main screens look as they did*"
#include <GLFW/glfw3.h>

#include <catch2/catch.hpp>
#include <cstdlib>
#include <opencv2/imgproc.hpp>

#include "gui/live_window.h"
#include "gui/sample_book.h"
#include "support/screen.h"
#include "uroko/base/file.h"
#include "uroko/photo/photo.h"

using namespace uroko;
using namespace uroko::testing;
namespace fs = std::filesystem;

namespace {

constexpr int kWidth = 480, kHeight = 300, kBlock = 20;
/// Of 255, mean over a block and the channels. Letters on a panel cover about a tenth of it, 10 levels and more; rounding to 32 levels costs 2.
constexpr double kBlockMost = 5;

cv::Mat reduced(const cv::Mat& picture) {
  cv::Mat small;
  cv::resize(picture, small, {kWidth, kHeight}, 0, 0, cv::INTER_AREA);
  return small;
}

/// The largest mean difference of a block.
double difference(const cv::Mat& a, const cv::Mat& b) {
  cv::Mat d;
  cv::absdiff(a, b, d);
  double most = 0;
  for (int y = 0; y + kBlock <= kHeight; y += kBlock)
    for (int x = 0; x + kBlock <= kWidth; x += kBlock) {
      const auto m = cv::mean(d({x, y, kBlock, kBlock}));
      most = std::max(most, (m[0] + m[1] + m[2]) / 3);
    }
  return most;
}

fs::path golden(const std::string& name) { return fs::path(UROKO_SOURCE) / "tests" / "gui" / "golden" / (name + ".png"); }

}  // namespace

TEST_CASE("the main screens look as they did, at 1x and 2x, light and dark, and a panel that is gone is noticed") {
  if (!program_is_installed("Xvfb")) {
    WARN("skipped: Xvfb is not installed");
    return;
  }
  const bool renew = std::getenv("UROKO_RENEW_GOLDEN") != nullptr;
  TempFolder folder;
  const auto book = book_of(folder, 3, true);  // given margins: a better finder changes no picture
  Screen screen(2560, 1600);
  ::setenv("DISPLAY", screen.display().c_str(), 1);
  ::setenv("LIBGL_ALWAYS_SOFTWARE", "1", 1);
  for (const int times : {1, 2}) {
    gui::LiveWindow window(1280 * times, 800 * times);
    app::Session session(app::Places{folder / ("settings" + std::to_string(times) + ".json"), folder / "unfinished.json", {}});
    session.settings.scale_percent = 100 * times;
    gui::GlTextures textures;
    gui::Frame frame(session, textures);
    glfwSetCursorPos(window.handle(), 1, 1);  // nothing is hovered
    const auto compare_with_kept = [&](const std::string& screen_name) {
      for (const auto theme : {app::Theme::light, app::Theme::dark}) {
        session.settings.theme = theme;
        const auto name = screen_name + (theme == app::Theme::dark ? "-dark" : "-light") + (times == 2 ? "-2x" : "");
        const auto now = reduced(window.picture(session, frame, textures));
        if (renew) write_file_whole(golden(name), photo::encode_png((now & cv::Scalar::all(0xF8)) + cv::Scalar::all(4)));
        INFO(name);
        const auto kept = photo::load(golden(name)).bgr;
        REQUIRE(kept.size() == now.size());
        const double d = difference(now, kept);
        if (d > kBlockMost) write_file_whole(fs::temp_directory_path() / ("uroko-" + name + ".png"), photo::encode_png(now));
        CHECK(d <= kBlockMost);  // what is shown now lies in the temporary folder as uroko-NAME.png
        // The check can fail: each named panel painted over with the ground is another picture.
        if (screen_name != "main") continue;
        for (const char* widget : {"scale.show", "margin.accept", "tool.loop", "bank.plot", "visit.2026-03-05", "view.bed"}) {
          INFO(widget);
          REQUIRE(frame.places().count(widget));
          const auto b = frame.places().at(widget);
          const double k = static_cast<double>(kWidth) / (1280 * times);
          auto gone = now.clone();
          cv::rectangle(gone, cv::Rect(cv::Point(cvFloor(b.x * k), cvFloor(b.y * k)), cv::Point(cvCeil(b.right() * k), cvCeil(b.bottom() * k))), cv::mean(now({kWidth - 8, kHeight - 8, 4, 4})), cv::FILLED);
          CHECK(difference(gone, kept) > d);
          if (std::string(widget) != "view.bed" && std::string(widget) != "scale.show") CHECK(difference(gone, kept) > kBlockMost);
        }
      }
    };
    compare_with_kept("empty");
    session.open_book(book);
    compare_with_kept("main");
    session.run("dose.sheet");
    compare_with_kept("dose");
    session.escape();
    session.run("compare.show");
    compare_with_kept("compare");
  }
}
