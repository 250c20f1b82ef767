// The speed of everything a person waits for, as ratios against named peers in the same run; the table of assets/guide/speed.md.
//   bench_speed              all of it, under five minutes; other arguments pick parts: --open --card --margin --measure --batch --curve --report --book
//   bench_speed --short      small sizes; what is asked for is that every part still does its work, not how fast
// Photos are rendered at their full size, every pixel of its own, and stored as a camera does (JPEG, 4:2:0, quality 92).
// ctest: --short
#include <malloc.h>

#include <map>
#include <nlohmann/json.hpp>
#include <opencv2/imgproc.hpp>
#include <set>
#include <sstream>

#include "bench/book_of_size.h"
#include "bench/margin_peers.h"
#include "bench/speed_peers.h"
#include "bench/speed_race.h"
#include "report/example_sheet.h"
#include "support/command.h"
#include "support/temp_folder.h"
#include "uroko/measure/one_photo.h"
#include "uroko/report/paint.h"
#include "uroko/scale/references.h"
#include "uroko/scenes/sample_case.h"

using namespace uroko;
using namespace uroko::bench;

namespace {

[[noreturn]] void broken(const std::string& what) { throw std::runtime_error(what); }
void require(bool good, const std::string& what) {
  if (!good) broken(what);
}

/// Photos of the sample case's first visit at several sizes, with and without the card.
struct Shot {
  double megapixels = 0;
  std::filesystem::path file;
  cv::Mat bgr, without_card;
  ImageOutline loop;
  std::string size() const {
    char text[32];
    std::snprintf(text, sizeof text, megapixels < 3 ? "%.1f MP" : "%.0f MP", megapixels);
    return text;
  }
};

Shot shot(double megapixels, const testing::TempFolder& folder) {
  Shot out;
  out.megapixels = megapixels;
  const auto visit = scenes::sample_case().visits.at(0);
  auto scene = visit.scene;
  auto noise = visit.noise;
  const int width = 4 * static_cast<int>(std::lround(std::sqrt(megapixels * 1e6 / 12))), height = width / 4 * 3;
  scene.view.camera = scenes::pinhole(width, height, 35 * std::hypot(width, height) / 43.27, -0.012, 0.004);
  scene.view.width_px = width;
  scene.view.height_px = height;
  out.loop = scenes::rough_loop(scenes::truth_of(scene).outline);
  noise.jpeg_quality = 0;
  out.file = folder / (out.size() + ".jpg");
  write_file_whole(out.file, turbo_encoded(scenes::render(scene, noise)));
  out.bgr = photo::load(out.file).bgr;
  // The coat painted over the card: the picture a search without a card must give up on.
  out.without_card = out.bgr.clone();
  std::vector<cv::Point> card;
  for (const auto& p : scenes::truth_of(scene).card_corners) card.emplace_back(static_cast<int>(p.x), static_cast<int>(p.y));
  cv::fillConvexPoly(out.without_card, card, cv::Scalar(205, 222, 232));
  return out;
}

struct Bench {
  bool brief = false;
  std::set<std::string> parts;
  testing::TempFolder folder;
  std::vector<Shot> shots;
  double budget() const { return brief ? 0 : 1.2; }
  int least() const { return brief ? 1 : 5; }
  bool wants(const char* part) const { return parts.empty() || parts.count(part) != 0; }
  Raced race(const Work& ours, const Work& peer) const { return bench::race(ours, peer, budget(), least()); }

