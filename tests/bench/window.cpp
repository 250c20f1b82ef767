// The window: frame time, stroke to margin, open to first picture, processor use at rest.
//   bench_window           48 megapixels, 60 visits: the table of assets/guide/speed.md, section "Window"
//   bench_window --short   12 megapixels, 12 visits, few frames: that all of it is really drawn and done; no time is a condition
// Peers in the same run: a frame of the bare ground in the same window, and the same photo decoded by libjpeg-turbo alone (TurboJPEG).
// ctest: --short
#include <GLFW/glfw3.h>
#include <turbojpeg.h>

#include <algorithm>
#include <cmath>
#include <cstdio>
#include <cstdlib>
#include <ctime>
#include <fstream>
#include <nlohmann/json.hpp>
#include <opencv2/imgproc.hpp>
#include <thread>

#include "gui/live_window.h"
#include "support/screen.h"
#include "support/temp_folder.h"
#include "uroko/base/file.h"
#include "uroko/base/random.h"
#include "uroko/casebook/measured.h"
#include "uroko/measure/one_photo.h"
#include "uroko/scale/references.h"

using namespace uroko;
namespace fs = std::filesystem;

namespace {

using Clock = std::chrono::steady_clock;

double since(Clock::time_point start) { return std::chrono::duration<double>(Clock::now() - start).count(); }

double processor_seconds() {
  timespec t{};
  ::clock_gettime(CLOCK_PROCESS_CPUTIME_ID, &t);
  return static_cast<double>(t.tv_sec) + 1e-9 * static_cast<double>(t.tv_nsec);
}

struct Spread {
  double median = 0, p95 = 0;
};
Spread spread(std::vector<double> v) {
  std::sort(v.begin(), v.end());
  return {v[v.size() / 2], v[std::min(v.size() - 1, v.size() * 95 / 100)]};
}

/// Until the frame is on the screen: the driver may draw later than it says.
void finish() {
  unsigned char pixel[4];
  glReadPixels(0, 0, 1, 1, GL_RGBA, GL_UNSIGNED_BYTE, pixel);
}

struct Case {
  fs::path book, photo;
  nlohmann::json truth;
  double grown = 1;  ///< photo's pixels per pixel of the sample
};

ImageOutline outline_in(const Case& c) {
  return mapped<ImagePoint, ImagePoint>(outline_from_wkt<ImagePoint>(c.truth["outline"].get<std::string>()), [&](const ImagePoint& p) { return ImagePoint{(p.x + 0.5) * c.grown - 0.5, (p.y + 0.5) * c.grown - 0.5}; });
}

/// Equal steps of arc, that many vertices.
Ring<ImagePoint> resampled(const Ring<ImagePoint>& ring, std::size_t vertices) {
  std::vector<double> at{0};
  for (std::size_t i = 0; i < ring.size(); ++i) at.push_back(at.back() + distance(ring[i], ring[(i + 1) % ring.size()]));
  Ring<ImagePoint> out;
  std::size_t edge = 0;
  for (std::size_t k = 0; k < vertices; ++k) {
    const double want = at.back() * static_cast<double>(k) / static_cast<double>(vertices);
    while (at[edge + 1] < want) ++edge;
    const double t = (want - at[edge]) / std::max(1e-12, at[edge + 1] - at[edge]);
    const auto &a = ring[edge], &b = ring[(edge + 1) % ring.size()];
    out.push_back({a.x + t * (b.x - a.x), a.y + t * (b.y - a.y)});
  }
  return out;
}

/// A book with that many visits of one wound; the last one's photo is the large one, with a margin of 2 000 vertices.
Case make_case(const fs::path& folder, double megapixels, int visits) {
  Case c;
  std::ifstream in(fs::path(UROKO_SOURCE) / "sample_images" / "truth.json");
  c.truth = nlohmann::json::parse(in)["photos"][0];
  const auto small = photo::load(fs::path(UROKO_SOURCE) / "sample_images" / c.truth["file"].get<std::string>());
  c.grown = std::sqrt(megapixels * 1e6 / (small.bgr.cols * static_cast<double>(small.bgr.rows)));
  cv::Mat large;
  cv::resize(small.bgr, large, {}, c.grown, c.grown, cv::INTER_CUBIC);
  c.photo = folder / "large.jpg";
  write_file_whole(c.photo, photo::encode_jpeg(large, 92));
  const auto map = scale::find_card(large, measure::camera_of(photo::probe(c.photo), {}), {});
  if (!map) throw std::runtime_error("no card in the large photo: " + map.refusal().text);
  auto outline = outline_in(c);
  outline.parts[0].outer = resampled(outline.parts[0].outer, 2000);
  const auto margin = margin::given(large, outline);
  const auto measured = measure::measure(*map, margin);
  if (!measured) throw std::runtime_error(measured.refusal().text);

  c.book = folder / "Bench.uroko";
  casebook::Book::create(c.book);
  auto book = casebook::Book::open(c.book);
  casebook::Book::Step step(book, "fill");
  const auto first = DateTime::parse("2026-01-01")->day_number();
  cv::Mat little;
  cv::resize(small.bgr, little, {640, 480}, 0, 0, cv::INTER_AREA);
  for (int i = 0; i < visits; ++i) {
    const bool last = i + 1 == visits;
    const auto file = last ? c.photo : folder / ("visit" + std::to_string(i) + ".jpg");
    if (!last) {
      cv::Mat other = little.clone();
      other.at<cv::Vec3b>(0, 0) = {static_cast<std::uint8_t>(i), static_cast<std::uint8_t>(i >> 8), 0};
      cv::circle(other, {20 + 8 * (i % 60), 20}, 9, {0, 0, 255}, -1);  // another file each
      write_file_whole(file, photo::encode_jpeg(other, 85));
    }
    casebook::NewPhotos n;
    n.files = {file};
    n.fish = "Botan";
    n.wound = "left flank";
    n.date = DateTime::from_day_number(first + 2 * i);
    const auto added = book.add_photos(n);
    if (added.empty() || added[0].error || added[0].already) throw std::runtime_error("visit " + std::to_string(i) + " was not added");
    auto row = casebook::to_row(added[0].photo, *map, margin, *measured, nullptr, {});
    const double shrunk = std::exp(-0.03 * (visits - 1 - i)), area = row.area_mm2;
    row.area_mm2 = area / shrunk, row.u_mm2 /= shrunk, row.low95 /= shrunk, row.high95 /= shrunk;
    book.add(row);
  }
  step.commit();
  return c;
}

int failed = 0;
void expect(bool so, const char* what) {
  if (so) return;
  std::printf("FAILED: %s\n", what);
  ++failed;
}

struct Bench {
  gui::LiveWindow& window;
  app::Session& session;
  gui::GlTextures textures;
  gui::Frame frame{session, textures};