  /// One row a photo.
  void by_shot(const char* what, const char* peer, const std::map<int, double>& wanted, const std::function<Raced(const Shot&)>& timed) const {
    Block block(what, peer);
    for (const auto& s : shots) {
      const auto aim = wanted.find(static_cast<int>(std::lround(s.megapixels)));
      block.add({s.megapixels, s.size(), timed(s), aim == wanted.end() ? 0 : aim->second}, &s == &shots.back());
    }
  }
};

constexpr int kScreen = 1600;  ///< longer side that the window asks of a first picture

int shrink_of(const Shot& s) {
  int shrink = 1;
  while (shrink < 8 && std::max(s.bgr.cols, s.bgr.rows) / (2 * shrink) >= kScreen) shrink *= 2;
  return shrink;
}

/// Mean absolute difference of two pictures, levels.
double difference(const cv::Mat& a, const cv::Mat& b) {
  require(a.size() == b.size(), "two decoders give pictures of different sizes");
  return cv::norm(a, b, cv::NORM_L1) / (3.0 * static_cast<double>(a.total()));
}

void opening(const Bench& b) {
  for (const auto& s : b.shots) {
    require(difference(photo::load_preview(s.file, kScreen).bgr, turbo_decoded(s.file, shrink_of(s), true)) < 0.5, "the first picture is not libjpeg-turbo's");
    require(difference(photo::load(s.file).bgr, turbo_decoded(s.file, 1, false)) < 0.5, "the full picture is not libjpeg-turbo's");
  }
  b.by_shot("first picture (1 600 px)", "libjpeg-turbo, scaled, fast upsampling", {{12, 1.1}, {24, 1.1}, {48, 1.1}}, [&](const Shot& s) {
    return b.race([&] { photo::load_preview(s.file, kScreen); }, [&] { turbo_decoded(s.file, shrink_of(s), true); });
  });
  b.by_shot("first picture (1 600 px)", "cv::imread, reduced", {}, [&](const Shot& s) {
    const int shrink = shrink_of(s), mode = shrink == 8 ? cv::IMREAD_REDUCED_COLOR_8 : shrink == 4 ? cv::IMREAD_REDUCED_COLOR_4 : shrink == 2 ? cv::IMREAD_REDUCED_COLOR_2 : cv::IMREAD_COLOR;
    return b.race([&] { photo::load_preview(s.file, kScreen); }, [&] { cv::imread(s.file.string(), mode); });
  });
  b.by_shot("full picture", "libjpeg-turbo", {}, [&](const Shot& s) { return b.race([&] { photo::load(s.file); }, [&] { turbo_decoded(s.file, 1, false); }); });
  b.by_shot("full picture", "cv::imread", {}, [&](const Shot& s) { return b.race([&] { photo::load(s.file); }, [&] { cv::imread(s.file.string()); }); });
}

void card(const Bench& b) {
  for (const auto& s : b.shots) {
    const auto camera = scale::assumed_camera(s.bgr.cols, s.bgr.rows);
    require(bool(scale::find_card(s.bgr, camera)), "the card is not found at " + s.size());
    require(!scale::find_card(s.without_card, camera), "a card is found where there is none, at " + s.size());
  }
  const char* peer = "cv::aruco::detectMarkers, its defaults";
  b.by_shot("card to plane map", peer, {{12, 1.2}, {24, 1.2}, {48, 1}}, [&](const Shot& s) {
    return b.race([&] { (void)scale::find_card(s.bgr, scale::assumed_camera(s.bgr.cols, s.bgr.rows)); }, [&] { markers_plainly(s.bgr); });
  });
  b.by_shot("no card in the photo", peer, {{12, 1.2}, {24, 1.2}, {48, 1}}, [&](const Shot& s) {
    return b.race([&] { (void)scale::find_card(s.without_card, scale::assumed_camera(s.bgr.cols, s.bgr.rows)); }, [&] { markers_plainly(s.without_card); });
  });
}

void margin_from_loop(const Bench& b) {
  for (const auto& s : b.shots) require(bool(margin::find_in_loop(s.bgr, s.loop)), "no margin is found at " + s.size());
  b.by_shot("loop to margin", "cv::grabCut, crop of 256 px", {}, [&](const Shot& s) {
    return b.race([&] { (void)margin::find_in_loop(s.bgr, s.loop); }, [&] { eval::grab_cut_crop(s.bgr, s.loop); });
  });
}

void one_photo(const Bench& b) {
  b.by_shot("measure: file to area and bed", "libjpeg-turbo + detectMarkers + grabCut crop", {}, [&](const Shot& s) {
    measure::PhotoRequest request;
    request.file = s.file;
    request.scale = measure::ByCard{};
    request.margin = measure::Around{s.loop};
    return b.race([&] { measure::measure_photo(request); },
                  [&] {
                    const cv::Mat bgr = turbo_decoded(s.file, 1, false);
                    markers_plainly(bgr);
                    eval::grab_cut_crop(bgr, s.loop);
                  });
  });
}

/// `uroko measure --batch` on two cores and on each of them alone, which need not be alike: the peer is the mean of their paces (photos/s), and the
/// wanted ratio is 1 / (0.9 x 2).
void batch(const Bench& b) {
  const auto& s = b.shots.front();
  const std::vector<int> counts = b.brief ? std::vector<int>{2} : std::vector<int>{4, 8, 16};
  Block block("batch on 2 cores, photos of " + s.size(), "the same on 1 core, mean pace of the two");
  for (const int count : counts) {
    const auto list = b.folder / ("batch" + std::to_string(count) + ".txt");
    std::string names;
    for (int i = 0; i < count; ++i) names += s.file.string() + "\n";
    write_file_whole(list, names);
    const auto measured = [&](int cores, int skipped) {
      const OnCores on(cores, skipped);
      const auto ran = testing::uroko({"measure", "--batch", list.string(), "--json", "--card", "--around", to_wkt(s.loop)});
      std::istringstream lines(ran.out);
      int good = 0;
      for (std::string line; std::getline(lines, line);) good += nlohmann::json::parse(line).contains("area_mm2");
      require(ran.exit_code == 0 && good == count, "a batch of " + std::to_string(count) + " measured " + std::to_string(good) + ": " + ran.err);
    };
    const bool two = OnCores(2).given() == 2;
    bench::Raced times;
    double other = times.peer;
    for (int round = 0; round < (b.brief ? 1 : 5); ++round) {
      times.peer = std::min(times.peer, bench::seconds([&] { measured(1, 0); }));
      times.ours = std::min(times.ours, bench::seconds([&] { measured(2, 0); }));
      if (two) other = std::min(other, bench::seconds([&] { measured(1, 1); }));
    }
    if (two) times.peer = 2 / (1 / times.peer + 1 / other);
    block.add({static_cast<double>(count), std::to_string(count) + " photos", times, two ? 1 / (0.9 * 2) : 0}, count == counts.back());
  }
}

/// A long course: a look a day that closes slowly, its water and some care, two debridements.
healing::Series long_course(int looks) {
  Random random(5);
  healing::Series out;
  const long first = DateTime::parse("2020-03-02")->day_number();
  for (int i = 0; i < looks; ++i) {
    const auto date = DateTime::from_day_number(first + i);
    const double area = 600 * std::exp(-1.5 * i / looks) * (1 + random.normal(0, 0.02));
    out.looks.push_back({date, area, 0.015 * area, 90 + area / 50, {}});
    out.water.push_back({date, 16 + 4 * std::sin(i / 58.0)});
    if (i % 7 == 3) out.events.push_back({date, i % 14 == 3 ? "topical" : "cleaning", ""});
    if (i == looks / 4 || i == looks / 2) out.events.push_back({date, "debridement", ""});
  }
  return out;
}

void curve(const Bench& b) {
  const std::vector<int> sizes = b.brief ? std::vector<int>{8, 30} : std::vector<int>{10, 100, 316, 1000};
  Block block("curve and verdict", "GSL, a weighted line for each model weighed");
  for (const int n : sizes) {
    const auto series = long_course(n);
    require(healing::follow(series).trend_percent_per_day.has_value(), "a course has no trend");
    block.add({static_cast<double>(n), std::to_string(n) + " visits", b.race([&] { healing::follow(series); }, [&] { lines_by_gsl(series); })}, n == sizes.back());
  }
}

report::SheetData sheet_of(int visits) {
  auto data = testing::example_sheet();
  data.series = long_course(visits);
  data.course = healing::follow(data.series);
  const auto visit = data.visits.back();
  const auto margin = data.margins.back();
  const auto file = data.files.back();
  data.visits.clear(), data.margins.clear(), data.care.clear(), data.files.clear();
  for (const auto& look : data.series.looks) {
    data.visits.push_back(visit);
    data.visits.back().date = look.date;
    data.margins.push_back(margin);
    data.margins.back().date = look.date;
    data.files.push_back(file);
    data.files.back().date = look.date;
  }
  for (const auto& e : data.series.events) data.care.push_back({e.date, e.kind, "as the vet wrote"});
  data.first->date = data.series.looks.front().date;
  data.latest->date = data.series.looks.back().date;
  return data;
}

void recheck(const Bench& b) {
  const std::vector<int> sizes = b.brief ? std::vector<int>{8} : std::vector<int>{8, 32, 100, 316};
  Block block("recheck sheet, PDF", "Pango and Cairo, its labels and photos only");
  for (const int n : sizes) {
    const auto data = sheet_of(n);
    const auto pages = report::sheet_pages(data);
    require(report::recheck_sheet(data).size() > 10000, "the sheet is empty");
    block.add({static_cast<double>(n), std::to_string(n) + " visits, " + std::to_string(pages.size()) + " pages",
               b.race([&] { report::recheck_sheet(data); }, [&] { labels_by_pango(pages); })},
              n == sizes.back());
  }
}

void book(const Bench& b) {
  const std::vector<int> sizes = b.brief ? std::vector<int>{10} : std::vector<int>{100, 316, 1000};
  Block block("case book: open and first screen", "SQLite alone, two numbers of each measure");
  for (const int fish : sizes) {
    const auto path = b.folder / ("of" + std::to_string(fish) + ".uroko");
    {
      auto made = casebook::Book::create(path);
      fill(made, fish);
    }
    require(casebook::Book::open(path).glance().size() == static_cast<std::size_t>(fish), "the first screen misses a wound");
    block.add({static_cast<double>(fish), std::to_string(10 * fish) + " visits",
               b.race([&] { casebook::Book::open(path).glance(); }, [&] { read_measures_by_sqlite(path / "book.sqlite"); })},
              fish == sizes.back());
  }
}

}  // namespace

int main(int argc, char** argv) try {
  Bench b;
  for (int i = 1; i < argc; ++i) {
    const std::string a = argv[i];
    if (a == "--short") b.brief = true;
    else if (a.rfind("--", 0) == 0) b.parts.insert(a.substr(2));
  }
  // Both sides find the memory ready that an earlier round gave back: what is compared is the work, not the kernel's clearing of pages.
  ::mallopt(M_MMAP_MAX, 0);
  ::mallopt(M_TRIM_THRESHOLD, std::numeric_limits<int>::max());
  const std::string on = machine();
  const auto start = std::chrono::steady_clock::now();
  const bool photos = b.wants("open") || b.wants("card") || b.wants("margin") || b.wants("measure") || b.wants("batch");
  if (photos)
    for (const double megapixels : b.brief ? std::vector<double>{1.9} : std::vector<double>{12, 24, 48}) b.shots.push_back(shot(megapixels, b.folder));
  std::printf("%s. Wall time, the least of several rounds that take turns.\n\n", on.c_str());
  Block::head();
  if (b.wants("open")) opening(b);
  if (b.wants("card")) card(b);
  if (b.wants("margin")) margin_from_loop(b);
  if (b.wants("measure")) one_photo(b);
  if (b.wants("batch")) batch(b);
  if (b.wants("curve")) curve(b);
  if (b.wants("report")) recheck(b);
  if (b.wants("book")) book(b);
  std::printf("\nTook %.0f s.\n", std::chrono::duration<double>(std::chrono::steady_clock::now() - start).count());
  return 0;
} catch (const std::exception& e) {
  std::fprintf(stderr, "bench_speed: %s\n", e.what());
  return 1;
}