  bool draw() {
    glfwPollEvents();
    const bool more = window.draw(session, frame, textures);
    finish();
    return more;
  }
  /// Frames until nothing is left to do or to upload.
  void settle() {
    for (int quiet = 0; quiet < 3;) quiet = draw() || !session.idle() ? 0 : quiet + 1;
  }
  template <class So>
  double until(So so) {
    const auto start = Clock::now();
    while (!so() && since(start) < 120) draw();
    draw();  // what came is on the screen with this one
    return since(start);
  }
};

}  // namespace

int main(int argc, char** argv) {
  const bool brief = argc > 1 && std::string(argv[1]) == "--short";
  if (!uroko::testing::program_is_installed("Xvfb")) {
    std::printf("Xvfb is not installed: skipped\n");
    return 0;
  }
  const double megapixels = brief ? 12 : 48;
  const int visits = brief ? 12 : 60, frames = brief ? 10 : 200;
  uroko::testing::TempFolder folder;
  uroko::testing::Screen screen(1600, 1000);
  ::setenv("DISPLAY", screen.display().c_str(), 1);
  ::setenv("LIBGL_ALWAYS_SOFTWARE", "1", 1);
  const auto c = make_case(folder.path(), megapixels, visits);

  gui::LiveWindow window(1600, 1000);
  glfwSwapInterval(0);
  app::Session session(app::Places{folder / "settings.json", folder / "unfinished.json", {}});
  Bench b{window, session, {}};
  const auto timed = [&](int n, const auto& one) {
    std::vector<double> wall, processor;
    for (int i = 0; i < n; ++i) {
      const auto start = Clock::now();
      const double p = processor_seconds();
      one(i);
      wall.push_back(since(start));
      processor.push_back(processor_seconds() - p);
    }
    return std::pair(spread(wall), spread(processor));
  };

  // The window before anything is opened: its first frames fill the textures and compile what they draw with.
  const auto start = Clock::now();
  b.draw();
  const double first_frame = since(start);
  b.settle();
  // Opening: the first picture, then the whole photo; the peer is the decoder alone.
  struct Opened {
    double first_picture = 0, whole = 0;
  };
  const auto opened = [&](const auto& open) {
    Opened out;
    const auto asked = Clock::now();
    open();
    b.until([&] { return session.desk && session.desk->pyramid; });
    out.first_picture = since(asked);
    b.until([&] { return session.desk->loaded_whole(); });
    out.whole = since(asked);
    b.settle();
    return out;
  };
  const auto with_book = opened([&] { session.open_book(c.book); });
  std::vector<double> first_pictures, wholes;
  const auto place = session.desk->place;
  for (int k = 0; k < (brief ? 1 : 5); ++k) {
    const auto again = opened([&] { session.open_photo(c.photo, place); });
    first_pictures.push_back(again.first_picture), wholes.push_back(again.whole);
  }
  session.open_book(c.book);  // with its measure again
  b.settle();
  const auto jpeg = read_file(c.photo);
  const auto decode = timed(brief ? 1 : 5, [&](int) {
    tjhandle tj = tjInitDecompress();
    int w = 0, h = 0, s = 0, space = 0;
    const auto* bytes = reinterpret_cast<const unsigned char*>(jpeg.data());
    tjDecompressHeader3(tj, bytes, jpeg.size(), &w, &h, &s, &space);
    std::vector<unsigned char> pixels(static_cast<std::size_t>(w) * static_cast<std::size_t>(h) * 3);
    tjDecompress2(tj, bytes, jpeg.size(), pixels.data(), w, 0, h, TJPF_BGR, 0);
    tjDestroy(tj);
  });
  expect(session.desk && session.desk->measurement, "the photo is measured");
  expect(session.desk->history.now().outline().parts.at(0).outer.size() == 2000, "the margin has 2000 vertices");
  expect(session.course() && static_cast<int>(session.course()->looks.size()) == visits, "every visit is on the curve");
  int hung = 0;
  for (const auto& [name, box] : b.frame.places()) hung += name.rfind("visit.20", 0) == 0;
  expect(hung == visits, "every visit hangs on the strip");

  const auto empty = timed(frames, [&](int) {
    glfwPollEvents();
    window.draw_empty();
    finish();
  });
  const auto rest = timed(frames, [&](int) { b.draw(); });
  const auto panned = timed(frames, [&](int i) {
    session.desk->view.pan(i % 40 < 20 ? 7 : -7, i % 20 < 10 ? 3 : -3);
    b.draw();
  });
  session.run("view.one");
  b.settle();
  const auto close = timed(frames, [&](int i) {
    session.desk->view.pan(i % 40 < 20 ? 7 : -7, i % 20 < 10 ? 3 : -3);
    b.draw();
  });

  // A stroke of skin through the margin: from the button's release to the frame that shows the new margin, and its area.
  const auto margin = session.desk->history.now().outline();
  const auto middle = centroid(margin);
  std::vector<double> to_margin, to_area;
  for (int k = 0; k < (brief ? 1 : 9); ++k) {
    const auto& edge = margin.parts[0].outer[static_cast<std::size_t>(200 * k + 50)];
    session.choose_tool(app::ToolId::outside);
    for (int i = 0; i <= 8; ++i) {
      const app::Pointer p{{edge.x + (0.4 - 0.05 * i) * (middle.x - edge.x), edge.y + (0.4 - 0.05 * i) * (middle.y - edge.y)}, 1, false, false, false};
      i == 0 ? session.press(p) : session.drag(p);
    }
    const auto from = session.desk->generation;
    const auto released = Clock::now();
    session.release({edge, 1, false, false, false});
    b.until([&] { return session.desk->generation != from || session.desk->margin_refusal; });
    to_margin.push_back(since(released));
    b.until([&] { return session.desk->measured == session.desk->generation; });
    to_area.push_back(since(released));
    expect(session.desk->generation != from, "the stroke changed the margin");
    session.undo();
    b.settle();
  }

  // At rest: the loop as the program runs it, nothing happening.
  session.run("view.fit");
  b.settle();
  const double seconds = brief ? 1 : 20;
  double before = 0;
  std::thread later([&] {
    std::this_thread::sleep_for(std::chrono::duration<double>(brief ? 0.5 : 4));  // the first frames of the loop are no rest
    before = processor_seconds();
    std::this_thread::sleep_for(std::chrono::duration<double>(seconds));
    glfwSetWindowShouldClose(window.handle(), 1);
    glfwPostEmptyEvent();
  });
  window.run(session);
  later.join();
  const double idle = (processor_seconds() - before) / seconds;

  const auto line = [&](const char* what, const std::pair<Spread, Spread>& t) {
    std::printf("| %s | %.1f | %.1f | %.1f | %.1f |\n", what, 1e3 * t.first.median, 1e3 * t.first.p95, 1e3 * t.second.median, t.first.median / empty.first.median);
  };
  std::printf("%.0f megapixels, a margin of 2000 vertices, %d visits, 1600 x 1000 on software OpenGL under Xvfb\n\n", megapixels, visits);
  std::printf("| frame | ms, median | ms, 95 of 100 under | processor ms | times an empty frame |\n|---|---:|---:|---:|---:|\n");
  line("empty: the bare ground", empty);
  line("main screen at rest", rest);
  line("main screen, panning", panned);
  line("one to one, panning", close);
  const double peer = decode.first.median;
  std::printf("\n| from | s | times libjpeg-turbo's decoding (%.2f s) |\n|---|---:|---:|\n", peer);
  const auto row = [&](const char* what, double s) { std::printf("| %s | %.3f | %.2f |\n", what, s, s / peer); };
  row("the window's first frame, nothing open", first_frame);
  row("open the case book to first picture", with_book.first_picture);
  row("open the case book to the whole photo", with_book.whole);
  row("open a photo to first picture", spread(first_pictures).median);
  row("open a photo to the whole", spread(wholes).median);
  row("stroke to margin", spread(to_margin).median);
  row("stroke to area", spread(to_area).median);
  std::printf("\nProcessor use at rest over %.0f s: %.2f %% of one core\n", seconds, 100 * idle);
  return failed ? 1 : 0;
}
